"""Earlier paper records: every row checked, told by line, marked as imported, never taken for verdicts."""

import asyncio
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st
from typer.testing import CliRunner

from acquire.answers.importing import import_papers
from acquire.cli import app
from acquire.clock import HandClock
from acquire.errors import FileInvalid, InputImpossible, JournalMissing, JournalUnusable, SteadyohmError
from acquire.journal.history import JournalReader
from acquire.journal.query import Query
from acquire.journal.store import Journal
from acquire.records import ImportedResult, Outcome, Purpose
from acquire.reports.export import PAPER_COLUMNS, PaperFile
from acquire.sheets import load_sheet
from tests.known_records import NOON_S
from tests.known_visits import SERIAL, journal_with, visit
from tests.tries import tries

SHEET = Path(__file__).parents[2] / "configs" / "sheets" / "plover-80.toml"
PLOVER = load_sheet(SHEET)
HEADS = ",".join(column.name for column in PAPER_COLUMNS)


def papers(tmp_path, text, heads=HEADS):
    file = tmp_path / "paper.csv"
    file.write_text(f"{heads}\n{text}", encoding="utf-8")
    return PaperFile(file, PLOVER, "bench-1", "steadyohm 0.1.0", NOON_S)


def faults(tmp_path, text, heads=HEADS):
    with pytest.raises(FileInvalid) as caught:
        papers(tmp_path, text, heads).read()
    return [str(fault) for fault in caught.value.faults]


def test_a_full_row_is_read(tmp_path):
    """Every column, in the unit of its name; the value brought to 20 °C as copper (IEC 60028)."""
    row = 'A1,2019-03-02,slow charge,1,2,207.0,26.5,0.4,pass,incoming,lot 1,Ida,bridge,"coil 2, re-taped"\n'
    (result,) = papers(tmp_path, row).read()
    assert (result.serial, result.step, result.pin_a, result.pin_b) == ("A1", "slow charge", "1", "2")
    assert result.reference_ohm == pytest.approx(207.0 * 254.5 / (234.5 + 26.5))
    assert (result.outcome, result.purpose) == (Outcome.PASS, Purpose.INCOMING)
    assert result.measured_utc_s == 1_551_484_800.0  # 2019-03-02T00:00:00Z, `date -u -d 2019-03-02 +%s`
    assert (result.batch, result.operator, result.instrument) == ("lot 1", "Ida", "bridge")
    assert result.remark == "coil 2, re-taped"
    assert (result.source, result.source_line, result.utc_s) == ("paper.csv", 2, NOON_S)
    assert len(result.source_hash) == 64


def test_the_fewest_columns_are_three_and_a_place(tmp_path):
    """By step or by pins, in any order; no temperature, no correction; a final test unless said."""
    (one,) = papers(tmp_path, "202.1,A1,2019-03-02,slow charge\n", "value_ohm,serial,date,step").read()
    assert (one.reference_ohm, one.purpose, one.outcome) == (None, Purpose.FINAL, None)
    (two,) = papers(tmp_path, "A1,2019-03-02T14:30,3,1,open\n", "serial,date,pin_a,pin_b,value_ohm").read()
    assert (two.step, two.pin_a, two.pin_b, two.value_ohm) == ("both charge windings", "1", "3", None)
    (three,) = papers(tmp_path, "A1,2019-03-02,4,CORE,83\n", "serial,date,pin_a,pin_b,value_ohm").read()
    assert three.step == "4–CORE"  # no step of the sheet, but a pair of it


def test_a_byte_order_mark_and_windows_line_ends_do_no_harm(tmp_path):
    """As spreadsheets save."""
    file = tmp_path / "p.csv"
    file.write_bytes(b"\xef\xbb\xbfserial,date,step,value_ohm\r\nA1,2019-03-02,trigger,83.1\r\n")
    assert PaperFile(file, PLOVER, "b", "s", NOON_S).read()[0].serial == "A1"


