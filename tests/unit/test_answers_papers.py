"""`steadyohm certificate` as it is typed: files, a whole batch, the shop's heading, and what is refused."""

import json
from pathlib import Path

import pytest
from typer.testing import CliRunner

from acquire.cli import app
from acquire.errors import InputImpossible
from tests.known_records import NOON_S
from tests.known_visits import SERIAL, journal_with, shop_day, visit
from tests.unit.test_reports_logo import GOOD, png

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
        (["{journal}"], "one unit or of one batch"),
        ([], "one unit or of one batch"),
        (["{journal}", SERIAL, "--batch", "lot 7"], "one unit or of one batch"),
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
