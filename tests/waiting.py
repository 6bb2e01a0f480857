"""How tests wait: for a condition, with patience for a machine that others use too. Not a test itself.

What must happen is waited for and never slept for; only that nothing happens takes a fixed time.
"""

from __future__ import annotations

import asyncio
import inspect
import time

PATIENCE_S = 90.0
"""Nothing that works takes so long, however busy the machine is."""

WORK_S = 0.05
"""Of processor time, to see how busy it is."""

QUIET = 1.5
"""Up to here a figure proves something."""


def wait_until(condition, within_s=PATIENCE_S, why="it never came"):
    """Wait for a condition; gives its value, which is true."""
    deadline = time.monotonic() + within_s
    while not (value := condition()):
        assert time.monotonic() < deadline, why() if callable(why) else why
        time.sleep(0.01)
    return value


async def until(condition, within_s=PATIENCE_S):
    """The same in a loop of asyncio, whose tasks go on meanwhile; the condition may have to be awaited."""
    async with asyncio.timeout(within_s):
        while not (value := await _now(condition)):  # noqa: ASYNC110  (what is waited for has no event)
            await asyncio.sleep(0.005)
    return value


async def _now(condition):
    value = condition()
    return await value if inspect.isawaitable(value) else value


def crowding():
    """How many times longer than alone a process takes on this machine just now; 1.0 if it is quiet.

    Seconds that a user is promised hold where the machine has time for him: here they are taken times this.
    One look tells little of a crowd, and several processes take several turns: so there is slack.
    """
    began_s, worked_s = time.monotonic(), time.thread_time()
    while time.thread_time() < worked_s + WORK_S:
        pass
    times = max(1.0, (time.monotonic() - began_s) / WORK_S)
    return times if times < QUIET else 4.0 * times
