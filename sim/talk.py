"""Lines from a file descriptor without a thread: a pipe, a terminal or a plain file.

Not for instruments: those have `server`.
"""

from __future__ import annotations

import asyncio
import os
from collections.abc import AsyncIterator

LONGEST_LINE = 65536
"""Bytes; an input that goes on without a line feed (a device, a file of zeros) must not fill the memory."""


async def read_lines(descriptor: int) -> AsyncIterator[str]:
    """Give each line as it comes, without its end; stops at the end of the input, or at an endless line."""
    loop = asyncio.get_running_loop()
    incoming = asyncio.StreamReader()
    unended = 0

    def take() -> bool:
        # Called only when something is there, so this read never blocks; the descriptor keeps its own mode,
        # since a terminal shares it with standard output.
        nonlocal unended
        data = os.read(descriptor, 65536)
        unended = len(data) - data.rfind(b"\n") - 1 if b"\n" in data else unended + len(data)
        if data and unended <= LONGEST_LINE:
            incoming.feed_data(data)
        else:
            loop.remove_reader(descriptor)
            incoming.feed_eof()
        return bool(data)

    try:
        loop.add_reader(descriptor, take)
    except PermissionError:  # epoll takes no plain files; those are always ready
        while take():
            pass
    try:
        while line := await incoming.readline():
            text = line.decode("utf-8", "replace").strip()
            if text:
                yield text
    finally:
        loop.remove_reader(descriptor)
