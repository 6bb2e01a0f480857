"""The disk refuses under a running bench: it takes no verdicts, says so, loses none and goes on by itself."""

import asyncio
import contextlib
import os
import resource
import shutil
import sqlite3
import subprocess
import time
from pathlib import Path

import pytest
from structlog.testing import capture_logs

from acquire.bench.service import service_of
from acquire.bench.systemd import Supervisor
from acquire.clock import HandClock
from acquire.files.settings import load_bench
from acquire.records import Judged, Prompt, StartUnit, UnitResult
from tests.obedient_meter import StillBench
from tests.waiting import crowding
from tests.whole_bench import bench_file, csv_rows, journal_entries


class SmallDisk:
    """A file system of two megabytes that can be filled."""

    def __init__(self, folder):
        self.folder = folder

    def refuse(self):
        """Leave no room."""
        room = os.statvfs(self.folder)
        (self.folder / "ballast").write_bytes(bytes(room.f_bavail * room.f_frsize))

    def allow(self):
        """Give the room back."""
        (self.folder / "ballast").unlink()


class Quota:
    """No file of this process may grow: what a quota does to a user, and needs no root."""

    def __init__(self, folder):
        self.folder = folder
        self._before = resource.getrlimit(resource.RLIMIT_FSIZE)

    def refuse(self):
        """Files end where they end (setrlimit(2): a write beyond fails with EFBIG)."""
        resource.setrlimit(resource.RLIMIT_FSIZE, (4096, self._before[1]))

    def allow(self):
        """They may grow again."""
        resource.setrlimit(resource.RLIMIT_FSIZE, self._before)


@pytest.fixture(params=["full", "quota"])
def disk(request, tmp_path):
    """A disk that refuses when told to."""
    folder = tmp_path / "disk"
    folder.mkdir()
    if request.param == "quota":
        quota = Quota(folder)
        with capture_logs():  # the log of a test lies in a file of this process, too
            yield quota
        quota.allow()
        return
    words = ["mount", "-t", "tmpfs", "-o", "size=2m", "tmpfs", str(folder)]
    if os.geteuid() != 0 or subprocess.run(words, capture_output=True, check=False).returncode != 0:
        pytest.skip("this user may not mount a small tmpfs; the same is tried with a quota")
    yield SmallDisk(folder)
    subprocess.run(["umount", "-l", str(folder)], check=True)


@contextlib.asynccontextmanager
async def at_work(folder):
    """A bench whose readings come also while the journal refuses, one every other millisecond."""
    file = bench_file(folder, meter="tcp:127.0.0.1:9", changes=[('"22.5 °C"', '"20 °C"')])
    still = await StillBench(load_bench(file), HandClock(100.0)).assembled()
    still.meter.calm, still.meter.pace_s = None, 0.001
    service = service_of(still.daemon, still.bench, Supervisor())
    stop = asyncio.Event()
    task = asyncio.create_task(service.run(stop, asyncio.Event()), name="service")
    await still.until(lambda b: b.of(Prompt))
    try:
        yield still
    finally:
        began_s = time.monotonic()
        stop.set()
        await task
        still.stop_took_s = time.monotonic() - began_s


def agree(folder, still):
    """What was shown is what is on the journal, no more and no less."""
    shown = [(j.verdict.serial, j.verdict.step, j.verdict.utc_s) for j in still.of(Judged)]
    entries = journal_entries(folder, "verdict")
    assert shown == [(e.serial, e.payload["step"], e.utc_s) for e in entries]
    return entries


def csv_agrees(folder):
    """One row a verdict, in order."""
    ids = [entry.id for entry in journal_entries(folder, "verdict")]
    assert [row["id"] for row in csv_rows(folder)] == ids


