"""Serves an instrument's voice as bytes: on a loopback TCP port or on a pty, with line trouble on request.

Knows lines and streams, not their meaning. Listens on 127.0.0.1 only.
"""

from __future__ import annotations

import asyncio
import contextlib
import random
from collections.abc import AsyncIterator, Callable, Coroutine
from dataclasses import dataclass, field
from typing import Any, Protocol

from system.ptys import Pty


@dataclass(slots=True)
class LineTrouble:
    """What is wrong with the line towards the computer.

    Attributes:
        drop, garble: chance per byte to be lost or replaced by another.
        stall: chance per message to be held back for `stall_s` real seconds.
        delay_s: every message comes this many real seconds later.
    """

    drop: float = 0.0
    garble: float = 0.0
    stall: float = 0.0
    stall_s: float = 3.0
    delay_s: float = 0.0
    dice: random.Random = field(default_factory=lambda: random.Random(0))

    async def hold_back(self) -> None:
        """Wait as long as this line makes a message wait."""
        wait_s = self.delay_s + (self.stall_s if self.dice.random() < self.stall else 0.0)
        if wait_s:
            await asyncio.sleep(wait_s)

    def spoil(self, data: bytes) -> bytes:
        """Lose and garble bytes."""
        if not self.drop and not self.garble:
            return data
        kept = bytearray()
        for byte in data:
            if self.dice.random() < self.drop:
                continue
            kept.append(self.dice.randrange(256) if self.dice.random() < self.garble else byte)
        return bytes(kept)


class Wire(Protocol):
    """The instrument's end of a cable."""

    incoming: asyncio.StreamReader

    async def send(self, data: bytes) -> None:
        """Send bytes to the computer."""


Session = Callable[[Wire], Coroutine[Any, Any, None]]


class TcpWire:
    """One connection."""

    def __init__(
        self, incoming: asyncio.StreamReader, outgoing: asyncio.StreamWriter, trouble: LineTrouble
    ) -> None:
        self.incoming = incoming
        self._outgoing = outgoing
        self._trouble = trouble

    async def send(self, data: bytes) -> None:
        """Send bytes to the computer."""
        await self._trouble.hold_back()
        self._outgoing.write(self._trouble.spoil(data))
        await self._outgoing.drain()


class PtyWire:
    """The master end of a pty."""

    def __init__(self, trouble: LineTrouble) -> None:
        self.incoming = asyncio.StreamReader()
        self.pty = Pty(self.incoming.feed_data)
        self._trouble = trouble

    async def send(self, data: bytes) -> None:
        """Send bytes to the computer; what a full line cannot take is lost, as on a real one."""
        await self._trouble.hold_back()
        self.pty.send(self._trouble.spoil(data))


@contextlib.asynccontextmanager
async def on_tcp(session: Session, port: int = 0, trouble: LineTrouble | None = None) -> AsyncIterator[str]:
    """Serve sessions on a loopback port (0: a free one) and give the address, e.g. `tcp:127.0.0.1:5025`."""
    open_tasks: set[asyncio.Task[None]] = set()

    async def connected(incoming: asyncio.StreamReader, outgoing: asyncio.StreamWriter) -> None:
        task = asyncio.current_task()
        assert task is not None  # noqa: S101  (a running coroutine has a task)
        open_tasks.add(task)
        try:
            await session(TcpWire(incoming, outgoing, trouble or LineTrouble()))
        except (ConnectionError, asyncio.CancelledError):
            pass  # the computer hung up, or the bench closes
        finally:
            open_tasks.discard(task)
            outgoing.close()

    server = await asyncio.start_server(connected, "127.0.0.1", port)
    try:
        yield f"tcp:127.0.0.1:{server.sockets[0].getsockname()[1]}"
    finally:
        server.close()
        for task in list(open_tasks):
            task.cancel()
        await asyncio.gather(*open_tasks, return_exceptions=True)


@contextlib.asynccontextmanager
async def on_pty(session: Session, trouble: LineTrouble | None = None) -> AsyncIterator[str]:
    """Serve one session on a pty and give the address, e.g. `serial:/dev/pts/5`.

    Raises:
        OSError: where the system has no pty.
    """
    wire = PtyWire(trouble or LineTrouble())
    task = asyncio.create_task(session(wire), name="pty session")
    try:
        yield f"serial:{wire.pty.path}"
    finally:
        task.cancel()
        with contextlib.suppress(asyncio.CancelledError):
            await task
        wire.pty.close()
