"""`steadyohm certificate` as it is typed: files, a whole batch, the shop's heading, and what is refused."""

import json
import re
from dataclasses import replace
from pathlib import Path

import pytest
from typer.testing import CliRunner

from acquire.answers.papers import papers_of
from acquire.cli import app
from acquire.errors import InputImpossible
from acquire.records import Outcome
from tests.known_records import NOON_S, TYPED
from tests.known_visits import SERIAL, journal_with, shop_day, visit
from tests.unit.test_reports_printing import GOOD, png

CONFIGS = Path(__file__).parents[2] / "configs"


def typed(*words):
    """What a command said, with its exit code; errors of ours come as they are."""
    done = CliRunner().invoke(app, [str(word) for word in words], catch_exceptions=False)
    return done.exit_code, done.output


@pytest.fixture
def journal(tmp_path):
    """Of three units of one batch, one of them still on the bench."""
    records = [*shop_day(), *visit("A/1 ü", utc_s=NOON_S + 100.0), *visit("open", utc_s=NOON_S + 200.0)[:-1]]
    return journal_with(tmp_path / "journal", records)


def bench_file(folder, shop):
    """A bench file beside a logo."""
    (folder / "logo.svg").write_bytes(GOOD)
    (folder / "logo.png").write_bytes(png())
    file = folder / "bench.toml"
    file.write_text(
        f'[bench]\nname = "bench-1"\npurpose = "final"\nsheet = "{CONFIGS}/sheets/plover-80.toml"\n'
        '[meter]\ndriver = "scpi"\nlink = "tcp:127.0.0.1:5025"\n'
        f'model = "{CONFIGS}/meters/bench-50000.toml"\n'
        f'[temperature]\nsource = "typed"\nvalue = "21.5 °C"\n{shop}',
        encoding="utf-8",
    )
    return file


@pytest.mark.parametrize("logo", ["logo.svg", "logo.png"])
def test_a_certificate_carries_the_shops_heading(journal, tmp_path, logo):
    """And is sound as issued, in both forms."""
    shop = (
        f'[shop]\nname = "Otterbeck Rewinds"\naddress = ["3 Mill Lane"]\nlogo = "{logo}"\npaper = "Letter"\n'
    )
    bench = bench_file(tmp_path, shop)
    files = {kind: tmp_path / f"c.{kind}" for kind in ("html", "pdf")}
    words = ["certificate", journal, SERIAL, "--bench", bench, "--customer", "Moorland Sprayers"]
    code, said = typed(*words, "--html", files["html"], "--pdf", files["pdf"])
    assert code == 0
    assert said.startswith(f"{SERIAL}: certificate ")
    page = files["html"].read_text(encoding="utf-8")
    for part in ("Otterbeck Rewinds", "3 Mill Lane", "Moorland Sprayers", "data:image/", "size:Letter"):
        assert part in page, part
    for file in files.values():
        code, said = typed("certificate", "--verify", file, "--journal", journal)
        assert code == 0, said


def test_a_whole_batch_goes_into_a_folder(journal, tmp_path):
    """One file each for those with a verdict, under names that any system takes."""
    code, said = typed("certificate", journal, "--batch", "lot 7", "--html", tmp_path / "out", "--json")
    assert code == 0
    files = [Path(json.loads(line)["files"][0]).name for line in said.splitlines()]
    assert files == ["certificate-PL80-0007.html", "certificate-A-1_934494e3f2f7b268f567.html"]
    assert sorted(path.name for path in (tmp_path / "out").iterdir()) == sorted(files)


def test_a_changed_certificate_ends_with_exit_code_1(journal, tmp_path):
    """For scripts; and the JSON says which of the two failed."""
    file = tmp_path / "c.html"
    typed("certificate", journal, SERIAL, "--html", file)
    file.write_text(
        file.read_text(encoding="utf-8").replace("Fail: beyond", "Fail: within"), encoding="utf-8"
    )
    code, said = typed("certificate", "--verify", file, "--journal", journal, "--json")
    assert code == 1
    found = json.loads(said)
    assert (found["page_as_drawn"], found["facts_on_record"]) == (False, True)


@pytest.mark.parametrize(
    ("words", "told"),
    [
        (["{journal}"], "one unit or for one batch"),
        ([], "one unit or for one batch"),
        (["{journal}", SERIAL, "--batch", "lot 7"], "one unit or for one batch"),
        (["{journal}", "nobody"], "never on a bench"),
        (["{journal}", "open"], "still on the bench"),
        (["{journal}", "--batch", "none"], "No unit of batch"),
        (["{journal}", SERIAL, "--purpose", "returned"], "never measured for purpose returned"),
        (["{journal}", SERIAL, "--html", "/proc/none/c.html"], "there is no folder /proc/none"),
        (["{journal}", "--batch", "lot 7", "--html", "/proc/none/deep"], "there is no folder /proc/none"),
        (["{journal}", "--batch", "lot 7", "--html", "/dev/null"], "/dev/null cannot be made a folder"),
        (["--verify", "/nowhere.html"], "cannot be read"),
        (["--verify", "{journal}/journal.db"], "no facts"),
    ],
)
def test_what_cannot_be_is_one_sentence(journal, words, told):
    """With what to do."""
    with pytest.raises(InputImpossible, match=told):
        typed("certificate", *(word.format(journal=journal) for word in words))


# ---------------------------------------------------------------- kept as issued


def number_in(said):
    return re.search(r"certificate (\S+):", said)[1]


