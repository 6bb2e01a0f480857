"""What a bench had archived before it was of a line comes into a real PostgreSQL by hand, each entry once."""

import asyncio
from pathlib import Path

import psycopg
import pytest
from typer.testing import CliRunner

from acquire.answers.importing import restore
from acquire.cli import app
from acquire.clock import HandClock
from acquire.errors import JournalUnusable
from acquire.journal.archive import Policy
from acquire.journal.history import JournalReader
from acquire.journal.opening import connect
from acquire.journal.query import Query
from acquire.journal.store import Journal
from acquire.line import backfill
from acquire.line.backfill import bring
from acquire.line.database import DatabaseAway
from acquire.line.incoming import Known
from acquire.line.record import LineRecord
from acquire.line.store import Store
from tests.known_records import EVIDENCE, NOON_S, NOTICE, verdict
from tests.postgres import database, needs_postgres, new_database, server  # noqa: F401  (a fixture)
from tests.unit.test_line_record import BENCH, as_it_travels, by_journal, records, sent

pytestmark = needs_postgres
SMALL = Policy(largest_bytes=10_000, keep_entries=30, archive_bytes=10_000)


@pytest.fixture
async def folder(tmp_path):
    """A journal with most of it in archives; the latest, a lead zero and a batch are still in its file."""
    journal = Journal.open(tmp_path / "journal", bench=BENCH, clock=HandClock())
    for some in ([(verdict(n, bench=BENCH), EVIDENCE) for n in range(300)], records()):
        await journal.append(some)
        while await journal.archive((), SMALL):
            pass
    assert len(await journal.read_after(0, 10_000)) < 80
    await journal.close()
    assert len(list((tmp_path / "journal/archive").iterdir())) > 1
    return tmp_path / "journal"


@pytest.fixture
async def store(database):  # noqa: F811
    """Open."""
    opened = await Store(database, HandClock(now_utc_s=NOON_S)).open()
    yield opened
    await opened.close()


def all_of(place, *, with_evidence=True):
    """Everything on a record, in the journal's order."""
    with JournalReader(place) if Path(place).is_dir() else LineRecord(place) as record:
        return [as_it_travels(e) for e in by_journal(record.find(Query(with_evidence=with_evidence)))]


async def test_archive_and_journal_come_whole_and_a_second_time_nothing_comes(folder, store):
    """Entry by entry as the journal has them, evidence and all."""
    first = await bring(folder, store, with_evidence=True)
    wanted = all_of(folder)
    evidence = sum(entry.evidence is not None for entry in wanted)
    assert (first.entries, first.new, first.there) == (len(wanted), len(wanted) + evidence, 0)
    assert all_of(store.address) == wanted

    again = await bring(folder, store, with_evidence=True)
    assert (again.new, again.there, again.refused) == (0, first.new, 0)
    assert all_of(store.address) == wanted


async def test_what_the_bench_has_sent_already_is_not_there_twice(folder, store):
    """Before and after: the line was switched on with the archive full, and somebody brings it later."""
    journal = Journal.open(folder, bench=BENCH, clock=HandClock())
    await sent(store, journal)
    before = store.written
    brought = await bring(folder, store, with_evidence=True)
    assert brought.there == before > 0
    assert brought.new > 0
    await sent(store, journal)
    await journal.close()
    assert all_of(store.address) == all_of(folder)


async def test_without_the_wish_no_evidence_comes(folder, store):
    """As a bench without `evidence = true` sends none."""
    await bring(folder, store, with_evidence=False)
    assert all_of(store.address) == all_of(folder, with_evidence=False)
    with psycopg.connect(store.address) as connection:
        assert connection.execute("SELECT count(*) FROM steadyohm.evidence").fetchone() == (0,)


async def test_one_archive_alone_can_be_brought(folder, store):
    """Of a machine of which nothing else is left."""
    (file, *_) = sorted((folder / "archive").iterdir())
    brought = await bring(file, store, with_evidence=True)
    with JournalReader(file) as archive:
        wanted = [as_it_travels(entry) for entry in archive.find(Query())]
    assert brought.entries == len(wanted) > 0
    assert all_of(store.address) == wanted


