"""What `steadyohm check` says of each kind of file, and that the page about files leaves no key out."""

from __future__ import annotations

import asyncio
import json
import re

import pytest

from acquire.answers.check import budget_facts, budget_lines, check_file
from acquire.answers.sheet_checks import MeterFit
from acquire.clock import HandClock
from acquire.errors import InputImpossible
from acquire.files.bench_tables import MeterSettings, TemperatureSettings
from acquire.files.settings import TABLES as BENCH_TABLES
from acquire.files.settings import load_bench
from acquire.files.toml_file import key_of
from acquire.heart.learnt import learnt_notice
from acquire.journal.store import Journal
from acquire.records import Learned, Pair
from acquire.sheets import load_sheet
from acquire.sheets.language import TABLES as SHEET_TABLES
from drivers.decode import decoder_of
from drivers.frame import FrameRefused
from drivers.models import load_model
from drivers.reading import Flag, Kind
from tests.whole_bench import CONFIGS, bench_file

EXAMPLE = CONFIGS / "benches" / "example.toml"


def report_of(path):
    """The report on one file."""
    return check_file(path)


@pytest.mark.parametrize(
    ("pattern", "kind"), [("sheets/*.toml", "sheet"), ("meters/*.toml", "meter"), ("benches/*.toml", "bench")]
)
def test_every_shipped_file_is_recognised_and_in_order(pattern, kind):
    paths = sorted(CONFIGS.glob(pattern))
    assert paths
    for report in map(check_file, paths):
        assert (report.kind, report.faults) == (kind, ())
        assert report.summary[0].startswith(str(report.path))
        facts = json.loads(json.dumps(report.as_json(), allow_nan=False))
        assert facts["valid"] is True
        assert facts["kind"] == kind


def test_a_sheet_is_told_as_what_each_step_should_read():
    lines = report_of(CONFIGS / "sheets" / "plover-80.toml").summary
    assert any(re.search(r"slow charge +1–2 +202\.6 Ω, from 190\.4 Ω to 214\.7 Ω", line) for line in lines)
    assert any(re.search(r"earth strap +6–CORE +0\.01330 Ω, up to 0\.05000 Ω", line) for line in lines)


def test_steps_that_cannot_be_told_apart_are_noted_by_line():
    report = report_of(CONFIGS / "sheets" / "fathom-7.toml")
    text = (CONFIGS / "sheets" / "fathom-7.toml").read_text(encoding="utf-8").split("\n")
    note = next(line for line in report.summary if "note:" in line and "5–6" in line and "7–8" in line)
    line = int(re.search(r"toml:(\d+):", note)[1])
    assert text[line - 1 : line + 1] == ["[[winding]]", 'name = "S1"']


def bench_with(folder, meter, **keys):
    """A bench file for the Plover 80 on a shipped meter file."""
    more = "\n".join(f"{key} = {value}" for key, value in keys.items())
    path = folder / "bench.toml"
    path.write_text(
        f"""[bench]
name = "b"
purpose = "final"
sheet = "{(CONFIGS / "sheets" / "plover-80.toml").as_posix()}"
[meter]
driver = "scpi"
link = "tcp:127.0.0.1:5025"
model = "{(CONFIGS / "meters" / meter).as_posix()}"
{more}
[temperature]
source = "typed"
value = "20 °C"
""",
        encoding="utf-8",
    )
    return path


def test_a_bench_says_which_steps_its_meter_cannot_judge(tmp_path):
    """A 2000-count hand meter knows 0.4 ohm to 0.5 ohm: common practice, and 0.8 % + 5 counts of 0.1 ohm."""
    notes = [line for line in report_of(bench_with(tmp_path, "hand-2000.toml")).summary if "note:" in line]
    unfit = [line for line in notes if "cannot judge" in line]
    assert len(unfit) == 2
    assert any("0.4072" in line for line in unfit)
    better = report_of(bench_with(tmp_path, "bench-6-digit.toml", four_wire_below='"10 ohm"'))
    assert not any("cannot judge" in line for line in better.summary)


