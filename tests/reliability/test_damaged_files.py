"""Files with damage anywhere: a sentence or a new journal, never a traceback, and the bench goes on."""

import asyncio
import contextlib
import os
import random
import shutil
import threading

import pytest

from acquire.answers.importing import Restored, _rows
from acquire.clock import HandClock
from acquire.errors import JournalUnusable
from acquire.journal.history import JournalReader, Query
from acquire.journal.opening import remembered
from acquire.journal.store import Journal
from acquire.outlets.orders import FILE, OrderFile
from acquire.words.notices import said
from tests.known_records import EVIDENCE, verdict, verdicts
from tests.memory_disk import folder_in_memory
from tests.waiting import PATIENCE_S

in_memory = pytest.fixture(folder_in_memory)


@pytest.fixture
def whole(in_memory):
    """A journal's file with fifty verdicts, closed cleanly."""

    async def work():
        journal = Journal.open(in_memory / "whole", bench="b", clock=HandClock())
        await journal.append(verdicts(50))
        await journal.move_cursor("csv", 20)
        await journal.close()
        return journal.path

    return asyncio.run(work())


def spoilt(whole, dice):
    """Its bytes, with one kind of damage at a random place."""
    data = bytearray(whole.read_bytes())
    at, length = dice.randrange(len(data)), dice.choice([1, 1, 8, 512, 4096])
    match dice.randrange(4):
        case 0:
            data[at : at + length] = bytes(length)
        case 1:
            data[at : at + length] = dice.randbytes(length)
        case 2:
            data[at] ^= 1 << dice.randrange(8)
        case 3:
            del data[at:]
    return bytes(data)


async def go_on(folder):
    """Open, read, write: what a bench does after a night with a bad disk. Gives what it was told."""
    journal = Journal.open(folder, bench="b", clock=HandClock())
    told = [said(notice) for notice in journal.notices]
    try:
        await journal.read_after(0, 1000)
        await journal.cursors()
        await journal.latest_doings()
        await journal.append([(verdict(99), EVIDENCE)])
    except JournalUnusable as error:
        told.append(str(error))
    finally:
        await journal.close()
    return told


def damage_once(whole, folder, seed):
    """Spoil a copy, open it as a bench and as a reader would."""
    dice = random.Random(seed)
    shutil.rmtree(folder, ignore_errors=True)
    (folder / "bench").mkdir(parents=True)
    data = spoilt(whole, dice)
    for file in (folder / "bench" / "journal.db", folder / "copy.db"):
        file.write_bytes(data)
    try:
        told = asyncio.run(go_on(folder / "bench"))
    except JournalUnusable as error:
        told = [str(error)]
    aside = list((folder / "bench").glob("journal-damaged-*.db"))
    assert all(file.read_bytes() == data for file in aside), "what was set aside is what was found"
    assert bool(aside) == any("is kept as" in text for text in told)
    with contextlib.suppress(JournalUnusable), JournalReader(folder / "copy.db") as reader:
        list(reader.find(Query()))
        reader.batches()
    return bool(aside)


def test_a_journal_with_damage_anywhere_is_used_told_or_set_aside(whole, in_memory):
    """Whatever the damage hits: no exception but ours, no file lost."""
    aside = [damage_once(whole, in_memory / "spoilt", seed) for seed in range(60)]

    assert any(aside)
    assert not all(aside)


@pytest.mark.long
@pytest.mark.timeout(1800)
def test_a_journal_with_damage_anywhere_long_form(whole, in_memory):
    """Three thousand kinds of damage."""
    for seed in range(3000):
        damage_once(whole, in_memory / "spoilt", seed)


@pytest.mark.skipif(not hasattr(os, "mkfifo"), reason="Windows has no such pipes in folders")
async def test_a_pipe_in_place_of_a_file_of_the_folder_is_not_waited_for(tmp_path):
    """Counter, orders and CSV to restore from: whoever plants one neither holds a start nor a verdict up."""
    folder = tmp_path / "journal"
    folder.mkdir()
    for name in ("journal.counter", FILE, "verdicts.csv"):
        os.mkfifo(folder / name)

    def work():
        journal = Journal.open(folder, bench="b", clock=HandClock())
        orders = OrderFile(folder)
        orders.note("c-1", None)
        assert remembered(folder) is None
        with pytest.raises(OSError, match="pipe"):
            list(_rows(folder / "verdicts.csv", "", Restored()))
        return journal

    found = []
    worker = threading.Thread(target=lambda: found.append(work()), daemon=True)
    worker.start()
    worker.join(PATIENCE_S)
    assert found, "it waits for somebody to write into the pipe"
    await found[0].append(verdicts(2))
    await found[0].close()
