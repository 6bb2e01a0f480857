"""The journal: committed before anything is shown, in order, all or nothing; told plainly when it fails."""

import asyncio
import shutil
import sqlite3
import stat
from dataclasses import replace
from pathlib import Path

import pytest

from acquire.clock import HandClock
from acquire.errors import JournalUnusable
from acquire.journal import opening, schema
from acquire.journal.store import Journal
from acquire.records import Code
from tests.known_records import ALL, EVIDENCE, NOTICE, RESULT, STARTED, VERDICT, ZERO, verdict, verdicts
from tests.restarts import latest_doings, play


@pytest.fixture
async def journal(tmp_path):
    """An open journal in a folder of its own."""
    opened = Journal.open(tmp_path / "journal", bench="north bench", clock=HandClock())
    yield opened
    await opened.close()


def reopened(journal):
    return Journal.open(journal.path.parent, bench="north bench", clock=HandClock())


async def test_entries_come_back_as_they_were_written(journal):
    """Every kind of record, with evidence where there is some."""
    written = await journal.append([(record, EVIDENCE if record is VERDICT else None) for record in ALL])

    read = await journal.read_after(0, 100)

    assert read == written
    assert [entry.record for entry in read] == list(ALL)
    assert [entry.seq for entry in read] == list(range(1, len(ALL) + 1))
    assert [entry.id for entry in read] == [f"{journal.birth}-{seq}" for seq in range(1, len(ALL) + 1)]
    assert read[0].evidence["raw_hex"] == EVIDENCE.raw_hex
    assert read[1].evidence is None


async def test_no_file_of_it_is_for_everybody(journal):
    """Names and serials are in them."""
    await journal.append([(STARTED, None)])
    files = list(journal.path.parent.iterdir())
    assert len(files) >= 3
    assert not [file.name for file in files if file.stat().st_mode & stat.S_IRWXO]


async def test_a_commit_is_on_the_disk_when_append_returns(journal):
    """Another connection sees the entry at once; the settings that make it durable are on."""
    await journal.append([(VERDICT, EVIDENCE)])

    with sqlite3.connect(journal.path) as other:
        assert other.execute("SELECT count(*) FROM entry").fetchone() == (1,)
        assert other.execute("PRAGMA journal_mode").fetchone() == ("wal",)
    other.close()
    ask = journal._thread.submit(lambda: journal._connection.execute("PRAGMA synchronous").fetchone())
    assert ask.result() == (2,), "2 is FULL"


async def test_the_record_survives_the_end_of_the_program(journal):
    """Closed and opened again, entries, birth id and cursors are there, and numbers go on."""
    await journal.append(verdicts(3))
    await journal.move_cursor("csv", 2)
    await journal.close()

    again = reopened(journal)
    try:
        assert again.birth == journal.birth
        assert again.last_seq == 3
        assert await again.cursor("csv") == 2
        assert (await again.append([(VERDICT, None)]))[0].seq == 4
    finally:
        await again.close()


async def test_records_of_many_callers_keep_their_batches_together(journal):
    """Callers at the same time share commits; each gets its own entries, in its own order."""
    batches = [[(verdict(10 * caller + n), None) for n in range(3)] for caller in range(20)]

    results = await asyncio.gather(*(journal.append(batch) for batch in batches))

    for batch, entries in zip(batches, results, strict=True):
        assert [entry.record for entry in entries] == [record for record, _ in batch]
        assert [entry.seq - entries[0].seq for entry in entries] == [0, 1, 2]
    assert [entry.seq for entry in await journal.read_after(0, 100)] == list(range(1, 61))


async def test_nothing_to_write_is_nothing_done(journal):
    """An empty call neither waits nor counts."""
    assert await journal.append([]) == []
    assert journal.last_seq == 0


async def test_a_batch_is_written_whole_or_not_at_all(journal):
    """A record that the tables refuse takes its whole batch back, and says so."""
    bad = replace(VERDICT, utc_s=float("nan"))
    with pytest.raises(JournalUnusable):
        await journal.append([(VERDICT, EVIDENCE), (bad, None)])

    assert await journal.read_after(0, 10) == []
    assert (await journal.append([(VERDICT, None)]))[0].record == VERDICT


async def test_an_outlet_is_woken_by_a_commit(journal):
    """No polling: whoever waits behind the last entry goes on when the next is there."""
    waiting = asyncio.create_task(journal.wait_beyond(0))
    await asyncio.sleep(0.02)
    assert not waiting.done()

    await journal.append([(VERDICT, None)])

    await asyncio.wait_for(waiting, 1.0)
    await asyncio.wait_for(journal.wait_beyond(0), 1.0)


