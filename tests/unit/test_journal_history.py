"""Questions about the past, while the bench goes on."""

import subprocess
import sys
import tempfile
from datetime import date
from pathlib import Path

import pytest

from acquire.clock import HandClock
from acquire.errors import JournalMissing, JournalUnusable
from acquire.journal import history
from acquire.journal.history import JournalReader
from acquire.journal.query import Query, Record
from acquire.journal.store import Journal
from acquire.records import Outcome
from tests.known_records import EVIDENCE, NOON_S, RESULT, STARTED, VERDICT, ZERO, verdict

DAY_S = 86_400.0


@pytest.fixture
async def journal(tmp_path):
    """A journal with two units of two batches on two days, still open."""
    opened = Journal.open(tmp_path, bench="north bench", clock=HandClock())
    await opened.append([(STARTED, None), (verdict(1), EVIDENCE), (RESULT, None), (ZERO, None)])
    await opened.append(
        [(verdict(2, batch="lot 8", utc_s=NOON_S + DAY_S), EVIDENCE), (verdict(3, batch="lot 8"), None)]
    )
    yield opened
    await opened.close()


async def test_a_unit_is_found_by_its_serial(journal):
    """Everything on its record, oldest first."""
    with JournalReader(journal.path.parent) as reader:
        found = reader.by_serial("PL80-0001")

    assert [entry.kind for entry in found] == ["unit_started", "verdict", "unit_result"]
    assert found[1].record == verdict(1)
    assert found[1].id == f"{journal.birth}-2"
    assert found[1].evidence["raw_hex"] == EVIDENCE.raw_hex


async def test_a_question_may_be_left_half_answered_behind_a_closed_file(journal):
    """As when whoever reads a command's output leaves: no fault comes out of the rest."""
    with JournalReader(journal.path.parent) as reader:
        entries, rows = reader.find(Query()), reader.values(Query(), ("serial",))
        assert next(entries).kind == "unit_started"
        assert next(rows) == ("PL80-0001",)
    entries.close()
    rows.close()


async def test_a_batch_is_found_by_its_name_and_counted(journal):
    """The batch is the exact text, whatever it holds."""
    with JournalReader(journal.path) as reader:
        assert [entry.serial for entry in list(reader.find(Query(batch="lot 8")))] == [
            "PL80-0002",
            "PL80-0003",
        ]
        assert list(reader.find(Query(batch="lot%"))) == []
        assert reader.batches() == [("lot 8", 2), ("lot 7", 1)]


async def test_a_day_is_found_by_its_date(journal):
    """Days are UTC days; the clock of the record decides, not the order."""
    with JournalReader(journal.path) as reader:
        assert [entry.serial for entry in list(reader.find(Query(day=date(2025, 11, 26))))] == ["PL80-0002"]
        assert len(list(reader.find(Query(day=date(2025, 11, 25))))) == 5
        assert list(reader.find(Query(day=date(2024, 1, 1)))) == []


async def test_the_latest_few_of_a_kind_are_found(journal):
    """Oldest first still, but only the last ones."""
    with JournalReader(journal.path) as reader:
        found = list(reader.find(Query(kinds=("verdict",), limit=2)))

    assert [entry.serial for entry in found] == ["PL80-0002", "PL80-0003"]


async def test_reading_sees_what_is_committed_meanwhile(journal):
    """The reader is no snapshot of its start."""
    with JournalReader(journal.path) as reader:
        await journal.append([(verdict(4), None)])
        assert len(reader.by_serial("PL80-0004")) == 1


def test_no_journal_and_no_journals_file_are_told(tmp_path):
    """One sentence each."""
    with pytest.raises(JournalUnusable, match="no journal at"):
        JournalReader(tmp_path)
    (tmp_path / "words.db").write_text("only words, but more of them than a database's head would take " * 9)
    with pytest.raises(JournalMissing, match=r"words\.db is no journal\. Name the folder of a bench's"):
        JournalReader(tmp_path / "words.db")
    (tmp_path / "words.db").rename(tmp_path / "journal.db")  # by its name a journal, so it must have been one
    with pytest.raises(JournalUnusable, match="damaged"):
        JournalReader(tmp_path)


async def test_a_reader_writes_nothing(journal):
    """Not even when asked to through the back door."""
    with JournalReader(journal.path) as reader, pytest.raises(Exception, match="readonly"):
        reader._connection.execute("DELETE FROM entry")


HOSTILE = "Ω’; DROP -- \U0001f600 \ud83d"


@pytest.fixture
async def mixed(tmp_path):
    """Two meters, two sheets, three outcomes, two hours."""
    opened = Journal.open(tmp_path, bench="north bench", clock=HandClock())
    fail, near = Outcome.FAIL, Outcome.CONDITIONAL_PASS
    await opened.append(
        [
            (verdict(1), EVIDENCE),
            (verdict(2, outcome=fail, meter_id="other", utc_s=NOON_S + 3600.0), EVIDENCE),
            (verdict(3, outcome=near, sheet="Quern 12"), None),
            (RESULT, None),
            (verdict(5, serial=HOSTILE, operator=HOSTILE, step=HOSTILE), None),
        ]
    )
    yield opened
    await opened.close()