def test_the_meters_part_of_what_a_step_is_known_to_is_its_own_statement(tmp_path):
    """0.8 % of 202.6 ohm and 3 counts of 1 ohm on the 2000 ohm range are 4.6 ohm; the meter dominates."""
    bench = load_bench(bench_with(tmp_path, "hand-2000.toml"))
    sheet = load_sheet(bench.sheet)
    fit = MeterFit(sheet, bench, load_model(bench.meter.model))
    step = next(step for step in sheet.steps if step.pair == Pair("1", "2"))
    half_width = 0.008 * 202.57 + 3.0
    assert 0.9 * half_width < fit.expanded_ohm(step, 202.57) < 1.2 * half_width


def test_a_key_of_earlier_meter_files_is_noted_by_line(tmp_path):
    """With the meter file and with the bench that uses it; no shipped file has it."""
    text = (CONFIGS / "meters" / "hand-2000.toml").read_text(encoding="utf-8") + "offset_compensated = true\n"
    old = tmp_path / "old.toml"
    old.write_text(text, encoding="utf-8")
    note = f"line {len(text.splitlines())}: offset_compensated says nothing"
    assert any(note in line for line in report_of(old).summary)
    assert any(note in line for line in report_of(bench_with(tmp_path, old)).summary)
    assert not any("offset_compensated" in line for line in report_of(EXAMPLE).summary)


def test_a_bench_is_out_of_order_when_its_sheet_or_meter_file_is(tmp_path):
    (tmp_path / "sheet.toml").write_text('[sheet]\nname = "x"\n[conector]\n', encoding="utf-8")
    (tmp_path / "meter.toml").write_text(
        'name = "m"\nsource = "me"\n[[range]]\nquantity = "ohms"\n', encoding="utf-8"
    )
    path = bench_with(tmp_path, "hand-2000.toml")
    text = path.read_text(encoding="utf-8")
    text = re.sub(r'sheet = ".*"', 'sheet = "sheet.toml"', text)
    path.write_text(re.sub(r'model = ".*"', 'model = "meter.toml"', text), encoding="utf-8")
    report = report_of(path)
    assert report.kind == "bench"
    assert {fault.file.name for fault in report.faults} == {"sheet.toml", "meter.toml"}
    assert (3, "conector") in {(fault.line, fault.key) for fault in report.faults}
    assert (4, "range[1].quantity") in {(fault.line, fault.key) for fault in report.faults}
    assert report.as_json()["valid"] is False


def test_a_secret_that_is_not_there_yet_is_noted_not_refused(tmp_path, monkeypatch):
    path = bench_with(tmp_path, "hand-2000.toml")
    mqtt = '[mqtt]\nhost = "broker.lan"\nuser_env = "OHM_USER_OF_TEST"\n'
    path.write_text(path.read_text(encoding="utf-8") + mqtt, encoding="utf-8")
    monkeypatch.delenv("OHM_USER_OF_TEST", raising=False)
    assert any("OHM_USER_OF_TEST is not set" in line for line in report_of(path).summary)
    monkeypatch.setenv("OHM_USER_OF_TEST", "bench")
    assert not any("OHM_USER_OF_TEST" in line for line in report_of(path).summary)


@pytest.mark.parametrize(
    ("where", "told"),
    [
        ('host = "broker.lan"', False),
        ('host = "broker.lan"\ntls = false', True),
        ('host = "127.0.0.1"', True),
    ],
)
def test_a_password_that_goes_out_in_the_clear_is_noted(tmp_path, monkeypatch, where, told):
    """Away from this machine it goes in TLS unless the file says otherwise."""
    path = bench_with(tmp_path, "hand-2000.toml")
    path.write_text(
        path.read_text(encoding="utf-8") + f'[mqtt]\n{where}\nuser_env = "OHM_USER_OF_TEST"\n',
        encoding="utf-8",
    )
    monkeypatch.setenv("OHM_USER_OF_TEST", "bench")
    assert any("password unencrypted" in line for line in report_of(path).summary) == told


@pytest.mark.parametrize(
    ("content", "kind", "said"),
    [
        (b'title = "x"\n', "", "neither a sheet"),
        (b"\xff", "", "not UTF-8"),
        (b"a = ", "", "no TOML"),
        (b"[sheet]\n", "sheet", "missing"),
        (b"[bench]\n", "bench", "missing"),
        (b'source = "me"\n', "meter", "missing"),
        (b"[[winding]]\n", "sheet", "no [sheet] table"),
    ],
)
def test_every_other_file_is_refused_in_words(tmp_path, content, kind, said):
    path = tmp_path / "file.toml"
    path.write_bytes(content)
    report = report_of(path)
    assert report.kind == kind
    assert any(said in str(fault) for fault in report.faults)


