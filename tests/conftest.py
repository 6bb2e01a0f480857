"""Guards for every test: no task is left running; laws are not judged by the clock."""

from __future__ import annotations

import asyncio
import gc
import os
import signal
import subprocess

import pytest
import structlog
from hypothesis import settings
from pytest_asyncio.plugin import PytestAsyncioFunction

from tests.tries import RANDOM, tries
from tests.warm import Warm

# A loaded machine is no fault of a law, and what is tried must not change between runs: chance is asked for.
settings.register_profile("steadyohm", tries(), deadline=None, derandomize=not RANDOM)
settings.load_profile("steadyohm")

os.environ.pop("PYTHONDONTWRITEBYTECODE", None)
"""Tests start hundreds of processes of ours; without kept bytecode each would compile everything anew."""

if signal.getsignal(signal.SIGINT) is signal.SIG_IGN:  # as in the background of a shell; Ctrl-C is tested
    signal.signal(signal.SIGINT, signal.default_int_handler)

subprocess.Popen = Warm
"""What asks for a process of ours, test or product, asyncio too, has it at once."""

structlog.configure(  # a rich traceback takes seconds of processor time
    processors=[
        *structlog.get_config()["processors"][:-1],
        structlog.dev.ConsoleRenderer(exception_formatter=structlog.dev.plain_traceback),
    ]
)


LOGS = structlog.get_config()


@pytest.hookimpl(wrapper=True)
def pytest_collection():
    """Thousands of tests stay until the end: whoever looks for garbage need not look at each again."""
    gc.disable()
    try:
        return (yield)
    finally:
        gc.enable()
        gc.freeze()


def pytest_runtest_setup():
    """A command run in this process sets up logging for its own streams, which are closed after it."""
    structlog.configure(**LOGS)


@pytest.fixture
async def no_task_left_running():
    """A test that leaves a task running fails and names it."""
    yield
    left = [t for t in asyncio.all_tasks() if t is not asyncio.current_task() and not t.done()]
    for task in left:
        task.cancel()
    assert not left, f"tasks still running: {[t.get_name() for t in left]}"


def pytest_itemcollected(item):
    """Every test with a loop is guarded; one without gets none only to be looked at."""
    names = getattr(item, "fixturenames", None)
    if isinstance(item, PytestAsyncioFunction) and "no_task_left_running" not in names:
        names.insert(0, "no_task_left_running")