@pytest.mark.parametrize(
    ("question", "numbers"),
    [
        (Query(outcomes=(Outcome.FAIL,)), [2, 4]),
        (Query(outcomes=(Outcome.FAIL,), kinds=("verdict",)), [2]),
        (Query(outcomes=(Outcome.PASS, Outcome.CONDITIONAL_PASS)), [1, 3, 5]),
        (Query(meter_id="other"), [2]),
        (Query(sheet="Quern 12"), [3]),
        (Query(sheet="Quern%"), []),
        (Query(bench="north bench", outcomes=(Outcome.PASS,)), [1, 5]),
        (Query(bench="south bench"), []),
        (Query(since_utc_s=NOON_S + 30.0), [2, 4]),
        (Query(until_utc_s=NOON_S + 30.0), [1, 3, 5]),
        (Query(since_utc_s=NOON_S + 30.0, until_utc_s=NOON_S + 3600.0), [4]),
        (Query(diagnosis="Of 1020 TURNS"), [4]),
        (Query(diagnosis="shorted_turns"), [4]),
        (Query(diagnosis="probability"), []),
        (Query(diagnosis="1020", kinds=("verdict",)), []),
        (Query(serial=HOSTILE), [5]),
        (Query(limit=2), [4, 5]),
        (Query(limit=0), []),
        (Query(day=date(2025, 11, 25), since_utc_s=NOON_S + 3600.0), [2]),
    ],
)
async def test_every_part_of_a_question_must_hold(mixed, question, numbers):
    """Whatever is set narrows the answer; the order is that of the record."""
    with JournalReader(mixed.path) as reader:
        assert [entry.seq for entry in reader.find(question)] == numbers
        assert list(reader.values(question, ["seq"])) == [(number,) for number in numbers]


async def test_single_fields_are_given_without_the_rest(mixed):
    """As they stand in the payload; what an entry lacks is None."""
    with JournalReader(mixed.path) as reader:
        got = list(reader.values(Query(), ["id", "kind", "outcome", "reference_ohm", "counts", "operator"]))
        assert got[1] == (f"{mixed.birth}-2", "verdict", "fail", 202.71, 1, VERDICT.operator)
        assert got[3] == (f"{mixed.birth}-4", "unit_result", "fail", None, None, RESULT.operator)
        assert got[4][-1] == HOSTILE


async def test_evidence_is_read_only_where_it_is_wanted(mixed):
    """One by one by the entry's id, or with the entries."""
    with JournalReader(mixed.path) as reader:
        assert [e.evidence is None for e in reader.find(Query())] == [False, False, True, True, True]
        assert all(e.evidence is None for e in reader.find(Query(with_evidence=False)))
        assert reader.evidence(f"{mixed.birth}-2") == EVIDENCE
        for missing in (
            f"{mixed.birth}-3",
            f"{mixed.birth}-99",
            "other-2",
            "",
            "x",
            f"{mixed.birth}-{'9' * 40}",
        ):
            assert reader.evidence(missing) is None


def test_a_journal_is_a_record():
    """What reports ask for; mypy compares the signatures."""
    record: type[Record] = JournalReader
    assert record is JournalReader


@pytest.mark.parametrize(
    ("question", "index"),
    [
        (Query(serial="PL80-0002"), "entry_by_serial"),
        (Query(serial="PL80-0002", kinds=("unit_started",)), "entry_by_serial"),
        (Query(batch="lot 8"), "entry_by_batch"),
        (Query(batch="lot 8", kinds=("unit_started",)), "entry_by_batch"),
        (Query(batch="lot 8", kinds=("unit_started", "unit_result", "batch")), "entry_by_batch"),
        (Query(batch="lot 8", kinds=("verdict",)), "entry_by_batch"),
        (Query(kinds=("batch",)), "entry_besides"),
        (Query(kinds=("check_standard", "lead_zero")), "entry_besides"),
        (Query(day=date(2025, 11, 25)), "entry_by_time"),
    ],
    ids=str,
)
async def test_questions_about_little_do_not_read_the_whole_record(journal, question, index):
    """SQLite searches by the index that leaves least to read, and says so."""
    with JournalReader(journal.path) as reader:
        where, values = history._where(question)
        sql = f"EXPLAIN QUERY PLAN SELECT * FROM entry {where} ORDER BY seq"  # noqa: S608  (our own words)
        plan = [row[3] for row in reader._connection.execute(sql, values)]
    assert plan[0].startswith(f"SEARCH entry USING INDEX {index} "), plan


@pytest.mark.parametrize("closed", [True, False], ids=["closed", "killed"])
def test_a_folder_that_only_gives_is_read(closed):
    """A stick that is write-protected, or another user's folder; as nobody, since root may write anywhere."""
    with tempfile.TemporaryDirectory() as place:  # pytest closes its own to others
        Path(place).chmod(0o755)
        _reads_as_nobody(Path(place, "journal"), closed=closed)


def _reads_as_nobody(folder, *, closed):
    script = (
        "import asyncio, os, sys\n"
        "from pathlib import Path\n"
        "from acquire.clock import RealClock\n"
        "from acquire.journal.store import Journal\n"
        "from tests.known_records import verdicts\n"
        "async def go():\n"
        f"    journal = Journal.open(Path({str(folder)!r}), bench='b', clock=RealClock())\n"
        "    await journal.append(verdicts(5))\n"
        + ("    await journal.close()\n" if closed else "    os._exit(0)\n")
        + "asyncio.run(go())\n"
    )
    subprocess.run([sys.executable, "-c", script], check=True)
    for file in folder.iterdir():
        file.chmod(0o644)
    (folder / "journal.db-shm").unlink(missing_ok=True)
    folder.chmod(0o555)
    read = (
        "from pathlib import Path\n"
        "import os\n"
        "from acquire.journal.history import JournalReader, Query\n"
        "if os.geteuid() == 0:\n"
        "    os.setgid(65534)\n"
        "    os.setuid(65534)\n"
        f"with JournalReader(Path({str(folder)!r})) as reader:\n"
        "    print(len(list(reader.find(Query()))))\n"
    )
    done = subprocess.run([sys.executable, "-B", "-c", read], check=False, capture_output=True, text=True)
    folder.chmod(0o755)
    assert done.stdout == "5\n", done.stderr
