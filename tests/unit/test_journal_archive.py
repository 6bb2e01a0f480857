"""The journal's file stays small; nothing that somebody still needs moves, and nothing is ever lost."""

import shutil
import sqlite3
from dataclasses import replace

import pytest

from acquire.clock import HandClock
from acquire.errors import JournalUnusable
from acquire.journal import archive
from acquire.journal.archive import Policy
from acquire.journal.history import JournalReader, Query
from acquire.journal.store import Journal
from acquire.records import BatchEvent, BatchState, Code
from tests.known_records import BATCH, EVIDENCE, NOTICE, RESULT, STARTED, ZERO, verdict, verdicts

TIGHT = Policy(largest_bytes=40_000, keep_entries=20, archive_bytes=200_000)


@pytest.fixture
async def journal(tmp_path):
    opened = Journal.open(tmp_path / "journal", bench="north bench", clock=HandClock())
    yield opened
    await opened.close()


async def archived(journal, *outlets, policy=TIGHT):
    """Move all that may move; how many did."""
    moved = 0
    while step := await journal.archive(outlets, policy):
        moved += step
    return moved


async def test_what_all_outlets_have_sent_moves_and_stays_readable(journal):
    """The history does not notice; evidence comes along."""
    entries = await journal.append(verdicts(300))
    await journal.move_cursor("csv", 300)
    await journal.move_cursor("mqtt", 250)
    used = await journal._in_thread(lambda: archive.used_bytes(journal._connection))

    assert await archived(journal, "csv", "mqtt") == 250
    assert [entry.seq for entry in await journal.read_after(0, 1000)] == list(range(251, 301))
    with JournalReader(journal.path) as reader:
        assert list(reader.find(Query())) == entries
        assert [e.seq for e in reader.find(Query(limit=60))] == list(range(241, 301))
        assert reader.by_serial("PL80-0003") == [entries[2]]
        assert reader.batches() == [("lot 7", 300)]
    await journal.close()
    assert journal.path.stat().st_size < used / 3, "room that entries leave is given back to the disk"


async def test_an_outlet_that_is_behind_holds_everything_it_needs(journal):
    """Also one that never began, and one that nobody asked about does not count."""
    await journal.append(verdicts(300))
    await journal.move_cursor("csv", 300)

    assert await archived(journal, "csv", "mqtt") == 0
    assert await archived(journal, "csv") == 280, "the latest twenty stay"


async def test_what_a_restart_is_told_stays(journal):
    """The unit in work, what the bench owes, and the unit that a slip of the scanner made leave."""
    asked = replace(NOTICE, code=Code.LEADS_ASKED)
    owed = [(ZERO, None), (asked, None)]
    left = [(STARTED, None), *verdicts(100), (RESULT, None), (replace(STARTED, serial="B"), None)]
    await journal.append([*owed, *verdicts(100), *left])
    await journal.move_cursor("csv", 205)
    told = await journal.latest_doings()
    assert len(told) == 105

    assert await archived(journal, "csv", policy=replace(TIGHT, largest_bytes=0, keep_entries=0)) == 100
    assert await journal.latest_doings() == told
    with JournalReader(journal.path) as reader:
        assert [entry.seq for entry in reader.find(Query())] == list(range(1, 206))


async def test_the_deeds_on_batches_stay(journal):
    """A restart goes on with the latest of each, and the list of batches reads no archive for them."""
    later = replace(BATCH, deed=BatchEvent.PAUSED, state=BatchState.PAUSED)
    other = replace(BATCH, batch="lot 8")
    await journal.append([(BATCH, None), (other, None), *verdicts(300), (later, None), *verdicts(30)])
    await journal.move_cursor("csv", 333)

    assert await archived(journal, "csv") == 310
    assert [entry.record for entry in await journal.batches()] == [other, later]
    with JournalReader(journal.path) as reader:
        assert [entry.seq for entry in reader.find(Query())] == list(range(1, 334))


async def test_a_small_journal_is_left_alone(journal):
    """The limit is on bytes; below it nothing moves."""
    await journal.append(verdicts(50))
    await journal.move_cursor("csv", 50)

    assert await archived(journal, "csv", policy=Policy()) == 0
    assert not (journal.path.parent / archive.FOLDER).exists()


async def test_numbers_go_on_after_everything_has_moved(journal):
    """An id is never given twice, also when the file is opened anew."""
    await journal.append(verdicts(300))
    await journal.move_cursor("csv", 300)
    await archived(journal, "csv", policy=replace(TIGHT, keep_entries=0, largest_bytes=0))
    assert await journal.read_after(0, 10) == []
    await journal.close()

    again = Journal.open(journal.path.parent, bench="b", clock=HandClock())
    assert again.last_seq == 300
    assert (await again.append([(verdict(1), None)]))[0].seq == 301
    await again.close()


async def test_an_archive_that_is_large_enough_is_followed_by_another(journal):
    """No file grows without end."""
    await journal.append(verdicts(2000))
    await journal.move_cursor("csv", 2000)
    await archived(journal, "csv")
    files = archive.archives(journal.path.parent)

    assert len(files) >= 3
    assert all(file.stat().st_size < 200_000 + 4_000_000 for file in files)
    with JournalReader(journal.path) as reader:
        assert len(list(reader.find(Query()))) == 2000


async def test_a_power_cut_between_archive_and_journal_leaves_no_entry_twice(journal, tmp_path):
    """The entries are in both files; they move again without harm, and the history tells them once."""
    entries = await journal.append(verdicts(100))
    await journal.move_cursor("csv", 100)
    await journal._in_thread(
        lambda: journal._connection.execute("PRAGMA wal_checkpoint(TRUNCATE)").fetchall()
    )
    before = tmp_path / "before.db"
    shutil.copy(journal.path, before)
    await archived(journal, "csv")
    await journal.close()
    shutil.copy(before, journal.path)

    again = Journal.open(journal.path.parent, bench="b", clock=HandClock())
    with JournalReader(again.path) as reader:
        assert list(reader.find(Query())) == entries
    assert await archived(again, "csv") == 80
    with JournalReader(again.path) as reader:
        assert list(reader.find(Query())) == entries
    await again.close()


async def test_an_archive_that_cannot_be_written_leaves_everything_in_the_journal(journal):
    """A file stands where the folder should be."""
    await journal.append(verdicts(100))
    await journal.move_cursor("csv", 100)
    (journal.path.parent / archive.FOLDER).write_text("in the way")
    with pytest.raises(JournalUnusable, match="archive"):
        await archived(journal, "csv")

    assert len(await journal.read_after(0, 1000)) == 100
    assert (await journal.append([(verdict(1), EVIDENCE)]))[0].seq == 101


async def test_an_archive_is_complete_in_itself(journal):
    """One plain file that can be copied away: no log beside it, and sound."""
    await journal.append(verdicts(100))
    await journal.move_cursor("csv", 100)
    await archived(journal, "csv")

    (file,) = (journal.path.parent / archive.FOLDER).iterdir()
    plain = sqlite3.connect(file)
    assert plain.execute("PRAGMA integrity_check").fetchone() == ("ok",)
    assert plain.execute("SELECT count(*) FROM entry").fetchone() == (80,)
    plain.close()
    with JournalReader(file) as reader:
        assert reader.birth == journal.birth