async def test_a_cursor_never_goes_back(journal):
    """A late note of an old place does not undo a newer one."""
    await journal.move_cursor("csv", 5)
    await journal.move_cursor("csv", 3)
    await journal.move_cursor("mqtt", 1)

    assert await journal.cursors() == {"csv": 5, "mqtt": 1}
    assert await journal.cursor("page") == 0


async def test_a_cancelled_caller_does_not_harm_the_next(journal):
    """The journal goes on when somebody stops waiting for it."""
    task = asyncio.create_task(journal.append([(VERDICT, None)]))
    await asyncio.sleep(0)
    task.cancel()
    with pytest.raises(asyncio.CancelledError):
        await task

    assert (await journal.append([(VERDICT, None)]))[0].seq == 2


async def test_hostile_text_is_kept_as_it_is(journal):
    """Quotes, newlines, NUL, half a surrogate pair and SQL are text like any other."""
    serial = "x'; DROP TABLE entry; --\r\n\x00\ud800\"✓"
    await journal.append([(verdict(serial=serial), None)])

    assert (await journal.read_after(0, 1))[0].record.serial == serial


# ---------------------------------------------------------------------- the unit in work


# ---------------------------------------------------------------------- what a new start is told


async def told(journal):
    return [entry.record for entry in await journal.latest_doings()]


async def test_a_bench_is_told_what_it_owes_and_all_since_its_latest_unit_began(journal):
    """The latest of each thing owed before, and nothing of the unit before, once something was judged."""
    assert await told(journal) == []
    asked = replace(NOTICE, code=Code.LEADS_ASKED)
    older = replace(ZERO, value_ohm=0.4)
    await journal.append([(each, None) for each in (older, STARTED, VERDICT, ZERO, asked, RESULT)])
    second = replace(STARTED, serial="PL80-0002")
    await journal.append([(second, None), (verdict(2), EVIDENCE)])
    await journal.close()

    again = reopened(journal)
    try:
        assert await told(again) == [ZERO, asked, second, verdict(2)]
    finally:
        await again.close()


async def test_a_serial_that_comes_back_begins_anew(journal):
    """Its earlier visit is over once the present one has a verdict."""
    await journal.append([(each, None) for each in (STARTED, RESULT, STARTED, VERDICT)])

    assert [entry.seq for entry in await journal.latest_doings()] == [3, 4]


async def test_the_unit_before_is_told_as_long_as_its_leaving_can_be_taken_back(journal):
    """Nothing was judged since the scan that made it leave; or it was brought back."""
    second = replace(STARTED, serial="PL80-0002")
    back = replace(NOTICE, code=Code.UNIT_REOPENED, serial=STARTED.serial)
    slip = [ZERO, STARTED, VERDICT, RESULT, second]
    await journal.append([(each, None) for each in slip])
    assert await told(journal) == slip
    await journal.append([(replace(RESULT, serial=second.serial), None), (back, None), (VERDICT, None)])
    assert (await told(journal))[: len(slip)] == slip


@pytest.mark.parametrize("seed", range(300, 306))
async def test_random_benches_are_told_what_the_laws_of_restart_tell_them(journal, seed):
    """The record of a random bench, cut anywhere: the query finds what plain code finds."""
    records = play(seed).records
    for record in records:
        await journal.append([(record, None)])
        at = journal.last_seq
        assert await told(journal) == latest_doings(records[:at])


# ---------------------------------------------------------------------- accidents


async def test_a_damaged_file_is_set_aside_and_a_new_one_begun(journal):
    """Nothing is deleted; the operator is told where the old file is."""
    await journal.append(verdicts(50))
    await journal.close()
    whole = journal.path.read_bytes()
    journal.path.write_bytes(whole[:8192] + b"\xff" * 9000 + whole[17192:])
    damaged = journal.path.read_bytes()

    again = reopened(journal)
    try:
        (aside,) = journal.path.parent.glob("journal-damaged-*.db")
        assert aside.name == "journal-damaged-20231114T221320Z.db"
        assert aside.read_bytes() == damaged
        assert again.birth != journal.birth
        assert again.last_seq == 0
        (notice,) = again.notices
        assert notice.code == "journal.quarantined"
        assert notice.facts["file"] == aside.name
        assert (await again.append([(VERDICT, None)]))[0].seq == 1
    finally:
        await again.close()