@pytest.mark.parametrize(
    ("row", "told"),
    [
        (",2019-03-02,trigger,,,83,,,,,,,,", "serial: it is empty"),
        ("A1,02.03.2019,trigger,,,83,,,,,,,,", 'date: "02.03.2019" is no date. Write it as 2019-03-02.'),
        ("A1,2109-03-02,trigger,,,83,,,,,,,,", "lies too far back, or ahead"),
        ("A1,1719-03-02,trigger,,,83,,,,,,,,", "lies too far back, or ahead"),
        ("A1,2019-03-02,trigge,,,83,,,,,,,,", 'no step "trigge" on Plover 80. Did you mean "trigger"?'),
        ("A1,2019-03-02,,,,83,,,,,,,,", "is no pin"),
        ("A1,2019-03-02,,4,9,83,,,,,,,,", '"9" is no pin of Plover 80'),
        ("A1,2019-03-02,trigger,1,2,83,,,,,,,,", '"trigger" is 4–6, not 1–2'),
        ('A1,2019-03-02,trigger,,,"83,1",,,,,,,,', 'value_ohm: "83,1" is no number of ohms'),
        ("A1,2019-03-02,trigger,,,83 ohm,,,,,,,,", "no unit"),
        ("A1,2019-03-02,trigger,,,,,,,,,,,", "is no number of ohms"),
        ("A1,2019-03-02,trigger,,,-3,,,,,,,,", "is no number of ohms"),
        ("A1,2019-03-02,trigger,,,nan,,,,,,,,", "is no number of ohms"),
        ("A1,2019-03-02,trigger,,,1_0,,,,,,,,", "is no number of ohms"),
        ("A1,2019-03-02,trigger,,,83,900,,,,,,,", "no temperature of a winding"),
        ("A1,2019-03-02,trigger,,,83,20,,good,,,,,", 'outcome: "good" is none of pass'),
        ("A1,2019-03-02,trigger,,,83,20,,,test,,,,", 'purpose: "test" is none of incoming'),
        ("A1,2019-03-02,trigger,,,83", "not as many cells"),
        ("A1,2019-03-02,trigger,,,83,,,,,,,,,,,", "not as many cells"),
        ("A1,2019-03-02,trigger,,,83,,,,,,,,\x07", "cannot be printed"),
        (f"A1,2019-03-02,trigger,,,83,,,,,,,,{'x' * 600}", "too long"),
    ],
)
def test_each_fault_is_told_with_file_and_line(tmp_path, row, told):
    """The good row before it does not hide it, and nothing is taken."""
    good = "A0,2019-03-02,trigger,,,83.1,20,,,,,,,\n"
    (fault,) = faults(tmp_path, good + row + "\n")
    assert fault.startswith(f"{tmp_path}/paper.csv:3: ")
    assert told in fault


def test_all_faults_come_at_once(tmp_path):
    """One run tells all, in the order of the lines; a file of nothing but faults tells a hundred."""
    told = faults(tmp_path, "A1,x,trigger,,,83,,,,,,,,\nA1,2019-03-02,trigger,,,y,,,,,,,,\n")
    assert [fault.split(": ")[0][-1] for fault in told] == ["2", "3"]
    assert len(faults(tmp_path, "A1,x,trigger,,,83,,,,,,,,\n" * 500)) == 100


@pytest.mark.parametrize(
    ("heads", "told"),
    [
        ("serial,date,step,value_ohm,celsiu", 'Did you mean "celsius"?'),
        ("serial,step,value_ohm", "date: this column is missing"),
        ("serial,serial,date,step,value_ohm", "there twice"),
        ("serial;date;step;value_ohm", "there is no column"),
    ],
)
def test_heads_are_checked_first(tmp_path, heads, told):
    assert told in " ".join(faults(tmp_path, "A1,2019-03-02,trigger,83,\n", heads))


def test_an_empty_file_and_a_repeated_value_are_told(tmp_path):
    assert "no rows" in faults(tmp_path, "")[0]
    row = "A1,2019-03-02,trigger,,,83,,,,,,,,\n"
    assert "in line 2 already" in faults(tmp_path, row + row)[0]


def test_a_slip_of_the_unit_is_told_but_taken(tmp_path):
    """As a fault reads so, too: 83 kΩ on a trigger of 83 Ω."""
    paper = papers(tmp_path, "A1,2019-03-02,trigger,,,83100,,,,,,,,\nA2,2019-03-02,trigger,,,40,,,,,,,,\n")
    assert len(paper.read()) == 2
    assert len(paper.doubts) == 1
    assert "paper.csv:2: 83100 Ω is far from the 83.19 Ω expected" in paper.doubts[0]


