"""Serves an instrument over HiSLIP (IVI-6.1), the message protocol of LAN instruments on port 4880.

One client at a time has two connections, one for messages and one for what must overtake them. Own code
from the specification; serves what a client of the synchronous mode needs, no locks, no encryption.
"""

from __future__ import annotations

import asyncio
import contextlib
import itertools
import struct
from collections.abc import AsyncIterator
from dataclasses import dataclass, field

from sim.server import LineTrouble, Session

HEADER = struct.Struct("!2sBBIQ")  # prologue, message type, control code, parameter, length of the payload
LARGEST = 1 << 16
CTRL_C = b"\x03"  # how the instrument's voice hears a device clear

INITIALIZE, INITIALIZED = 0, 1
FATAL = 2
LOCK, LOCKED = 4, 5
DATA, DATA_END = 6, 7
CLEARED, CLEAR_SEEN = 8, 9
REMOTE, REMOTE_SET = 10, 11
SIZE, SIZE_SET = 15, 16
ASYNC_INITIALIZE, ASYNC_INITIALIZED = 17, 18
CLEAR, CLEAR_BEGUN = 19, 23
STATUS, STATUS_IS = 21, 22
ANSWERS = {LOCK: (LOCKED, 1), REMOTE: (REMOTE_SET, 0), STATUS: (STATUS_IS, 0), CLEAR: (CLEAR_BEGUN, 0)}
"""What the second connection is asked, and the type and control code of the answer."""


@dataclass(slots=True)
class Client:
    """One client: what it sent for the instrument, and the way back."""

    outgoing: asyncio.StreamWriter
    trouble: LineTrouble
    incoming: asyncio.StreamReader = field(default_factory=asyncio.StreamReader)
    message: int = 0xFFFF_FFFF

    async def send(self, data: bytes) -> None:
        """Send one whole message; the end of it says that it is whole, not a line feed."""
        await self.trouble.hold_back()
        self.outgoing.write(HEADER.pack(b"HS", DATA_END, 0, self.message, len(data)) + data)
        await self.outgoing.drain()


@dataclass(slots=True)
class HislipServer:
    """The instrument's end of all connections.

    Attributes:
        session: serves one client.
        trouble: of the line.
    """

    session: Session
    trouble: LineTrouble
    _clients: dict[int, Client] = field(default_factory=dict)
    _numbers: itertools.count[int] = field(default_factory=lambda: itertools.count(1))
    _open: set[asyncio.Task[None]] = field(default_factory=set)

    async def connected(self, reader: asyncio.StreamReader, writer: asyncio.StreamWriter) -> None:
        """Serve one connection; its first message tells which of the two it is."""
        task = asyncio.current_task()
        assert task is not None
        self._open.add(task)
        try:
            kind, _, parameter, _ = await _message(reader)
            if kind == INITIALIZE:
                await self._messages(reader, writer)
            elif kind == ASYNC_INITIALIZE and parameter in self._clients:
                writer.write(HEADER.pack(b"HS", ASYNC_INITIALIZED, 0, 0, 0))
                await self._overtaking(reader, writer, self._clients[parameter])
        except (ConnectionError, asyncio.IncompleteReadError, ValueError, asyncio.CancelledError):
            pass  # the client hung up, talks something else, or the bench closes
        finally:
            self._open.discard(task)
            writer.close()

    async def _messages(self, reader: asyncio.StreamReader, writer: asyncio.StreamWriter) -> None:
        number = next(self._numbers) & 0xFFFF
        client = self._clients[number] = Client(writer, self.trouble)
        writer.write(HEADER.pack(b"HS", INITIALIZED, 0, (0x0100 << 16) | number, 0))
        instrument = asyncio.create_task(self.session(client), name="hislip instrument")
        try:
            while True:
                kind, _, parameter, payload = await _message(reader)
                if kind in (DATA, DATA_END):
                    client.message = parameter
                    end = b"\n" if kind == DATA_END and not payload.endswith(b"\n") else b""
                    client.incoming.feed_data(payload + end)
                elif kind == CLEARED:
                    client.message = 0xFFFF_FFFF
                    writer.write(HEADER.pack(b"HS", CLEAR_SEEN, 0, 0, 0))
        finally:
            client.incoming.feed_eof()
            instrument.cancel()
            await asyncio.gather(instrument, return_exceptions=True)
            del self._clients[number]

    async def _overtaking(
        self, reader: asyncio.StreamReader, writer: asyncio.StreamWriter, client: Client
    ) -> None:
        while True:
            kind, _, _, _ = await _message(reader)
            if kind == SIZE:
                writer.write(HEADER.pack(b"HS", SIZE_SET, 0, 0, 8) + struct.pack("!Q", LARGEST))
            elif kind in ANSWERS:
                if kind == CLEAR:
                    client.incoming.feed_data(CTRL_C)
                answer, code = ANSWERS[kind]
                writer.write(HEADER.pack(b"HS", answer, code, 0, 0))

    async def stop(self) -> None:
        """Close every connection."""
        for task in list(self._open):
            task.cancel()
        await asyncio.gather(*self._open, return_exceptions=True)


async def _message(reader: asyncio.StreamReader) -> tuple[int, int, int, bytes]:
    """Read one message: type, control code, parameter, payload.

    Raises:
        ValueError: it is none.
    """
    prologue, kind, code, parameter, length = HEADER.unpack(await reader.readexactly(HEADER.size))
    if prologue != b"HS" or length > LARGEST:
        raise ValueError("no HiSLIP message")
    return kind, code, parameter, await reader.readexactly(length)


@contextlib.asynccontextmanager
async def on_hislip(
    session: Session, port: int = 0, trouble: LineTrouble | None = None
) -> AsyncIterator[str]:
    """Serve sessions on a loopback port (0: a free one) and give the address of the resource."""
    instrument = HislipServer(session, trouble or LineTrouble())
    server = await asyncio.start_server(instrument.connected, "127.0.0.1", port)
    try:
        yield f"visa:TCPIP0::127.0.0.1::hislip0,{server.sockets[0].getsockname()[1]}::INSTR"
    finally:
        server.close()
        await instrument.stop()
