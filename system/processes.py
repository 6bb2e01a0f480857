"""Programs run, fed, heard and ended, and work that may hang. By threads: not every loop has processes."""

from __future__ import annotations

import asyncio
import os
import subprocess
import sys
import threading
from collections.abc import Callable, Sequence
from concurrent.futures import Future
from dataclasses import dataclass
from typing import NoReturn, TypeVar

T = TypeVar("T")


@dataclass(frozen=True, slots=True)
class Ended:
    """What a program left behind.

    Attributes:
        code: 0 where all went well.
        out, err: what it wrote.
    """

    code: int
    out: bytes
    err: bytes


def begun(work: Callable[[], T]) -> Future[T]:
    """Begin work that may hang; the thread that hangs keeps nothing from ending."""
    begun: Future[T] = Future()
    begun.set_running_or_notify_cancel()

    def run() -> None:
        try:
            begun.set_result(work())
        except BaseException as error:  # noqa: BLE001  (raised again by whoever waits)
            begun.set_exception(error)

    threading.Thread(target=run, name="work that may hang", daemon=True).start()
    return begun


async def heard(words: Sequence[str], question: bytes = b"", *, within_s: float) -> Ended:
    """Run a program, give it its input and hear it to its end; it is killed when nobody waits any longer.

    Args:
        words: program and arguments; no shell is asked.
        question: its standard input.
        within_s: longest time it may take.

    Raises:
        OSError: it cannot be started.
        TimeoutError: it took too long.
    """
    pipe = subprocess.PIPE
    process = subprocess.Popen(words, stdin=pipe, stdout=pipe, stderr=pipe)  # noqa: S603, ASYNC220  (callers' words)
    try:
        async with asyncio.timeout(within_s):
            out, err = await asyncio.wrap_future(begun(lambda: process.communicate(question)))
    finally:
        process.kill()  # does nothing to one that has ended; its thread takes in the end of it
    return Ended(process.returncode, out, err)


def become(words: Sequence[str]) -> NoReturn:
    """Go on as another program, with this terminal and these signals."""
    if _REPLACES:
        os.execv(words[0], list(words))  # noqa: S606  (the caller's own program)
    sys.exit(subprocess.call(words))  # noqa: S603  (as above)


_REPLACES = sys.platform != "win32"
"""Whether a program can take another's place; Windows begins another, and the shell goes on."""