async def test_nothing_is_said_of_where_a_journal_is_complete(folder, store):
    """Only the bench's own messages move what it need not send again."""
    await bring(folder, store, with_evidence=True)
    assert await store.count_arrivals() == []
    assert await store.complete(0, 1) == []


async def test_notices_go_under_the_name_by_which_the_bench_sends(tmp_path, store):
    """They name no bench; one that was renamed must not have them twice."""
    journal = Journal.open(tmp_path / "journal", bench="old name", clock=HandClock())
    await journal.append([(NOTICE, None)])
    birth = (await journal.read_after(0, 1))[0].id.partition("-")[0]
    await journal.close()
    await store.write([Known("new name", birth)])
    await bring(tmp_path / "journal", store, with_evidence=False)
    with psycopg.connect(store.address) as connection:
        assert connection.execute("SELECT bench FROM steadyohm.entry").fetchall() == [("new name",)]


async def test_an_entry_that_is_no_record_is_named_and_holds_up_nothing(folder, store):
    """By its id, with the reason."""
    connection = connect(folder / "journal.db")
    seq = connection.execute("SELECT max(seq) FROM entry").fetchone()[0]
    connection.execute("UPDATE entry SET payload = '{}' WHERE seq = ?", (seq,))
    connection.close()
    brought = await bring(folder, store, with_evidence=False)
    assert brought.refused == 1
    (entry_id,) = brought.reasons
    assert entry_id.endswith(f"-{seq}")
    assert brought.new == brought.entries - 1


async def test_no_journal_is_an_error_and_not_an_empty_success(tmp_path, store):
    """In a sentence."""
    with pytest.raises(JournalUnusable, match="There is no journal"):
        await bring(tmp_path / "none", store, with_evidence=False)


async def test_a_database_that_dies_on_the_way_is_told_and_the_next_try_goes_on(folder, monkeypatch):
    """What was committed stays; nothing is there twice afterwards."""
    monkeypatch.setattr(backfill, "AT_ONCE", 100)
    with server() as postgres:
        store = await Store(new_database(postgres, "line"), HandClock(now_utc_s=NOON_S)).open()
        try:
            with pytest.raises(DatabaseAway):
                await bring(folder, store, with_evidence=True, told=lambda _: postgres.kill())
            await store.close()
            await asyncio.to_thread(postgres.start)
            await store.open()
            brought = await bring(folder, store, with_evidence=True)
        finally:
            await store.close()
        assert brought.there > 0
        assert brought.new > 0
        assert all_of(store.address) == all_of(folder)


def test_the_command_brings_it_and_leaves(folder, tmp_path, database):  # noqa: F811
    """`steadyohm collect COLLECTOR.toml --journal FOLDER`, as a user types it; twice, then a wrong folder."""
    file = tmp_path / "collector.toml"
    file.write_text(
        '[collector]\nname = "c"\n[broker]\nhost = "127.0.0.1"\nport = 1\n'
        f'[database]\naddress = "{database}"\n'
    )

    def typed(place):
        words = ["collect", str(file), "--journal", str(place), "--evidence"]
        return CliRunner().invoke(app, words, catch_exceptions=False).output

    first, again = typed(folder), typed(folder)
    count = len(all_of(folder))
    assert f"{count} entries with evidence in rows of its own. New rows in " in first
    assert "New rows in" in again
    assert ": 0; there already: " in again
    with pytest.raises(JournalUnusable, match="There is no journal"):
        typed(tmp_path)
    assert all_of(database) == all_of(folder)


async def test_a_journal_is_built_again_from_the_line_entry_by_entry(folder, store, database, tmp_path):  # noqa: F811
    """With what verdicts rest on, under the same ids; the line is one of the copies that `restore` takes."""
    await bring(folder, store, with_evidence=True)
    restore(tmp_path / "again", [database])
    assert all_of(tmp_path / "again") == all_of(folder)