@pytest.mark.parametrize(
    ("driver", "more", "note"),
    [
        ("scpi", "integration_plc = 100.0\noffset_compensation = true", "may take 8 s"),
        ("scpi", "integration_plc = 10.0", None),
        (
            "scpi",
            'integration_plc = 10.0\nself_check = "470 ohm"\noptions = { profile = "plain_word_bench" }',
            "plc is not used",
        ),
        ("lines", "integration_plc = 10.0", "plc is not used"),
    ],
)
def test_a_bench_is_told_what_its_settings_make_of_the_meters_pace(tmp_path, driver, more, note):
    set_up = (("integration_plc = 1.0", more), ('driver = "scpi"', f'driver = "{driver}"'))
    path = bench_file(tmp_path, meter="tcp:127.0.0.1:1", changes=set_up)
    found = [line for line in report_of(path).summary if "reading may take" in line or "is not used" in line]
    assert [note in line for line in found] == ([True] if note else [])


@pytest.mark.parametrize(
    ("table", "told"),
    [
        ('[leads]\nmax_age = "20 s"', "[leads] max_age is 20 s, over before a verdict can come (16 s)"),
        (
            '[check]\nresistor = "R1"\nvalue = "100 ohm"\nuncertainty = "0.1 ohm"\nevery = "30 s"',
            "every of R1",
        ),
        ('[leads]\noldest = "1 h"', ""),
    ],
)
def test_ages_that_are_over_before_a_verdict_can_come_are_told(tmp_path, table, told):
    """With 4 s a reading a lead zero of 20 s would be asked for without end."""
    slow = ("integration_plc = 1.0", "integration_plc = 100.0"), ("[journal]", f"{table}\n\n[journal]")
    notes = report_of(bench_file(tmp_path, meter="tcp:127.0.0.1:9", changes=slow)).summary
    found = [line for line in notes if "over before a verdict" in line]
    assert [told in line for line in found] == ([True] if told else [])


def test_a_profile_of_ones_own_is_known_and_its_options_are_checked(tmp_path):
    """It was taken for a meter file without ranges."""
    profile = tmp_path / "ours.toml"
    text = 'title = "Our bridge"\ndriver = "lines"\nverified = "capture"\nsource = "our own recording"\n'
    profile.write_text(f'{text}[options]\noverload_words = ["------"]\nterminator = ";"\n')
    report = report_of(profile)
    assert (report.kind, report.faults) == ("profile", ())
    assert "overload_words, terminator" in report.summary[1]
    profile.write_text(f'{text}[options]\noverload_word = ["------"]\n')
    [fault] = report_of(profile).faults
    assert "overload_word is unknown" in fault.what


def test_words_of_a_meter_of_two_lines_come_from_its_profile(tmp_path):
    """An overload and a HOLD as this one writes them; a field that nobody has named is a fault."""
    profile = tmp_path / "ours.toml"
    text = (
        'title = "Ours"\ndriver = "two_line"\nverified = "capture"\nsource = "our own recording"\n[options]\n'
        'acknowledgement = "none"\nfields = [2]\nstatus_field = 1\nstatus_good = ["ok"]\n'
        'overload_words = ["----"]\nflag_words = { HLD = "hold" }\n'
    )
    profile.write_text(text)
    assert (report_of(profile).kind, report_of(profile).faults) == ("profile", ())
    said = decoder_of("two_line", {"profile": str(profile)})
    assert said.decode(b"44.1 OHM,ok\r").value_si == 44.1
    assert said.decode(b"44.1 OHM,HLD\r").flags == {Flag.HOLD}
    assert said.decode(b"---- OHM,ok\r").kind is Kind.OVERLOAD
    with pytest.raises(FrameRefused, match="status_good"):
        said.decode(b"44.1 OHM,odd\r")
    profile.write_text(text.replace("status_field = 1", "").replace('status_good = ["ok"]', ""))
    [fault] = report_of(profile).faults
    assert "nothing says what field 1 of 2 is" in fault.what


def test_one_bad_file_does_not_keep_the_others_from_being_checked(tmp_path):
    reports = [check_file(tmp_path / "none.toml"), check_file(EXAMPLE)]
    assert [bool(report.faults) for report in reports] == [True, False]


# ------------------------------------------------------------------ the page about files

PAGE = (CONFIGS / "README.md").read_text(encoding="utf-8")


