"""A full disk: the bench is told, nothing that was promised is lost, and it goes on when there is room."""

import asyncio
import os
import subprocess
import sys
from pathlib import Path

import pytest

from acquire.clock import RealClock
from acquire.errors import JournalUnusable
from acquire.journal.store import Journal
from acquire.outlets.csv_log import CsvLog
from acquire.outlets.outlet import BackOff, Health, drain
from tests.known_records import EVIDENCE, verdict
from tests.waiting import until

ROOT = Path(__file__).parents[2]


@pytest.fixture
def small_disk(tmp_path):
    """A file system of one megabyte; only root may make one."""
    folder = tmp_path / "disk"
    folder.mkdir()
    words = ["mount", "-t", "tmpfs", "-o", "size=1m", "tmpfs", str(folder)]
    if os.geteuid() != 0 or subprocess.run(words, capture_output=True, check=False).returncode != 0:
        pytest.skip("this user may not mount a small tmpfs; the test with a quota covers the journal")
    yield folder
    subprocess.run(["umount", "-l", str(folder)], check=True)


def ballast(folder, leave):
    """Fill the disk up to so many bytes."""
    room = os.statvfs(folder)
    (folder / "ballast").write_bytes(bytes(max(0, room.f_bavail * room.f_frsize - leave)))


async def until_refused(journal, first):
    """Append until the journal refuses; gives what was committed."""
    done = []

    async def go_on():
        for number in range(first, first + 2000):
            done.extend(await journal.append([(verdict(number), EVIDENCE)]))

    with pytest.raises(JournalUnusable, match="full"):
        await go_on()
    return done


async def test_a_full_disk_refuses_and_then_goes_on(small_disk):
    """Every entry that was promised is there; the refused one is written once by the same call."""
    journal = Journal.open(small_disk / "journal", bench="b", clock=RealClock())
    ballast(small_disk, 200_000)
    done = await until_refused(journal, 1)
    assert done
    for _ in range(3):
        with pytest.raises(JournalUnusable, match="full"):
            await journal.append([(verdict(9999), EVIDENCE)])
    (small_disk / "ballast").unlink()
    done += await journal.append([(verdict(9999), EVIDENCE)])

    assert [entry.id for entry in await journal.read_after(0, 5000)] == [entry.id for entry in done]
    assert done[-1].seq == len(done)
    await journal.close()


async def test_a_start_on_a_full_disk_is_told_and_harms_nothing(small_disk):
    """Opening needs a little room; without it, a sentence."""
    journal = Journal.open(small_disk / "journal", bench="b", clock=RealClock())
    entries = await journal.append([(verdict(1), EVIDENCE)])
    await journal.close()
    ballast(small_disk, 0)
    with pytest.raises(JournalUnusable, match=r"full|written|opened"):
        Journal.open(small_disk / "journal", bench="b", clock=RealClock())
    (small_disk / "ballast").unlink()
    journal = Journal.open(small_disk / "journal", bench="b", clock=RealClock())
    assert (await journal.read_after(0, 10))[0].id == entries[0].id
    assert journal.notices == []
    await journal.close()


async def test_a_full_disk_under_the_csv_leaves_whole_rows_only(small_disk, tmp_path):
    """The journal has room, the CSV has none: rows wait, then each is written once."""
    journal = Journal.open(tmp_path / "journal", bench="b", clock=RealClock())
    ballast(small_disk, 30_000)
    stop, health = asyncio.Event(), Health("csv")
    log = CsvLog(small_disk / "csv")
    task = asyncio.create_task(drain(journal, log, "csv", stop, health=health, back_off=BackOff(0.01, 0.05)))
    entries = []
    for number in range(200):
        entries += await journal.append([(verdict(number), None)])
    await until(lambda: health.failing)
    assert "No space left" in health.failing
    (file,) = (small_disk / "csv").glob("*.csv")
    # between two attempts: one that is under way has part of a row in the file until it is taken back
    await until(lambda: file.read_bytes().endswith(b"\r\n"))
    (small_disk / "ballast").unlink()
    stop.set()
    await asyncio.wait_for(task, 30.0)
    await journal.close()

    ids = [line.split(b",")[1].decode() for line in file.read_bytes().split(b"\r\n")[1:-1]]
    assert ids == [entry.id for entry in entries]


QUOTA = """
import asyncio, resource, sys
from pathlib import Path
from acquire.clock import RealClock
from acquire.errors import JournalUnusable
from acquire.journal.store import Journal
from tests.known_records import EVIDENCE, verdict

async def work():
    journal = Journal.open(Path(sys.argv[1]), bench="b", clock=RealClock())
    resource.setrlimit(resource.RLIMIT_FSIZE, (600_000, resource.RLIM_INFINITY))
    done = 0
    try:
        for number in range(5000):
            await journal.append([(verdict(number), EVIDENCE)])
            done += 1
    except JournalUnusable as error:
        print(error)
    resource.setrlimit(resource.RLIMIT_FSIZE, (resource.RLIM_INFINITY, resource.RLIM_INFINITY))
    await journal.append([(verdict(9999), EVIDENCE)])
    found = [entry.serial for entry in await journal.read_after(0, 9000)]
    assert found == [f"PL80-{n:04d}" for n in range(done)] + ["PL80-9999"], (done, len(found))
    await journal.close()
    print("promised", done)

asyncio.run(work())
"""


def test_a_used_up_quota_is_told_and_nothing_promised_is_lost(tmp_path):
    """The limit on a file's size (setrlimit(2), RLIMIT_FSIZE) of a process stands in for a quota."""
    words = [sys.executable, "-c", QUOTA, str(tmp_path / "journal")]
    said = subprocess.run(
        words,
        capture_output=True,
        text=True,
        cwd=ROOT,
        env={**os.environ, "PYTHONPATH": str(ROOT)},
        check=False,
    )

    assert said.returncode == 0, said.stderr
    told, promised = said.stdout.splitlines()
    assert "quota" in told
    assert int(promised.split()[1]) > 10
