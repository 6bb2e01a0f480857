"""The database cut at each byte of its last commit: what was committed before stays, the rest is all or none.

A power cut leaves a prefix of what was being written to the WAL, or sectors of it; sqlite.org/wal.html says
that frames without a valid checksum and everything behind them are passed over. For the CSV see the unit
tests.
"""

import asyncio
import random
import shutil
import sqlite3

import pytest

from acquire.clock import RealClock
from acquire.journal.store import Journal
from tests.known_records import EVIDENCE, verdict, verdicts
from tests.memory_disk import folder_in_memory

in_memory = pytest.fixture(folder_in_memory)

FRAME = 24 + 4096
"""Bytes of a WAL frame: its head and one page (sqlite.org/fileformat2.html, 4.1)."""

BEFORE = 7
"""Entries on the journal before the last commit."""


def opened(folder):
    return Journal.open(folder, bench="b", clock=RealClock())


def read(folder):
    """Open, read all, go on writing: gives the serials that were there, and how many files were set aside."""

    async def work():
        journal = opened(folder)
        serials = [entry.serial for entry in await journal.read_after(0, 1000)]
        evidence = [entry.evidence for entry in await journal.read_after(0, 1000)]
        (new,) = await journal.append([(verdict(99), EVIDENCE)])
        assert new.seq == len(serials) + 1
        assert None not in evidence
        await journal.close()
        return serials

    serials = asyncio.run(work())
    return serials, list(folder.glob("journal-damaged-*"))


@pytest.fixture
def crashed(in_memory):
    """The files of a bench as they stood right after its last commit, and where that begins in the WAL."""
    live, copy = in_memory / "live", in_memory / "crashed"

    async def work():
        journal = opened(live)
        await journal.append(verdicts(BEFORE))
        begins = (live / "journal.db-wal").stat().st_size
        await journal.append([(verdict(BEFORE + 1), EVIDENCE)])
        shutil.copytree(live, copy, ignore=shutil.ignore_patterns("*-shm", "*.lock"))
        await journal.close()
        return begins

    return copy, asyncio.run(work())


def cut_copy(source, folder, wal):
    shutil.rmtree(folder, ignore_errors=True)
    folder.mkdir()
    shutil.copy(source / "journal.db", folder)
    (folder / "journal.db-wal").write_bytes(wal)


def check(source, folder, wal, where):
    """The entries before are all there; the last one is there whole, or not at all. Which?"""
    cut_copy(source, folder, wal)
    serials, aside = read(folder)
    before = [f"PL80-{n:04d}" for n in range(1, BEFORE + 1)]
    assert serials in (before, [*before, f"PL80-{BEFORE + 1:04d}"]), where
    assert aside == [], where
    return len(serials) > BEFORE


def cuts(begins, size, every):
    """Where to cut: everywhere, or around each frame and at random places."""
    if every:
        return range(begins, size)
    edges = {edge + d for edge in range(begins, size + 1, FRAME) for d in (-1, 0, 1, 23, 24, 25)}
    dice = random.Random(3)
    edges |= {dice.randrange(begins, size) for _ in range(60)}
    return sorted(cut for cut in edges if begins <= cut < size)


def torn(crashed, folder, every):
    source, begins = crashed
    wal = (source / "journal.db-wal").read_bytes()
    assert len(wal) > begins + FRAME, "the last commit has frames of its own"
    for cut in cuts(begins, len(wal), every):
        assert not check(source, folder, wal[:cut], f"cut at byte {cut}")
        if not every:
            check(source, folder, wal[:cut] + bytes(len(wal) - cut), f"zeros from byte {cut}")
    assert check(source, folder, wal, "whole")


def test_a_torn_commit_is_gone_and_those_before_it_stay(crashed, in_memory):
    """Cut short, or with zeros behind the cut, at every frame's edges and at random places."""
    torn(crashed, in_memory / "cut", every=False)


@pytest.mark.long
@pytest.mark.timeout(3600)
def test_a_commit_torn_at_every_byte_is_gone_and_those_before_it_stay(crashed, in_memory):
    """The long form: every byte of the last commit."""
    torn(crashed, in_memory / "cut", every=True)


def test_a_sector_lost_from_the_last_commit_takes_it_back_whole(crashed, in_memory):
    """A disk may write sectors in any order: 512 bytes of old content anywhere in the last commit."""
    source, begins = crashed
    wal = (source / "journal.db-wal").read_bytes()
    for at in range(begins, len(wal) - 512, 1024):
        lost = wal[:at] + bytes(512) + wal[at + 512 :]
        if lost != wal:
            check(source, in_memory / "cut", lost, f"sector lost at byte {at}")


def test_a_checkpoint_torn_at_any_page_is_mended_from_the_wal(in_memory):
    """While pages go from the WAL into the database, the WAL stays until all are synced."""
    live = in_memory / "live"

    async def work():
        journal = opened(live)
        await journal.append(verdicts(BEFORE))
        await journal._in_thread(
            lambda: journal._connection.execute("PRAGMA wal_checkpoint(FULL)").fetchall()
        )
        await journal.append([(verdict(BEFORE + 1), EVIDENCE)])
        shutil.copy(live / "journal.db", in_memory / "before.db")
        shutil.copy(live / "journal.db-wal", in_memory / "wal")
        await journal.close()

    asyncio.run(work())
    before, after = (in_memory / "before.db").read_bytes(), (live / "journal.db").read_bytes()
    wal = (in_memory / "wal").read_bytes()
    dice = random.Random(5)
    for cut in {*range(0, len(after), 4096), *(dice.randrange(len(after)) for _ in range(30))}:
        folder = in_memory / "cut"
        shutil.rmtree(folder, ignore_errors=True)
        folder.mkdir()
        (folder / "journal.db").write_bytes(after[:cut] + before[cut:])
        (folder / "journal.db-wal").write_bytes(wal)
        serials, aside = read(folder)
        assert len(serials) == BEFORE + 1, f"checkpoint torn at byte {cut}"
        assert aside == []


def test_what_the_readers_of_the_wal_say_agrees_with_sqlite_itself(crashed, in_memory):
    """The journal is a plain SQLite file: another program reads the same entries."""
    source, _ = crashed
    cut_copy(source, in_memory / "copy", (source / "journal.db-wal").read_bytes())
    plain = sqlite3.connect(in_memory / "copy" / "journal.db")
    assert plain.execute("PRAGMA integrity_check").fetchone() == ("ok",)
    assert plain.execute("SELECT count(*) FROM entry").fetchone() == (BEFORE + 1,)
    plain.close()