@given(st.text(max_size=300))
@tries(150)
def test_any_text_is_read_or_refused_by_sentence(tmp_path_factory, text):
    """Never another error."""
    file = tmp_path_factory.mktemp("any") / "p.csv"
    file.write_bytes(text.encode("utf-8", "surrogatepass"))
    for start in (b"", b"serial,date,step,value_ohm\n"):
        file.write_bytes(start + text.encode("utf-8", "surrogatepass"))
        try:
            PaperFile(file, PLOVER, "b", "s", NOON_S).read()
        except SteadyohmError:
            continue


# ---------------------------------------------------------------- onto the journal


@pytest.fixture
def journal(tmp_path):
    return journal_with(tmp_path / "journal", visit())


def typed(*words):
    return CliRunner().invoke(app, ["import", *map(str, words)], catch_exceptions=False)


def test_values_go_on_the_record_marked_as_imported(journal, tmp_path):
    """Found by serial and in the history; no verdicts, and in no statistics of verdicts."""
    file = tmp_path / "paper.csv"
    file.write_text(
        f"{HEADS}\n{SERIAL},2019-03-02,trigger,,,84.0,21.5,,pass,,lot 7,Ida,,\n", encoding="utf-8"
    )
    assert typed(file, journal, "--sheet", SHEET, "--dry").output == f"{file}: in order: values 1, units 1\n"
    assert typed(file, journal, "--sheet", SHEET).output == f"{file}: imported: values 1, units 1\n"
    with JournalReader(journal) as record:
        (entry,) = record.find(Query(kinds=("imported_result",)))
        assert isinstance(entry.record, ImportedResult)
        assert entry.record.bench == "bench-1"
        assert len(list(record.find(Query(batch="lot 7", kinds=("verdict",))))) == 3
        assert record.batches() == [("lot 7", 3)]
    told = (
        CliRunner().invoke(app, ["history", str(journal), "--serial", SERIAL], catch_exceptions=False).output
    )
    assert "from paper of 2019-03-02: 4–6 trigger: 84.00 Ω at 21.5 °C, pass as stated" in told


def test_the_same_values_are_not_taken_twice(journal, tmp_path):
    """By unit, date and step, from whatever file they come."""
    file = tmp_path / "paper.csv"
    file.write_text("serial,date,step,value_ohm\nA1,2019-03-02,trigger,84\n", encoding="utf-8")
    typed(file, journal, "--sheet", SHEET)
    other = tmp_path / "copy.csv"
    other.write_text("serial,date,step,value_ohm\nB1,2019-03-02,trigger,84\nA1,2019-03-02,trigger,84\n")
    with pytest.raises(FileInvalid, match=r"copy.csv:3: A1, trigger of that date is on the record already"):
        typed(other, journal, "--sheet", SHEET)


async def test_a_bench_at_work_keeps_its_journal(tmp_path):
    """Nothing is written, and what to do is said."""
    journal_folder = tmp_path / "journal"
    opened = Journal.open(journal_folder, bench="bench-1", clock=HandClock())
    file = tmp_path / "paper.csv"
    file.write_text("serial,date,step,value_ohm\nA1,2019-03-02,trigger,84\n", encoding="utf-8")
    with pytest.raises(JournalUnusable, match="Stop the bench"):
        await asyncio.to_thread(typed, file, journal_folder, "--sheet", SHEET)
    await opened.close()


def test_there_must_be_a_journal(tmp_path):
    """Paper goes where the bench's own record is, not into a new one."""
    (tmp_path / "p.csv").write_text("serial,date,step,value_ohm\nA1,2019-03-02,trigger,84\n")
    with pytest.raises(JournalMissing):
        import_papers(tmp_path / "p.csv", tmp_path / "none", sheet=SHEET)


def test_every_column_is_explained():
    """Among the files that users write."""
    text = (Path(__file__).parents[2] / "configs" / "README.md").read_text(encoding="utf-8")
    assert not [column.name for column in PAPER_COLUMNS if f"`{column.name}`" not in text]


def test_a_file_that_would_fill_the_memory_is_refused_unread(tmp_path):
    file = tmp_path / "paper.csv"
    with file.open("wb") as huge:
        huge.truncate(10_000_001)
    with pytest.raises(InputImpossible, match=r"larger than 10 MB"):
        PaperFile(file, PLOVER, "bench-1", "steadyohm 0.1.0", NOON_S).read()
