"""Now and then the journal is made smaller, while verdicts go on."""

import asyncio

from acquire.clock import HandClock
from acquire.journal.archive import FOLDER, Policy
from acquire.journal.history import JournalReader, Query
from acquire.journal.store import Journal, keep_small
from tests.known_records import verdict, verdicts

TIGHT = Policy(largest_bytes=100_000, keep_entries=10)


async def test_a_growing_journal_stays_small_and_complete(tmp_path):
    """Old entries move in the background; whoever asks for the past gets all of them, in order."""
    journal = Journal.open(tmp_path, bench="b", clock=HandClock())
    stop = asyncio.Event()
    work = keep_small(journal, ["csv"], stop, policy=TIGHT, every_s=0.02, pause_s=0.0)
    task = asyncio.create_task(work, name="tidying")
    for _ in range(10):
        entries = await journal.append(verdicts(100))
        await journal.move_cursor("csv", entries[-1].seq)
        await asyncio.sleep(0.03)
    async with asyncio.timeout(10.0):
        while len(await journal.read_after(0, 10_000)) > 200:  # noqa: ASYNC110
            await asyncio.sleep(0.02)
    stop.set()
    await asyncio.wait_for(task, 1.0)
    with JournalReader(tmp_path) as reader:
        assert [entry.seq for entry in reader.find(Query())] == list(range(1, 1001))
    await journal.close()


async def test_an_archive_that_cannot_be_written_is_told_and_tried_again(tmp_path):
    """The bench goes on; when the way is free, entries move."""
    journal = Journal.open(tmp_path, bench="b", clock=HandClock())
    await journal.append(verdicts(300))
    await journal.move_cursor("csv", 300)
    (tmp_path / FOLDER).write_text("in the way")
    stop = asyncio.Event()
    work = keep_small(journal, ["csv"], stop, policy=TIGHT, every_s=0.02)
    task = asyncio.create_task(work, name="tidying")
    await asyncio.sleep(0.1)
    assert (await journal.append([(verdict(1), None)]))[0].seq == 301
    (tmp_path / FOLDER).unlink()
    async with asyncio.timeout(10.0):
        while not (tmp_path / FOLDER).is_dir():  # noqa: ASYNC110
            await asyncio.sleep(0.02)
    stop.set()
    await asyncio.wait_for(task, 2.0)
    await journal.close()
