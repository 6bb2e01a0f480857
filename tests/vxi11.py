"""Serves an instrument over VXI-11 (revision 1.0): remote procedure calls on TCP, found by the portmapper.

Own code from VXI-11, RFC 5531 (calls), RFC 4506 (their data) and RFC 1833 (portmapper). The portmapper
listens on port 111 of a loopback address, which takes the right to do so. Serves one link a connection.
"""

from __future__ import annotations

import asyncio
import contextlib
import itertools
import struct
from collections.abc import AsyncIterator, Awaitable, Callable
from dataclasses import dataclass, field

from sim.server import LineTrouble, Session

HOST = "127.0.0.2"
"""A loopback address of its own, since a real portmapper may have port 111 of the others."""
PORTMAPPER, GET_PORT, PORT = 100000, 3, 111
CORE = 0x0607AF
CREATE_LINK, WRITE, READ, STATUS, CLEAR, DESTROY_LINK = 10, 11, 12, 13, 15, 23
LARGEST = 1 << 16
NOT_SUPPORTED, TIMED_OUT = 8, 15
END = 4
LAST_FRAGMENT = 0x8000_0000

Answering = Callable[[int, int, bytes], Awaitable[bytes]]
"""Program, procedure and arguments of a call in, its result out."""


@dataclass(slots=True)
class Link:
    """The instrument's end of one link."""

    trouble: LineTrouble
    incoming: asyncio.StreamReader = field(default_factory=asyncio.StreamReader)
    said: asyncio.Queue[bytes] = field(default_factory=asyncio.Queue)

    async def send(self, data: bytes) -> None:
        """Keep a message until it is read."""
        await self.trouble.hold_back()
        self.said.put_nowait(data)


def _opaque(data: bytes) -> bytes:
    return struct.pack("!I", len(data)) + data + bytes(-len(data) % 4)


def _taken(data: bytes) -> bytes:
    (length,) = struct.unpack_from("!I", data)
    return data[4 : 4 + length]


async def calls(reader: asyncio.StreamReader, writer: asyncio.StreamWriter, answer: Answering) -> None:
    """Answer calls until the caller hangs up."""
    while True:
        record = b""
        last = False
        while not last:
            (mark,) = struct.unpack("!I", await reader.readexactly(4))
            last, length = bool(mark & LAST_FRAGMENT), mark & ~LAST_FRAGMENT
            if length > LARGEST:
                raise ConnectionError("a fragment larger than this instrument takes")
            record += await reader.readexactly(length)
        number, kind, _, program, _, procedure = struct.unpack_from("!6I", record)
        if kind != 0:
            continue
        arguments = record[24:]
        for _ in range(2):  # credentials and verifier: none are looked at
            arguments = arguments[4:]
            arguments = arguments[4 + len(_taken(arguments)) + (-len(_taken(arguments)) % 4) :]
        reply = struct.pack("!6I", number, 1, 0, 0, 0, 0) + await answer(program, procedure, arguments)
        writer.write(struct.pack("!I", LAST_FRAGMENT | len(reply)) + reply)
        await writer.drain()


@dataclass(slots=True)
class Core:
    """The core channel of one connection."""

    session: Session
    link: Link
    instrument: asyncio.Task[None] | None = None

    async def answer(self, program: int, procedure: int, arguments: bytes) -> bytes:
        """Carry out one call."""
        if program != CORE:
            return b""
        if procedure == CREATE_LINK:
            self.instrument = asyncio.create_task(self.session(self.link), name="vxi-11 instrument")
            return struct.pack("!iiII", 0, 1, 0, LARGEST)
        if procedure == WRITE:
            data = _taken(arguments[16:])
            self.link.incoming.feed_data(data + (b"" if data.endswith(b"\n") else b"\n"))
            return struct.pack("!iI", 0, len(data))
        if procedure == READ:
            return await self._read(struct.unpack_from("!I", arguments, 8)[0] / 1000.0)
        if procedure == STATUS:
            return struct.pack("!iI", 0, 0)
        if procedure == CLEAR:
            self.link.said = asyncio.Queue()
            self.link.incoming.feed_data(b"\x03")
        return struct.pack("!i", 0 if procedure in (CLEAR, DESTROY_LINK) else NOT_SUPPORTED)

    async def _read(self, patience_s: float) -> bytes:
        try:
            data = await asyncio.wait_for(self.link.said.get(), patience_s)
        except TimeoutError:
            return struct.pack("!ii", TIMED_OUT, 0) + _opaque(b"")
        return struct.pack("!ii", 0, END) + _opaque(data)


@contextlib.asynccontextmanager
async def on_vxi11(session: Session, trouble: LineTrouble | None = None) -> AsyncIterator[str]:
    """Serve sessions and give the address of the resource.

    Raises:
        PermissionError: this process may not listen on port 111.
    """
    open_tasks: set[asyncio.Task[None]] = set()
    names = itertools.count(1)

    async def attended(reader: asyncio.StreamReader, writer: asyncio.StreamWriter) -> None:
        task = asyncio.current_task()
        assert task is not None
        task.set_name(f"vxi-11 {next(names)}")
        open_tasks.add(task)
        core = Core(session, Link(trouble or LineTrouble()))
        try:
            await calls(reader, writer, core.answer)
        except (ConnectionError, asyncio.IncompleteReadError, struct.error, asyncio.CancelledError):
            pass  # the caller hung up, talks something else, or the bench closes
        finally:
            if core.instrument is not None:
                core.instrument.cancel()
                await asyncio.gather(core.instrument, return_exceptions=True)
            open_tasks.discard(task)
            writer.close()

    server = await asyncio.start_server(attended, HOST, 0)
    port = server.sockets[0].getsockname()[1]

    async def mapped(program: int, procedure: int, arguments: bytes) -> bytes:
        wanted = struct.unpack_from("!I", arguments)[0] if len(arguments) >= 4 else 0
        known = program == PORTMAPPER and procedure == GET_PORT and wanted == CORE
        return struct.pack("!I", port if known else 0)

    async def asked(reader: asyncio.StreamReader, writer: asyncio.StreamWriter) -> None:
        with contextlib.suppress(ConnectionError, asyncio.IncompleteReadError, struct.error):
            await calls(reader, writer, mapped)
        writer.close()

    try:
        mapper = await asyncio.start_server(asked, HOST, PORT)
        try:
            yield f"visa:TCPIP0::{HOST}::inst0::INSTR"
        finally:
            mapper.close()
    finally:
        server.close()
        for task in list(open_tasks):
            task.cancel()
        await asyncio.gather(*open_tasks, return_exceptions=True)
