"""Bench files: what they set, what is left out, and what is refused by line."""

from __future__ import annotations

import math
import re
from pathlib import Path

import pytest

from acquire.errors import FileInvalid
from acquire.files.bench_tables import SETTLE_SPAN_S, SETTLE_WINDOW_S, Overdue, SettleSection, ZeroSource
from acquire.files.settings import load_bench
from acquire.records import Purpose
from acquire.settle import SettleSettings
from tests.unit.conftest import faults_told

CONFIGS = Path(__file__).parents[2] / "configs"
SMALL = f"""[bench]
name = "bench-1"
purpose = "final"
sheet = "{(CONFIGS / "sheets" / "plover-80.toml").as_posix()}"
[meter]
driver = "scpi"
link = "tcp:127.0.0.1:5025"
model = "meter.toml"
[temperature]
source = "typed"
value = "21.5 °C"
"""


@pytest.fixture
def bench_from(tmp_path):
    """Read a bench file from a text, with a meter file beside it."""
    meter = (CONFIGS / "meters" / "hand-2000.toml").read_text(encoding="utf-8")
    (tmp_path / "meter.toml").write_text(meter, encoding="utf-8")

    def read(text):
        path = tmp_path / "bench.toml"
        path.write_text(text, encoding="utf-8")
        return load_bench(path)

    return read


@pytest.fixture
def faults_of(bench_from):
    """The faults of a text as (line, key, sentence)."""

    return lambda text: faults_told(bench_from, text)


def test_what_is_left_out_gets_the_documented_values(bench_from, tmp_path):
    bench = bench_from(SMALL)
    assert (bench.name, bench.purpose, bench.operator, bench.batch) == ("bench-1", Purpose.FINAL, "", "")
    assert (bench.meter.id, bench.meter.overdue, bench.meter.four_wire_below) == ("meter", Overdue.WARN, None)
    assert bench.meter.model == tmp_path / "meter.toml"
    assert (bench.leads.zero, bench.leads.max_age) == (ZeroSource.ASK, 8 * 3600.0)
    assert (bench.temperature.value, bench.temperature.max_age_s) == (21.5, 4 * 3600.0)
    assert bench.temperature.standard_uncertainty_kelvin == pytest.approx(1 / math.sqrt(3))
    assert bench.journal.folder == tmp_path / "journal"
    assert (bench.csv, bench.mqtt) == (None, None)
    assert bench.settle.overrides() == {}


def test_the_keys_of_earlier_bench_files_are_still_read(bench_from):
    """`oldest` and `by_itself` are called `max_age` and `automatic` since November 2026."""
    old = bench_from(
        SMALL.replace("[temperature]", '[temperature]\noldest = "1 h"', 1)
        + '[leads]\noldest = "2 h"\n[files]\nfrom = "shared"\nby_itself = true\n'
    )
    assert (old.temperature.max_age_s, old.leads.max_age, old.files.automatic) == (3600.0, 7200.0, True)


def test_the_example_with_every_setting_is_in_order():
    bench = load_bench(CONFIGS / "benches" / "example.toml")
    assert bench.sheet == CONFIGS / "sheets" / "plover-80.toml"
    assert bench.meter.four_wire_below == 10.0
    assert bench.temperature.max_age_s == 300.0


def uncommented(block):
    """The lines of a match without the `# ` that they begin with."""
    return re.sub(r"(?m)^# ", "", block[0])


