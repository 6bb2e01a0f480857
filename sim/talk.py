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
    ready = asyncio.Event()
    try:
        loop.add_reader(descriptor, ready.set)
    except PermissionError:  # epoll takes no plain files; those are always ready
        ready = None  # type: ignore[assignment]
    pending = b""
    try:
        while True:
            if ready is not None:
                await ready.wait()
                ready.clear()
            data = os.read(descriptor, 65536)
            if not data:
                break
            *whole, pending = (pending + data).split(b"\n")
            for line in whole:
                if line.strip():
                    yield line.decode("utf-8", "replace").strip()
        if pending.strip():
            yield pending.decode("utf-8", "replace").strip()
    finally:
        if ready is not None:
            loop.remove_reader(descriptor)
