"""Programs that are run, heard and ended without the loop's own means."""

import asyncio
import sys
import threading
from concurrent.futures import ThreadPoolExecutor

import psutil
import pytest

from system.processes import heard
from tests.waiting import until

SLEEPS = (sys.executable, "-c", "import sys, time; open(sys.argv[1], 'w').write('x'); time.sleep(60)")


def sleepers(mark):
    """Processes that still sleep."""
    return [each for each in psutil.process_iter(["cmdline"]) if mark in (each.info["cmdline"] or [])]


async def test_a_question_is_answered():
    ended = await heard(
        (sys.executable, "-c", "import sys; print(input()[::-1]); sys.exit(3)"), b"olleh\n", within_s=30
    )
    assert (ended.code, ended.out.strip(), ended.err) == (3, b"hello", b"")


async def test_one_that_takes_too_long_is_killed(tmp_path):
    with pytest.raises(TimeoutError):
        await heard((*SLEEPS, str(tmp_path / "mark")), within_s=0.2)
    await until(lambda: not sleepers(str(tmp_path / "mark")))


async def test_one_that_nobody_waits_for_is_killed(tmp_path):
    mark = tmp_path / "mark"
    task = asyncio.create_task(heard((*SLEEPS, str(mark)), within_s=60))
    await until(mark.exists)
    task.cancel()
    await asyncio.gather(task, return_exceptions=True)
    await until(lambda: not sleepers(str(mark)))


async def test_one_that_is_cut_off_at_once_is_taken_in_though_all_threads_of_the_loop_are_busy(tmp_path):
    free, mark = threading.Event(), tmp_path / "mark"
    loop = asyncio.get_running_loop()
    loop.set_default_executor(ThreadPoolExecutor(1))
    busy = loop.run_in_executor(None, free.wait)
    task = asyncio.create_task(heard((*SLEEPS, str(mark)), within_s=60))
    await until(mark.exists)
    task.cancel()
    await asyncio.gather(task, return_exceptions=True)
    children = psutil.Process().children
    await until(lambda: psutil.STATUS_ZOMBIE not in [each.status() for each in children()])
    free.set()
    await busy


async def test_a_program_that_is_not_there_is_an_error_of_the_system(tmp_path):
    with pytest.raises(FileNotFoundError):
        await heard((str(tmp_path / "none"),), within_s=1)
