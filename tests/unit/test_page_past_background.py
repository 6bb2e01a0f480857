"""Questions to the disk, away from the loop: answers and faults come back, and nobody waits for ever."""

from __future__ import annotations

import asyncio
import threading
import time

import pytest

from acquire.page import past
from acquire.page.past import Background
from tests.waiting import crowding


async def test_an_answer_comes_from_another_thread():
    asked = Background()
    assert await asked.ask(threading.get_ident) != threading.get_ident()


async def test_a_fault_comes_back():
    def fails():
        raise LookupError("nothing there")

    with pytest.raises(LookupError, match="nothing there"):
        await Background().ask(fails)


async def test_the_loop_goes_on_meanwhile_and_no_more_than_two_work():
    asked, working, most = Background(), 0, 0
    lock = threading.Lock()

    def works():
        nonlocal working, most
        with lock:
            working += 1
            most = max(most, working)
        time.sleep(0.05)
        with lock:
            working -= 1

    began_s = time.monotonic()
    tasks = [asyncio.create_task(asked.ask(works)) for _ in range(6)]
    await asyncio.sleep(0)
    assert time.monotonic() - began_s < 0.04 * crowding()
    await asyncio.gather(*tasks)
    assert most == 2


async def test_an_answer_that_takes_too_long_is_given_up(monkeypatch):
    monkeypatch.setattr(past, "PATIENCE_S", 0.05)
    free = threading.Event()
    asked = Background()
    for _ in range(2):
        with pytest.raises(TimeoutError):
            await asked.ask(lambda: free.wait(5.0))
    with pytest.raises(TimeoutError):
        await asked.ask(lambda: "never begun: both still work")
    free.set()
    for _ in range(300):
        await asyncio.sleep(0.01 if asked._turns.locked() else 0)
    assert await asked.ask(lambda: "well again") == "well again"
