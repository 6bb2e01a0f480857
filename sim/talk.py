"""Lines from a file descriptor without a thread: a pipe, a terminal or a plain file.

Not for instruments: those have `server`.
"""

from __future__ import annotations

import asyncio
import os
from collections.abc import AsyncIterator


async def read_lines(descriptor: int) -> AsyncIterator[str]:
    """Give each line as it comes, without its end; stops at the end of the input."""
    loop = asyncio.get_running_loop()
    incoming = asyncio.StreamReader()

    def take() -> bool:
        # Called only when something is there, so this read never blocks; the descriptor keeps its own mode,
        # since a terminal shares it with standard output.
        data = os.read(descriptor, 65536)
        if data:
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