def test_the_settings_shown_as_comments_in_the_example_are_in_order_too(bench_from):
    """Each block of commented alternatives, put in place of what it replaces."""
    text = (
        (CONFIGS / "benches" / "example.toml")
        .read_text(encoding="utf-8")
        .replace("../", f"{CONFIGS.as_posix()}/")
    )
    typed = (
        text.replace('source = "meter" ', '# source = "meter" ')
        .replace('driver = "lines"', "#")
        .replace('link = "serial:/dev/ttyUSB1"', "#")
    )
    typed = typed.replace('# source = "typed"', 'source = "typed"').replace(
        '# value = "21.5', 'value = "21.5'
    )
    stated = typed.replace('zero = "ask" ', '# zero = "ask" ').replace('# zero = "value"', 'zero = "value"')
    stated = stated.replace('# value = "0.21', 'value = "0.21').replace(
        '# uncertainty = "0.02', 'uncertainty = "0.02'
    )
    optioned = stated.replace("# options", "options")
    optioned = optioned.replace('# link = "tcp:127.0.0.1:5026"', "#")  # a card of its own switches no current
    checked = re.sub(r"(?ms)^# \[check\].*?(?=^# \[settle\])", uncommented, optioned)
    settled = re.sub(r"(?ms)^# \[settle\].*?^\[journal\]", uncommented, checked)
    head, mqtt = settled.split("# [mqtt]")
    whole = head + "[mqtt]" + mqtt.replace("\n# password_file", "\n#!").replace("\n# ", "\n")
    bench = bench_from(whole.replace("options = { silence_s", "# options = { silence_s"))
    assert bench.temperature.value == 21.5
    assert (bench.leads.value, bench.leads.standard_uncertainty_ohm) == (
        0.21,
        pytest.approx(0.02 / math.sqrt(3)),
    )
    assert bench.meter.options == {"line_end": "\r\n"}
    assert (bench.check.value, bench.check.tempco, bench.insulation.accuracy) == (100.012, 15e-6, 0.05)
    (reference,) = bench.references
    assert (reference.resistor, reference.range, reference.drift) == ("R470", 2000.0, 5e-4)
    assert set(bench.settle.model_fields_set) == set(SettleSection.model_fields)
    assert SettleSettings(**bench.settle.overrides()).horizon_s == 1.6
    assert (bench.mqtt.port, bench.mqtt.encrypted, bench.mqtt.keepalive) == (8883, True, 30.0)


def test_settle_overrides_are_fields_of_the_settle_stage():
    everything = dict.fromkeys(
        ("span", "horizon", "slow_horizon", "slow_span", "final_span", "lift_off", "silence"), "3 s"
    )
    section = SettleSection.model_validate(
        {**everything, "window": "10 s", "band": "0.1 %", "band_counts": 2.0, "min_conversions": 5}
    )
    settings = SettleSettings(**section.overrides())
    assert (settings.band_relative, settings.window_s, settings.span_s) == (0.001, 10.0, 3.0)
    assert (SettleSettings().window_s, SettleSettings().span_s) == (SETTLE_WINDOW_S, SETTLE_SPAN_S)


@pytest.mark.parametrize(
    ("more", "port"),
    [
        ('host = "127.0.0.1"', 1883),
        ('host = "localhost"', 1883),
        ('host = "::1"', 1883),
        ('host = "localhost"\ntls = true', 8883),
        ('host = "localhost"\nca = "ca.pem"', 8883),
        ('host = "broker.lan"', 8883),
        ('host = "192.168.1.5"', 8883),
        ('host = "broker.lan"\ntls = false', 1883),
        ('host = "broker.lan"\nport = 2000', 2000),
    ],
)
def test_what_leaves_this_machine_is_encrypted_unless_somebody_says_no(bench_from, more, port):
    bench = bench_from(f"{SMALL}[mqtt]\n{more}\n")
    assert bench.mqtt.port == port
    assert bench.mqtt.encrypted is (port != 1883)