async def test_a_disk_that_refuses_stops_verdicts_until_there_is_room(disk):
    """The notices say so; afterwards the unit goes on by itself and everything agrees."""
    async with at_work(disk.folder) as still:
        await still.daemon.command(StartUnit("A"))
        await still.until(lambda b: b.of(Judged))
        disk.refuse()
        try:
            await still.until(lambda b: b.notices("journal.unusable"))
            assert still.daemon.halted
            shown = len(still.of(Judged))
            told = still.notices("journal.unusable")[0]
            assert told.code == "journal.unusable"
            answer = await still.daemon.command(StartUnit("B"))
            assert [event.code for event in answer] == ["command.refused"]
            readings = still.daemon.feeds[0].came
            await asyncio.sleep(1.5)
            assert still.daemon.feeds[0].came > readings + 50, "the meter is read on"
            assert len(still.of(Judged)) == shown, "a verdict was shown that is not on record"
            assert len(still.notices("journal.unusable")) == 1, "said once, not every second"
        finally:
            disk.allow()
        await still.until(lambda b: b.notices("journal.usable"))
        await still.until(lambda b: b.of(UnitResult))
        assert still.of(UnitResult)[0].outcome == "pass"
    agree(disk.folder, still)
    csv_agrees(disk.folder)
    assert "journal.usable" in {e.payload["code"] for e in journal_entries(disk.folder, "notice")}


@pytest.fixture
def tmpfs(tmp_path):
    """A file system of its own, to be remounted."""
    folder = tmp_path / "disk"
    folder.mkdir()
    words = ["mount", "-t", "tmpfs", "-o", "size=4m", "tmpfs", str(folder)]
    if os.geteuid() != 0 or subprocess.run(words, capture_output=True, check=False).returncode != 0:
        pytest.skip("this user may not mount a tmpfs")
    yield folder
    subprocess.run(["umount", "-l", str(folder)], check=True)


async def remounted(folder, how):
    """Remount; read-only is refused while a file is open for writing, so try until the bench waits."""
    words = ["mount", "-o", f"remount,{how}", str(folder)]
    async with asyncio.timeout(30.0):
        while True:
            mount = await asyncio.create_subprocess_exec(*words, stderr=subprocess.DEVNULL)
            if await mount.wait() == 0:
                return
            await asyncio.sleep(0.02)


async def test_a_file_system_remounted_read_only_stops_verdicts_until_it_is_writable_again(tmpfs):
    """As after a disk fault. The bench says which trouble it is, loses nothing, and goes on by itself."""
    quota = Quota(tmpfs)
    async with at_work(tmpfs) as still:
        await still.daemon.command(StartUnit("A"))
        await still.until(lambda b: b.of(Judged))
        quota.refuse()  # a fault first: only then does the bench let go of the file
        try:
            await still.until(lambda b: b.notices("journal.unusable"))
            await remounted(tmpfs, "ro")
        finally:
            quota.allow()
        try:
            await still.until(
                lambda b: any(
                    "file system is read-only" in n.facts["cause"] for n in b.notices("journal.unusable")
                )
            )
            shown, told = len(still.of(Judged)), len(still.notices("journal.unusable"))
            await asyncio.sleep(1.5)
            assert still.daemon.halted
            assert len(still.of(Judged)) == shown, "a verdict was shown that is not on record"
            assert len(still.notices("journal.unusable")) == told, "said once, not every second"
        finally:
            await remounted(tmpfs, "rw")
        await still.until(lambda b: b.notices("journal.usable"))
        await still.until(lambda b: b.of(UnitResult))
        assert still.of(UnitResult)[0].outcome == "pass"
    agree(tmpfs, still)
    csv_agrees(tmpfs)


