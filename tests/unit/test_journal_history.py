"""Questions about the past, while the bench goes on."""

from datetime import date

import pytest

from acquire.clock import HandClock
from acquire.errors import JournalUnusable
from acquire.journal.history import JournalReader, Question
from acquire.journal.store import Journal
from tests.known_records import EVIDENCE, NOON_S, RESULT, STARTED, ZERO, verdict

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


async def test_a_batch_is_found_by_its_name_and_counted(journal):
    """The batch is the exact text, whatever it holds."""
    with JournalReader(journal.path) as reader:
        assert [entry.serial for entry in reader.by_batch("lot 8")] == ["PL80-0002", "PL80-0003"]
        assert reader.by_batch("lot%") == []
        assert reader.batches() == [("lot 8", 2), ("lot 7", 1)]


async def test_a_day_is_found_by_its_date(journal):
    """Days are UTC days; the clock of the record decides, not the order."""
    with JournalReader(journal.path) as reader:
        assert [entry.serial for entry in reader.by_day(date(2025, 11, 26))] == ["PL80-0002"]
        assert len(reader.by_day(date(2025, 11, 25))) == 5
        assert reader.by_day(date(2024, 1, 1)) == []


async def test_the_latest_few_of_a_kind_are_found(journal):
    """Oldest first still, but only the last ones."""
    with JournalReader(journal.path) as reader:
        found = list(reader.find(Question(kinds=("verdict",), limit=2)))

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
    with pytest.raises(JournalUnusable, match="damaged"):
        JournalReader(tmp_path / "words.db")


async def test_a_reader_writes_nothing(journal):
    """Not even when asked to through the back door."""
    with JournalReader(journal.path) as reader, pytest.raises(Exception, match="readonly"):
        reader._connection.execute("DELETE FROM entry")