async def spoilt(journal, spoil):
    """The notices of a journal that was closed, spoilt and opened again, and the number of its next entry."""
    await journal.close()
    spoil(journal.path)
    again = reopened(journal)
    try:
        (entry,) = await again.append([(VERDICT, None)])
    finally:
        await again.close()
    return [(notice.code, dict(notice.facts)) for notice in again.notices], entry.seq


@pytest.mark.parametrize("spoil", [lambda path: path.write_bytes(b""), Path.unlink], ids=["emptied", "gone"])
async def test_a_journal_that_is_emptied_or_gone_is_told(journal, spoil):
    """A new one is begun, as after a power cut in the first second; the folder remembers better."""
    await journal.append(verdicts(7))
    told, seq = await spoilt(journal, spoil)
    assert told == [(Code.JOURNAL_GONE, {"birth": journal.birth, "entries": 7})]
    assert seq == 1


async def test_an_older_copy_put_back_is_told_and_no_number_is_given_twice(journal, tmp_path):
    """Its later entries have gone out under their numbers."""
    await journal.append(verdicts(3))
    with sqlite3.connect(journal.path) as live, sqlite3.connect(tmp_path / "copy.db") as copy:
        live.backup(copy)
    live.close()
    copy.close()
    await journal.append(verdicts(4))
    told, seq = await spoilt(journal, lambda path: shutil.copyfile(tmp_path / "copy.db", path))
    assert told == [(Code.JOURNAL_OLDER, {"first": 4, "last": 7})]
    assert seq == 8


async def test_a_damaged_end_is_told(journal):
    """SQLite passes over a WAL whose checksums do not fit, without a word."""
    await journal.append(verdicts(3))
    for _ in range(4):
        await journal.append([(VERDICT, None)])
    wal = journal.path.with_name("journal.db-wal")
    kept = wal.read_bytes(), journal.path.read_bytes()

    def spoil(path):
        path.write_bytes(kept[1])
        wal.write_bytes(kept[0][:-9000] + bytes(9000))

    ((code, facts),), seq = await spoilt(journal, spoil)
    assert (code, facts["last"], seq) == (Code.JOURNAL_OLDER, 7, 8)


async def test_an_entry_with_rotten_content_is_told_not_guessed(journal):
    """SQLite has no checksum over content; a payload that is no JSON any more names its entry."""
    await journal.append([(VERDICT, None)])
    with sqlite3.connect(journal.path) as other:
        other.execute("UPDATE entry SET payload = substr(payload, 1, 50)")
    other.close()
    with pytest.raises(JournalUnusable, match="Entry 1"):
        await journal.read_after(0, 10)


async def test_a_file_that_is_no_database_is_set_aside(tmp_path):
    """So is one full of zeros or text; a second one on the same second gets a name of its own."""
    for number in (1, 2):
        (tmp_path / "journal.db").write_bytes(b"no database at all, only words " * 100)
        opened = Journal.open(tmp_path, bench="b", clock=HandClock())
        await opened.close()
        assert len(list(tmp_path.glob("journal-damaged-*.db"))) == number
        for file in tmp_path.glob("journal.db*"):
            file.unlink()


async def test_an_empty_file_becomes_a_journal(tmp_path):
    """A power cut right after the file was made leaves it empty: that is a new journal, not damage."""
    (tmp_path / "journal.db").touch()
    opened = Journal.open(tmp_path, bench="b", clock=HandClock())
    await opened.close()

    assert opened.notices == []


async def test_another_programs_database_is_left_alone(tmp_path):
    """It is not ours to write to, nor to set aside."""
    with sqlite3.connect(tmp_path / "journal.db") as other:
        other.execute("CREATE TABLE shopping (item TEXT)")
    other.close()
    with pytest.raises(JournalUnusable, match="another program"):
        Journal.open(tmp_path, bench="b", clock=HandClock())

    assert list(tmp_path.glob("journal-damaged*")) == []


async def test_a_journal_of_a_newer_program_is_left_alone(journal, monkeypatch):
    """An old program does not write into tables it does not know."""
    await journal.close()
    newer = (*schema.MIGRATIONS, "-- a later idea\nCREATE TABLE later (x TEXT) STRICT")
    monkeypatch.setattr(schema, "MIGRATIONS", newer)
    await reopened(journal).close()
    monkeypatch.undo()

    with pytest.raises(JournalUnusable, match="newer version"):
        reopened(journal)


