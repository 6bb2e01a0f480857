"""Programs run, fed, heard and ended. By threads, since not every loop has processes."""

from __future__ import annotations

import asyncio
import os
import subprocess
import sys
from collections.abc import Sequence
from dataclasses import dataclass
from typing import NoReturn


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
            out, err = await asyncio.to_thread(process.communicate, question)
    finally:
        process.kill()  # does nothing to one that has ended
    return Ended(process.returncode, out, err)


def become(words: Sequence[str]) -> NoReturn:
    """Go on as another program, with this terminal and these signals."""
    if _REPLACES:
        os.execv(words[0], list(words))  # noqa: S606  (the caller's own program)
    sys.exit(subprocess.call(words))  # noqa: S603  (as above)


_REPLACES = sys.platform != "win32"
"""Whether a program can take another's place; Windows begins another, and the shell goes on."""