class FaultyDisk:
    """An ext4 file system in a file, which the kernel makes read-only at the first fault it sees."""

    def __init__(self, folder, image):
        self.folder, self.image, self.device = folder, image, ""

    def mount(self):
        """Repair what is wrong, and mount it."""
        subprocess.run(["fsck.ext4", "-p", self.image], check=False, capture_output=True)
        words = ["mount", "-o", "loop,errors=remount-ro", self.image, self.folder]
        done = subprocess.run(words, check=False, capture_output=True).returncode == 0
        if done:
            listed = subprocess.run(["losetup", "-j", self.image], check=True, capture_output=True, text=True)
            self.device = listed.stdout.partition(":")[0].rpartition("/")[2]
        return done

    def break_down(self):
        """Let the kernel see a fault (the file system's own switch for that; admin-guide/ext4)."""
        Path(f"/sys/fs/ext4/{self.device}/trigger_fs_error").write_text("a fault for a test")

    def unmount(self):
        subprocess.run(["umount", self.folder], check=True, capture_output=True)


@pytest.fixture
def faulty(tmp_path):
    """A disk that can break down."""
    image, folder = tmp_path / "image", tmp_path / "disk"
    folder.mkdir()
    image.write_bytes(bytes(8 << 20))
    disk = FaultyDisk(folder, image)
    tools = all(shutil.which(tool, path="/usr/sbin:/sbin") for tool in ("mkfs.ext4", "losetup"))
    made = tools and subprocess.run(["mkfs.ext4", "-q", image], check=False).returncode == 0
    if os.geteuid() != 0 or not made or not disk.mount():
        pytest.skip("this user may not mount an ext4 image")
    if not Path(f"/sys/fs/ext4/{disk.device}/trigger_fs_error").exists():
        disk.unmount()
        pytest.skip("this kernel offers no way to plant a fault in an ext4 file system")
    yield disk
    disk.unmount()


async def test_a_disk_that_breaks_down_under_a_bench_costs_no_verdict(faulty):
    """The kernel's own read-only state. Such a disk comes back by a repair and a restart of the bench."""
    async with at_work(faulty.folder) as still:
        await still.daemon.command(StartUnit("A"))
        await still.until(lambda b: b.of(Judged))
        faulty.break_down()
        await still.until(lambda b: b.notices("journal.unusable"))
        shown = len(still.of(Judged))
        await asyncio.sleep(1.0)
        assert still.daemon.halted
        assert len(still.of(Judged)) == shown
    assert still.stop_took_s < 5.0 * crowding()
    faulty.unmount()
    assert faulty.mount()
    agree(faulty.folder, still)
    async with at_work(faulty.folder) as again:
        await again.until(lambda b: b.of(UnitResult))
        assert again.notices("unit.resumed")
    csv_agrees(faulty.folder)


async def test_a_stop_while_the_disk_refuses_takes_less_than_five_seconds(disk):
    """What was shown is on record; what could not be written was never shown; the next start goes on."""
    async with at_work(disk.folder) as still:
        await still.daemon.command(StartUnit("A"))
        await still.until(lambda b: b.of(Judged))
        disk.refuse()
        await still.until(lambda b: b.notices("journal.unusable"))
    disk.allow()
    assert still.stop_took_s < 5.0 * crowding()
    assert still.daemon.unwritten
    agree(disk.folder, still)
    async with at_work(disk.folder) as again:
        await again.until(lambda b: b.of(UnitResult))
        assert again.notices("unit.resumed")
    csv_agrees(disk.folder)


async def test_a_journal_that_another_program_locks_is_waited_for(tmp_path):
    """A backup that holds the file for some seconds: the bench waits and goes on."""
    async with at_work(tmp_path) as still:
        await still.daemon.command(StartUnit("A"))
        await still.until(lambda b: b.of(Judged))
        other = sqlite3.connect(tmp_path / "journal" / "journal.db", isolation_level=None)
        other.execute("BEGIN IMMEDIATE")
        try:
            await still.until(lambda b: b.notices("journal.unusable"))
            assert "another program" in still.notices("journal.unusable")[0].facts["cause"]
        finally:
            other.execute("ROLLBACK")
            other.close()
        await still.until(lambda b: b.of(UnitResult))
    agree(tmp_path, still)
    csv_agrees(tmp_path)