async def test_a_migration_that_fails_leaves_the_old_schema(journal, monkeypatch):
    """A step and the note of it share one transaction: half a step never stays."""
    await journal.append([(VERDICT, None)])
    await journal.close()
    broken = "-- broken\nCREATE TABLE later (x TEXT) STRICT;\nCREATE TABLE later (x TEXT) STRICT"
    monkeypatch.setattr(schema, "MIGRATIONS", (*schema.MIGRATIONS, broken))
    with pytest.raises(JournalUnusable):
        reopened(journal)
    monkeypatch.undo()

    again = reopened(journal)
    try:
        assert again.last_seq == 1
        with sqlite3.connect(again.path) as other:
            assert other.execute("SELECT count(*) FROM migration").fetchone() == (len(schema.MIGRATIONS),)
            assert other.execute("SELECT count(*) FROM sqlite_schema WHERE name = 'later'").fetchone() == (0,)
        other.close()
    finally:
        await again.close()


async def test_two_benches_cannot_share_a_folder(journal):
    """The second is told so; after the first has stopped it may begin."""
    with pytest.raises(JournalUnusable, match="in use by another bench"):
        reopened(journal)
    await journal.close()
    await reopened(journal).close()


async def test_a_lock_of_another_program_is_waited_for_then_told(journal, monkeypatch):
    """Locked for good: refused, nothing lost. Unlocked: the same call works."""
    ask = journal._thread.submit(lambda: journal._connection.execute("PRAGMA busy_timeout = 50"))
    ask.result()
    other = sqlite3.connect(journal.path, isolation_level=None)
    other.execute("BEGIN EXCLUSIVE")
    with pytest.raises(JournalUnusable, match="locked by another program"):
        await journal.append([(VERDICT, EVIDENCE)])
    other.execute("ROLLBACK")
    other.close()

    assert (await journal.append([(VERDICT, EVIDENCE)]))[0].seq == 1


async def test_a_journal_that_vanishes_under_a_running_bench_is_noticed(journal):
    """A file without a name would swallow verdicts without a word."""
    await journal.append([(VERDICT, None)])
    away = journal.path.with_name("away.db")
    journal.path.rename(away)
    with pytest.raises(JournalUnusable, match="moved or deleted"):
        await journal.append([(VERDICT, None)])
    away.rename(journal.path)

    assert (await journal.append([(VERDICT, None)]))[0].seq == 2


async def test_a_closed_journal_says_so(journal):
    """After the end there is no silent writing."""
    await journal.close()
    await journal.close()
    with pytest.raises(JournalUnusable, match="closed"):
        await journal.append([(VERDICT, None)])
    with pytest.raises(JournalUnusable, match="closed"):
        await journal.read_after(0, 1)


@pytest.mark.parametrize(
    ("code", "word"),
    [
        (sqlite3.SQLITE_FULL, "disk is full"),
        (sqlite3.SQLITE_READONLY, "read-only"),
        (sqlite3.SQLITE_READONLY_DBMOVED, "read-only"),
        (sqlite3.SQLITE_IOERR_WRITE, "quota"),
        (sqlite3.SQLITE_CORRUPT, "damaged"),
        (sqlite3.SQLITE_BUSY, "locked"),
        (sqlite3.SQLITE_CANTOPEN, "opened"),
        (sqlite3.SQLITE_MISUSE, "cannot be used"),
    ],
)
def test_what_sqlite_says_becomes_a_sentence(tmp_path, code, word):
    """Each with the file's name and, where there is one, a remedy."""
    error = sqlite3.OperationalError("as SQLite puts it")
    error.sqlite_errorcode = code

    said = opening.in_words(error, tmp_path / "journal.db")

    assert word in str(said)
    assert str(tmp_path) in str(said)
    assert said.exit_code == 1


def test_a_folder_that_cannot_be_made_is_told(tmp_path):
    """A file stands where the folder should be."""
    (tmp_path / "journal").write_text("in the way")
    with pytest.raises(JournalUnusable, match="cannot be written"):
        Journal.open(tmp_path / "journal", bench="b", clock=HandClock())


def test_the_lock_is_no_way_into_other_files(tmp_path):
    """A link planted in the folder is not followed."""
    target = tmp_path / "target"
    (tmp_path / "journal").mkdir()
    (tmp_path / "journal" / "journal.lock").symlink_to(target)
    with pytest.raises(JournalUnusable):
        Journal.open(tmp_path / "journal", bench="b", clock=HandClock())
    assert not target.exists()


async def test_the_lock_is_for_the_owner_and_the_group_only(journal):
    """Nobody else gets to hold up a bench by taking its lock."""
    mode = stat.S_IMODE((journal.path.parent / "journal.lock").stat().st_mode)
    assert mode & 0o007 == 0