def section(name):
    """The part of the page on one table, up to the next."""
    found = re.search(rf"(?ms)^`\[{{1,2}}{name}\]{{1,2}}`.*?(?=^`\[|^## |\Z)", PAGE)
    assert found, f"configs/README.md says nothing of [{name}]"
    return found[0]


@pytest.mark.parametrize(("name", "table"), [*SHEET_TABLES.items(), *BENCH_TABLES.items()])
def test_the_page_about_files_explains_every_key(name, table):
    keys = {key_of(field, about) for field, about in table.model_fields.items()}
    missing = {key for key in keys if f"`{key}`" not in section(name)}
    assert not missing


@pytest.mark.parametrize(("name", "table"), BENCH_TABLES.items())
def test_the_example_bench_shows_every_key(name, table):
    text = EXAMPLE.read_text(encoding="utf-8")
    block = re.search(rf"(?ms)^(?:# )?\[+{name}\].*?(?=^(?:# )?\[|\Z)", text)[0]
    keys = {key_of(field, about) for field, about in table.model_fields.items()}
    assert {key for key in keys if not re.search(rf"(?m)^(?:# )?{key} = ", block)} == set()


def test_defaults_in_the_page_are_those_of_the_files():
    """Spot checks of the words that state a default."""
    assert TemperatureSettings.model_fields["uncertainty"].default == 1.0
    assert '± | `"1 K"` |' in section("temperature")
    assert MeterSettings.model_fields["id"].get_default(
        call_default_factory=True, validated_data={}
    ) in section("meter")


def test_spool_cards_are_checked_with_the_bench(tmp_path):
    """Which windings each fits; a fault of a card is told by its line."""
    spools = tmp_path / "spools.toml"
    card = '[[spool]]\nname = "36-A"\nsample_m = 10.0\nsample_ohm = 13.855\ncelsius = 21.5\nu_ohm = 0.004\n'
    spools.write_text(card + card.replace("36-A", "20-C").replace("13.855", "0.34"), encoding="utf-8")
    sheet = f'"{CONFIGS}/sheets/fathom-7.toml"'
    file = bench_file(
        tmp_path, meter="tcp:127.0.0.1:9", sheet="fathom-7.toml",
        changes=[(sheet, f'{sheet}\nspools = "spools.toml"')],
    )  # fmt: skip
    report = check_file(file)
    assert not report.faults
    told = "\n".join(report.summary)
    assert "spool 36-A: 1.377 Ω a metre at 20 °C, fits P1, P2" in told
    assert "fits no winding of this sheet" in told
    spools.write_text(card + "length = 3\n", encoding="utf-8")
    report = check_file(file)
    assert [str(fault.file) for fault in report.faults] == [str(spools)]


HIGH = "{ 1 = 101, 2 = 102, 3 = 103, 4 = 104, 5 = 105, 6 = 106, CORE = 107 }"


def test_a_bench_tells_what_it_has_learnt_of_its_contacts(tmp_path):
    """From the latest such notice of its journal; of another meter, and without a journal, nothing."""
    file = bench_file(tmp_path, meter="tcp:127.0.0.1:9")
    model = load_model(CONFIGS / "meters" / "bench-6-digit.toml")
    learned = Learned(12, 11, 1.3, 0.25, 0.1, -1.7, 0.2, 2.5, 2.1)
    assert not any("contacts:" in line for line in report_of(file).summary)

    async def told(meter_hash):
        journal = Journal.open(tmp_path / "journal", bench="bench-1", clock=HandClock())
        await journal.append([(learnt_notice(learned, meter_hash, 1.0), None)])
        await journal.close()
        return report_of(file).summary

    said = "  contacts: This bench's contacts creep for 2.1 s; U widened by 1.3."
    assert said in asyncio.run(told(model.content_hash))
    assert said not in asyncio.run(told("another meter"))


def test_a_bench_with_a_fixture_lists_every_pair_that_it_will_measure(tmp_path):
    """And a pin that no relay reaches is a fault of the bench file, by line."""
    table = f"[fixture]\nhigh = {HIGH}\nlow = {HIGH.replace('= 1', '= 2')}\n"
    file = bench_file(
        tmp_path, meter="tcp:127.0.0.1:9", changes=[("[temperature]", f"{table}\n[temperature]")]
    )
    report = check_file(file)
    text = "\n".join(report.summary)
    assert "fixture: 21 pairs, 7 pins with one contact each, 14 channels, card in the meter" in text
    assert "open, above 1.000 MΩ" in text
    file.write_text(file.read_text().replace(", CORE = 107", "").replace(", CORE = 207", ""))
    report = check_file(file)
    assert "no channel for CORE" in report.faults[0].what
    assert report.faults[0].line