@pytest.mark.parametrize(
    ("old", "new", "line", "key", "said"),
    [
        ('"bench-1"', '"Bench 1"', 2, "bench.name", "small letters"),
        ('"bench-1"', '"a/b"', 2, "bench.name", "small letters"),
        ('"final"', '"final"\nserial_pattern = "P80-["', 4, "bench.serial_pattern", "in single quotes"),
        ('"final"', '"final"\nserial_pattern = 80', 4, "bench.serial_pattern", "no text"),
        ('"final"', '"finished"', 3, "bench.purpose", "'incoming'"),
        ('purpose = "final"', "", 1, "bench.purpose", 'Add purpose = "final"'),
        ("plover-80.toml", "plover.toml", 4, "bench.sheet", "there is no sheet"),
        ('"meter.toml"', '"metre.toml"', 8, "meter.model", "there is no meter file"),
        ('"meter.toml"', f'"{"x" * 900}"', 8, "meter.model", "there is no meter file"),
        ('"meter.toml"', '"a\\u0000b"', 8, "meter.model", "no path"),
        ('"scpi"', '"scpl"', 6, "meter.driver", 'Did you mean "scpi"?'),
        ('"tcp:127.0.0.1:5025"', '"tcp:127.0.0.1"', 7, "meter.link", "HOST:PORT"),
        ('"tcp:127.0.0.1:5025"', '"usb:5025"', 7, "meter.link", "tcp:, serial:"),
        ('"tcp:127.0.0.1:5025"', "5025", 7, "meter.link", "no address"),
        (
            "[temperature]",
            'options = { reply_timeout_s = "3 s" }\n[temperature]',
            9,
            "meter.options.reply_timeout_s",
            "",
        ),
        (
            "[temperature]",
            "options = { line_ending = 1 }\n[temperature]",
            9,
            "meter.options.line_ending",
            "line_end",
        ),
        ("[temperature]", "id = 5\n[temperature]", 9, "meter.id", "no text"),
        ("[temperature]", 'four_wire_below = "10"\n[temperature]', 9, "meter.four_wire_below", "no unit"),
        ("[temperature]", "integration_plc = inf\n[temperature]", 9, "meter.integration_plc", ""),
        ("[temperature]", "[thermometer]", 9, "thermometer", "not known here"),
        ("[temperature]", "[thermometer]", 0, "", "no [temperature] table"),
        ('"typed"', '"meter"', 9, "temperature", "needs link"),
        ('value = "21.5 °C"', "", 9, "temperature", "needs value"),
        ('value = "21.5 °C"', 'value = "21,5 °C"', 11, "temperature.value", "comma"),
        ('value = "21.5 °C"', 'value = "294 K"', 11, "temperature.value", "difference of temperature"),
    ],
)
def test_a_fault_is_told_with_its_line_key_and_remedy(faults_of, old, new, line, key, said):
    text = SMALL.replace(old, new, 1)
    assert text != SMALL
    found = faults_of(text)
    assert any(f[0] == line and f[1] == key and said in f[2] for f in found), found


@pytest.mark.parametrize(
    ("table", "key", "said"),
    [
        ('[leads]\nzero = "value"', "leads", "needs value and uncertainty"),
        (
            '[leads]\nzero = "value"\nvalue = "21 ohm"\nuncertainty = "1 ohm"',
            "leads",
            "leads cannot have 21 ohm",
        ),
        ('[leads]\nvalue = "0.2 ohm"', "leads", "belong to"),
        ('[settle]\nspan = "20 s"', "settle", "window must be longer"),
        ("[settle]\nmin_conversions = 2", "settle.min_conversions", "3"),
        ('[csv]\nper = "hour"', "csv.per", "not one of 'day' or 'batch'"),
        ("[csv]\nfolder = 5", "csv.folder", "no path"),
        ("csv = 5\n", "temperature.csv", "not known here"),
        ('[mqtt]\nhost = "a b"', "mqtt.host", "cannot be used"),
        ('[mqtt]\nhost = "b"\nport = 70000', "mqtt.port", "65535"),
        ('[mqtt]\nhost = "b"\nversion = 5', "mqtt.version", "not one of '5' or '3.1.1'"),
        ('[mqtt]\nhost = "b"\npassword = "x"', "mqtt.password", "password_env"),
        ('[mqtt]\nhost = "b"\nuser = "x"', "mqtt.user", "user_env"),
        ('[mqtt]\nhost = "b"\nuser_env = "not a name"', "mqtt.user_env", "environment variable"),
        ('[mqtt]\nhost = "b"\npassword_env = "P"', "mqtt", "needs a user"),
        ('[mqtt]\nhost = "b"\nuser_env = "U"\npassword_env = "P"\npassword_file = "p"', "mqtt", "not both"),
        ('[mqtt]\nhost = "b"\nca = "ca.pem"\ntls = false', "mqtt", "need tls"),
        ('[mqtt]\nhost = "b"\nkey = "key.pem"', "mqtt", "go together"),
        ("[http]", "http.port", "missing"),
        ("[http]\nport = 0", "http.port", "1"),
        ('[http]\nport = 8470\nhost = "0.0.0.0"', "http", "public = true"),
        ('[http]\nport = 8470\nhost = "10.0.0.7"', "http", "public = true"),
        ('[http]\nport = 8470\nhost = "::"', "http", "public = true"),
        ('[http]\nport = 8470\nhost = "bench.lan"', "http.host", "an address"),
        ("[http]\nport = 8470\npublic = 1", "http.public", "true or false"),
        ("[monitor]\nport = 80", "monitor", "not known here"),
    ],
)
def test_the_other_tables_are_checked_too(faults_of, table, key, said):
    found = faults_of(f"{SMALL}{table}\n")
    assert any(f[1] == key and said in f[2] for f in found), found


