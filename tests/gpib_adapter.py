"""Serves an instrument behind a network adapter for GPIB that takes its own orders as lines with "++".

    ++addr 22        which instrument is meant
    ++read eoi       give what it has to say, to the end of its message

What the instrument says waits until it is fetched; an order that comes too late or too early gets nothing,
as on the bus. Own code; of the orders it knows what a controller needs.
"""

from __future__ import annotations

import asyncio
import contextlib
from collections.abc import AsyncIterator
from dataclasses import dataclass, field

from sim.server import LineTrouble, Session, Wire, on_tcp

ESCAPE = 0x1B
LONGEST_LINE = 4096


@dataclass(slots=True)
class BusWire:
    """The instrument's end of the bus.

    Attributes:
        incoming: what the controller said to it.
        said: whole messages that wait to be fetched.
    """

    incoming: asyncio.StreamReader = field(default_factory=asyncio.StreamReader)
    said: asyncio.Queue[bytes] = field(default_factory=asyncio.Queue)

    async def send(self, data: bytes) -> None:
        """Keep a message until the controller fetches it."""
        self.said.put_nowait(data)


def unescaped(line: bytes) -> tuple[bytes, bool]:
    """A line without its escapes, and whether it is an order to the adapter itself."""
    order = line.startswith(b"++")
    out, literal = bytearray(), False
    for byte in line:
        if byte == ESCAPE and not literal:
            literal = True
            continue
        out.append(byte)
        literal = False
    return bytes(out), order


@dataclass(slots=True)
class Adapter:
    """One controller's connection.

    Attributes:
        wire: to the controller.
        own: address of the one instrument on this bus.
    """

    wire: Wire
    own: int
    bus: BusWire = field(default_factory=BusWire)
    _addressed: int = -1
    _patience_s: float = 0.2

    async def attend(self) -> None:
        """Serve until the controller hangs up."""
        pending = b""
        while data := await self.wire.incoming.read(1024):
            pending += data
            while (end := _end_of_line(pending)) >= 0:
                line, pending = pending[:end], pending[end + 1 :]
                await self._take(line)
            if len(pending) > LONGEST_LINE:
                pending = b""

    async def _take(self, line: bytes) -> None:
        text, order = unescaped(line)
        if not order:
            if self._addressed == self.own:
                self.bus.said = asyncio.Queue()  # a new message ends the old one
                self.bus.incoming.feed_data(text.rstrip(b"\r") + b"\n")
            return
        word, _, rest = text[2:].strip().partition(b" ")
        if word == b"addr" and rest.split(b" ")[0].isdigit():
            self._addressed = int(rest.split(b" ")[0])
        elif word == b"read_tmo_ms" and rest.isdigit():
            self._patience_s = int(rest) / 1000.0
        elif word == b"clr":
            self.bus.incoming.feed_data(b"\x03")
        elif word == b"read" and self._addressed == self.own:
            with contextlib.suppress(TimeoutError):
                await self.wire.send(await asyncio.wait_for(self.bus.said.get(), self._patience_s))


def _end_of_line(pending: bytes) -> int:
    """Where the first line ends whose line feed is not escaped; -1 if none does yet."""
    literal = False
    for place, byte in enumerate(pending):
        if literal:
            literal = False
        elif byte == ESCAPE:
            literal = True
        elif byte == 0x0A:
            return place
    return -1


@contextlib.asynccontextmanager
async def on_gpib_adapter(
    session: Session, port: int = 0, trouble: LineTrouble | None = None, own: int = 22
) -> AsyncIterator[str]:
    """Serve sessions behind an adapter on a loopback port and give the instrument's address."""

    async def adapted(wire: Wire) -> None:
        adapter = Adapter(wire, own)
        instrument = asyncio.create_task(session(adapter.bus), name="gpib instrument")
        try:
            await adapter.attend()
        finally:
            instrument.cancel()
            await asyncio.gather(instrument, return_exceptions=True)

    async with on_tcp(adapted, port, trouble) as address:
        yield f"visa:GPIB0::{own}::INSTR?adapter={address}"