# ---------------------------------------------------------------------- what a bench can judge


def reports_for(folder, sheet, model, *, four_wire=True):
    """A bench with this sheet and meter, as check would have read it; 1 kelvin, leads to be zeroed."""
    changes = [("bench-6-digit.toml", f"{model}.toml"), ('uncertainty = "1.5 K"', 'uncertainty = "1 K"')]
    if not four_wire:
        changes.append(('four_wire_below = "10 ohm"\n', ""))
    file = bench_file(folder, meter="tcp:127.0.0.1:5025", sheet=f"{sheet}.toml", changes=changes)
    return [check_file(file)]


def steps_of(folder, sheet, model, **how):
    """The table's rows by step."""
    return {step["step"]: step for step in budget_facts(reports_for(folder, sheet, model, **how))["steps"]}


def test_a_hand_meter_cannot_judge_the_stator_and_is_told_what_would(tmp_path):
    """Half an ohm on a display of tenths; a good meter is named by what it must know."""
    reports = reports_for(tmp_path, "quern-12", "hand-2000")
    facts = budget_facts(reports)["steps"]
    assert len(facts) == 6
    assert not any(step["can_judge"] for step in facts)
    text = "\n".join(budget_lines(reports))
    assert text.count("CANNOT JUDGE") == 6
    assert "one that knows 0.8914 Ω to 0.012 Ω or better, with four wires" in text
    assert "0.0 Ω" not in text.split("(200 Ω range)")[1]


@pytest.mark.parametrize(
    ("sheet", "model", "step", "ratio", "four_wire"),
    [
        ("quern-12", "hand-2000", "U to V", 0.06, True),
        ("quern-12", "bench-6-digit", "U to V", 5.7, True),
        ("plover-80", "hand-2000", "lighting", 0.1, True),
        ("fathom-7", "bench-6-digit", "P1", 15.0, True),
        ("fathom-7", "bench-6-digit", "S1", 9.0, True),
        ("fathom-7", "bench-6-digit", "S1", 2.4, False),
    ],
)
def test_tolerance_over_uncertainty_is_what_the_trade_reckons(tmp_path, sheet, model, step, ratio, four_wire):
    """Computed apart for the same meters and units with 1 kelvin (a fact of the trade, computed); the terms
    for contact and drift differ, so a quarter either way is allowed."""
    found = steps_of(tmp_path, sheet, model, four_wire=four_wire)[step]["ratio"]
    assert found == pytest.approx(ratio, rel=0.25, abs=0.02)


def test_four_wires_are_what_helps_a_bench_meter_on_two(tmp_path):
    """The sheet insists on four wires, so the shipped stator is judged; the transformer is not, by two."""
    steps = steps_of(tmp_path, "plover-80", "bench-50000", four_wire=False)
    assert not steps["lighting"]["can_judge"]
    assert steps["lighting"]["would_help"] == "the 50 Ω range, 4-wire"
    assert steps_of(tmp_path, "plover-80", "bench-50000")["lighting"]["can_judge"]


def test_the_facts_for_programs_are_plain_json(tmp_path):
    """Infinite degrees of freedom are null."""
    facts = budget_facts(reports_for(tmp_path, "plover-80", "bench-6-digit"))
    text = json.dumps(facts, allow_nan=False)
    assert json.loads(text)["steps"][0]["terms"][0]["name"] == "winding temperature"


def test_a_bench_file_is_needed():
    """A sheet alone has no meter."""
    with pytest.raises(InputImpossible, match="bench file"):
        budget_lines([check_file(CONFIGS / "sheets" / "quern-12.toml")])


def test_a_strap_has_an_upper_limit_for_its_tolerance(tmp_path):
    """And the table says so."""
    reports = reports_for(tmp_path, "plover-80", "bench-6-digit")
    (line,) = (line for line in budget_lines(reports) if line.startswith("earth strap  "))
    assert "at most 0.0500 Ω" in line
    assert [step["step"] for step in budget_facts(reports)["steps"] if step["upper_only"]] == ["earth strap"]