def test_a_secret_written_by_mistake_is_not_repeated_in_the_message(faults_of):
    found = faults_of(f'{SMALL}[mqtt]\nhost = "b"\npassword = "swordfish"\n')
    assert "swordfish" not in str(found)


def test_two_instruments_need_two_names(faults_of):
    text = SMALL.replace(
        'source = "typed"\nvalue = "21.5 °C"', 'source = "meter"\nlink = "tcp:127.0.0.1:1"\nid = "meter"'
    )
    assert [key for _, key, _ in faults_of(text)] == ["temperature.id"]


def test_all_faults_come_at_once(faults_of):
    text = SMALL.replace('"scpi"', '"scpl"').replace('"final"', '"finished"').replace("21.5 °C", "21.5")
    assert [line for line, _, _ in faults_of(text)] == [3, 6, 11]


def test_another_kind_of_file_is_refused_in_one_sentence():
    with pytest.raises(FileInvalid, match="this is no bench file") as refused:
        load_bench(CONFIGS / "sheets" / "plover-80.toml")
    assert len(refused.value.faults) == 1


def test_an_empty_file_lacks_two_tables(faults_of):
    said = [what for _, _, what in faults_of("")]
    assert [f"no [{name}] table" in what for name, what in zip(("bench", "temperature"), said, strict=True)]
    assert len(said) == 2


def test_links_that_lead_in_a_circle_are_no_trap(faults_of, tmp_path):
    (tmp_path / "a").symlink_to(tmp_path / "b")
    (tmp_path / "b").symlink_to(tmp_path / "a")
    assert [key for _, key, _ in faults_of(SMALL.replace('"meter.toml"', '"a"'))] == ["meter.model"]


REFERENCE = """
[[reference]]
resistor = "R470"
value = "470 ohm"
uncertainty = "0.47 ohm"
"""


def test_known_resistors_have_names_of_their_own_and_fit_their_range(bench_from):
    """Told with the line, as every fault."""
    text = SMALL + REFERENCE
    assert len(bench_from(text + REFERENCE.replace("R470", "R100")).references) == 2
    for more, fault in (
        (REFERENCE, 'another known resistor is named "R470" too.'),
        (REFERENCE.replace("R470", "R2") + 'range = "200 ohm"', "range is smaller than value"),
        (REFERENCE.replace("0.47", "47"), "better than 5 %"),
    ):
        with pytest.raises(FileInvalid, match=fault):
            bench_from(text + more)
    with pytest.raises(FileInvalid, match="may stand several times"):
        bench_from(SMALL + REFERENCE.replace("[[reference]]", "[reference]"))


def test_a_bench_without_a_meter_table_is_typed(bench_from):
    """By the figures of the poorest meter, so that nothing is promised which another may not keep."""
    bench = bench_from(SMALL[: SMALL.index("[meter]")] + SMALL[SMALL.index("[temperature]") :])
    assert (bench.meter.driver, bench.meter.id, bench.meter.link) == ("typed", "typed", "")
    assert bench.meter.model == CONFIGS / "meters" / "hand-2000.toml"