@pytest.mark.parametrize("ending", ["html", "pdf"])
def test_a_certificate_is_printed_again_byte_for_byte(journal, tmp_path, ending):
    """By its number or its serial; without a file it is listed with its state."""
    first, again = tmp_path / f"first.{ending}", tmp_path / f"again.{ending}"
    number = number_in(typed("certificate", journal, SERIAL, f"--{ending}", first)[1])
    code, said = typed("issued", journal, number, "--to", again)
    assert (code, first.read_bytes() == again.read_bytes()) == (0, True)
    code, said = typed("issued", journal, SERIAL)
    assert (code, said.startswith(number), f"certificate of {SERIAL} ({ending}): Good" in said) == (
        0,
        True,
        True,
    )
    kept = json.loads(typed("issued", journal, number, "--json")[1])
    assert kept["hashes"]["sheet"] == ["5e" * 32]
    assert len(kept["rests_on"]) == 9  # start, four verdicts, remark, typed result, end; the bench's check
    with pytest.raises(InputImpossible, match="was issued as"):
        typed("issued", journal, number, "--to", tmp_path / "x.svg")


def test_five_serials_that_shared_two_files_have_five(tmp_path):
    serials = ["24/101", "24_101", "24 101", "Ж-7", "З-7"]
    folder = journal_with(
        tmp_path / "j", [e for n, s in enumerate(serials) for e in visit(s, utc_s=NOON_S + 100.0 * n)]
    )
    typed("certificate", folder, "--batch", "lot 7", "--html", tmp_path / "out")
    assert len(list((tmp_path / "out").iterdir())) == 5


def test_a_later_result_supersedes_certificate_and_label(journal, tmp_path):
    """Typed in afterwards, and failing: the look-up says so, and a check of the file does."""
    page, label = tmp_path / "c.html", tmp_path / "l.svg"
    typed("certificate", journal, SERIAL, "--html", page)
    typed("label", journal, SERIAL, "--svg", label)
    assert typed("issued", journal, SERIAL)[1].count("Good") == 2
    result = replace(TYPED, serial=SERIAL, bench="bench-1", outcome=Outcome.FAIL, utc_s=4e9)
    journal_with(journal, [result])
    told = typed("issued", journal, SERIAL)[1]
    assert (
        told.count("Superseded: it states pass, and since then the result was revised: it is FAIL now.") == 2
    )
    found = json.loads(typed("certificate", "--verify", page, "--journal", journal, "--json")[1])
    assert (found["as_issued"], found["facts_on_record"], "FAIL now" in found["superseded"]) == (
        True,
        True,
        True,
    )


def test_a_file_is_held_against_what_was_issued(journal, tmp_path):
    """A page drawn by this program of true facts, but never issued, or issued with other words, shows."""
    page, other = tmp_path / "c.html", tmp_path / "elsewhere"
    other.mkdir()
    typed("certificate", journal, SERIAL, "--html", page, "--customer", "A", "--issued", other)
    typed("certificate", journal, "PL80-0007", "--html", tmp_path / "d.html")
    code, said = typed("certificate", "--verify", page, "--journal", journal)
    assert code == 1
    assert "NO CERTIFICATE OF THIS NUMBER WAS ISSUED" in said
    code, said = typed("certificate", "--verify", page, "--journal", journal, "--issued", other)
    assert (code, "It is byte for byte what was issued." in said) == (0, True)


@pytest.mark.parametrize("ending", ["html", "pdf"])
def test_a_signed_certificate_shows_who_issued_it(journal, tmp_path, ending):
    page, key = tmp_path / f"c.{ending}", tmp_path / "shop.key"
    typed("sign-key", key)
    typed("certificate", journal, SERIAL, f"--{ending}", page, "--key", key)
    words = ["certificate", "--verify", page, "--journal", journal, "--public-key"]
    code, said = typed(*words, f"{key}.pub")
    assert (code, "It was signed with the key of shop.key.pub" in said) == (0, True)
    typed("sign-key", tmp_path / "other.key")
    code, said = typed(*words, tmp_path / "other.key.pub")
    assert (code, "IT WAS NOT SIGNED with the key" in said) == (1, True)
    plain = tmp_path / f"p.{ending}"
    typed("certificate", journal, SERIAL, f"--{ending}", plain, "--remark", "unsigned")
    code, said = typed("certificate", "--verify", plain, "--journal", journal, "--public-key", f"{key}.pub")
    assert (code, "IT IS NOT SIGNED" in said) == (1, True)


def test_one_file_for_two_forms_is_refused(journal, tmp_path):
    """The second would replace the first; a folder takes both."""
    with pytest.raises(InputImpossible, match="two forms"):
        typed("certificate", journal, SERIAL, "--html", tmp_path / "OUT", "--pdf", tmp_path / "OUT")
    code, said = typed("certificate", journal, SERIAL, "--html", tmp_path, "--pdf", tmp_path)
    assert (code, said.count(f"certificate-{SERIAL}.")) == (0, 2)


def test_a_folder_that_cannot_keep_what_is_issued_is_told(journal, tmp_path):
    with pytest.raises(InputImpossible, match="--issued"):
        typed("certificate", journal, SERIAL, "--html", tmp_path / "c.html", "--issued", "/proc/none/issued")
    assert not (tmp_path / "c.html").exists()


def test_papers_of_a_line_are_kept_beside_its_collector_file(tmp_path):
    """For a database's address in the working folder; another folder where one is named."""
    assert papers_of(tmp_path / "north.toml", None).folder == tmp_path / "issued"
    assert papers_of("postgresql://office@db/line", None).folder == Path("issued")
    assert papers_of("postgresql://office@db/line", tmp_path).folder == tmp_path
    assert papers_of(tmp_path, None).folder == tmp_path / "issued"
