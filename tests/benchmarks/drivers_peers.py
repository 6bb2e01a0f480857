"""Peers of the drivers: instruments scripted from the standards, on real sockets. For tests and benchmarks.

They share no code with the drivers.
"""

from __future__ import annotations

import asyncio
import contextlib
import os
import socket
import sys
import time
import tty
from collections.abc import Awaitable, Callable

IDN = "Plover Works,PW45,0017,1.02"


class Instrument:
    """A small SCPI meter on a loopback socket; its temper is set from outside."""

    def __init__(self) -> None:
        self.function, self.range = "VOLT", 10.0
        self.values = {"RES": 20.61, "FRES": 0.4123, "VOLT": 5.0}
        self.errors: list[str] = []
        self.log: list[str] = []
        self.late_s: list[float] = []  # delays of the next READ? answers
        self.drop_after: int | None = None
        self.knows_conf_query = True
        self.event_enable: int | None = 0  # None: it has no such register
        self.refused: set[str] = set()
        self.tasks: set[asyncio.Task] = set()
        self.server: asyncio.Server | None = None
        self.port = 0

    async def __aenter__(self):
        self.server = await asyncio.start_server(self._serve, "127.0.0.1", self.port)
        self.port = self.server.sockets[0].getsockname()[1]
        return self

    async def __aexit__(self, *_):
        self.server.close()
        for task in self.tasks:
            task.cancel()
        await asyncio.gather(*self.tasks, return_exceptions=True)

    @property
    def address(self):
        return f"tcp:127.0.0.1:{self.port}"

    async def _serve(self, reader, writer):
        self.tasks.add(asyncio.current_task())
        try:
            while line := await reader.readline():
                for answer in await self._answers(line.decode().strip()):
                    writer.write((answer + "\n").encode())
                if self.drop_after is not None and self.drop_after <= 0:
                    self.drop_after = None
                    break
        except (ConnectionError, asyncio.CancelledError):
            pass
        finally:
            writer.close()

    async def _answers(self, text):  # noqa: PLR0911 - one return per command
        self.log.append(text)
        head, _, rest = text.partition(" ")
        if text in self.refused:
            self.errors.append('-221,"Settings conflict"')
            return []
        if text == "*IDN?":
            return [IDN]
        if text == "*OPC?":
            return ["1"]
        if text == "SYST:ERR?":
            return [self.errors.pop(0) if self.errors else '+0,"No error"']
        if text == "CONF?" and self.knows_conf_query:
            return [f'"{self.function} {self.range:+.6E},{self.range * 1e-6:+.6E}"']
        if head.startswith("CONF:"):
            self.function = head[5:]
            if rest and float(rest) > 1e8:
                self.errors.append('-222,"Data out of range"')
            else:
                self.range = next((r for r in (1e2, 1e3, 1e4) if rest and float(rest) <= r), 1e9)
            return []
        if text == "READ?":
            return await self._read()
        if head in ("*ESE", "*ESE?") and self.event_enable is not None:
            self.event_enable = int(rest or self.event_enable)
            return [] if rest else [str(self.event_enable)]
        if head.endswith((":NPLC", ":OCOM")) and self.function in {"RES", "FRES"}:
            return []
        self.errors.append('-113,"Undefined header"')
        return []

    async def _read(self):
        if self.drop_after is not None:
            self.drop_after -= 1
            if self.drop_after <= 0:
                return []
        value = self.values[self.function]
        await asyncio.sleep(self.late_s.pop(0) if self.late_s else 0.002)
        return [f"{value:+.8E}"]


async def serve_scpi(conversion_s: float, port: int = 0) -> None:
    """Answer READ? after so many seconds, everything else at once; print the port."""

    async def serve(reader: asyncio.StreamReader, writer: asyncio.StreamWriter) -> None:
        writer.transport.get_extra_info("socket").setsockopt(socket.IPPROTO_TCP, socket.TCP_NODELAY, 1)
        answers = {b"*IDN?": IDN, b"*OPC?": "1", b"SYST:ERR?": '+0,"No error"'}
        answers[b"CONF?"] = '"RES +1.000000E+02,+1.000000E-04"'
        answers[b"READ?"] = "+2.06100000E+01"
        answers[b"FUNC:IMP?"] = "LSQ"
        answers[b"*TRG"] = "+1.52340E-02,+3.41200E+00,+0"
        while line := await reader.readline():
            text = line.strip()
            if text in (b"READ?", b"*TRG") and conversion_s:
                await asyncio.sleep(conversion_s)
            if text in answers:
                writer.write((answers[text] + "\n").encode())
        writer.close()

    await _serve_for_ever(serve, port)


async def serve_lines(rate_hz: float) -> None:
    """Send the system's monotonic time as so many ohms, `rate_hz` times a second, to each who connects."""

    async def serve(_: asyncio.StreamReader, writer: asyncio.StreamWriter) -> None:
        due_s = time.monotonic()
        try:
            while True:
                writer.write(b"%.6f ohm\n" % time.monotonic())
                await writer.drain()
                due_s += 1 / rate_hz
                await asyncio.sleep(max(0.0, due_s - time.monotonic()))
        except ConnectionError:
            writer.close()

    await _serve_for_ever(serve)


async def serve_registers(conversion_s: float) -> None:
    """Answer each Modbus TCP question with two registers, 100.0 as a float; print the port."""

    async def serve(reader: asyncio.StreamReader, writer: asyncio.StreamWriter) -> None:
        writer.transport.get_extra_info("socket").setsockopt(socket.IPPROTO_TCP, socket.TCP_NODELAY, 1)
        with contextlib.suppress(asyncio.IncompleteReadError, ConnectionError):
            while True:
                question = await reader.readexactly(12)
                if conversion_s:
                    await asyncio.sleep(conversion_s)
                writer.write(question[:2] + bytes.fromhex("0000 0007 01 03 04 42c80000"))
        writer.close()

    await _serve_for_ever(serve)


async def _serve_for_ever(serve: Callable[..., Awaitable[None]], port: int = 0) -> None:
    server = await asyncio.start_server(serve, "127.0.0.1", port)
    print(server.sockets[0].getsockname()[1], flush=True)
    await server.serve_forever()


def feed_pty(frame: bytes, rate_hz: float) -> None:
    """Send a frame over a pty, `rate_hz` times a second or as fast as it is taken (0); print its path."""
    master, slave = os.openpty()
    tty.setraw(slave)
    print(os.ttyname(slave), flush=True)
    due_s = time.monotonic()
    while True:
        os.write(master, frame)
        if rate_hz:
            due_s += 1 / rate_hz
            time.sleep(max(0.0, due_s - time.monotonic()))


def answer_on_pty(question: bytes, answer: bytes, conversion_s: float) -> None:
    """Answer each question that comes over a pty; print its path."""
    master, slave = os.openpty()
    tty.setraw(slave)
    print(os.ttyname(slave), flush=True)
    heard = b""
    while True:
        heard += os.read(master, 4096)
        while question in heard:
            heard = heard.partition(question)[2]
            if conversion_s:
                time.sleep(conversion_s)
            os.write(master, answer)


if __name__ == "__main__":
    what, *given = sys.argv[1:]
    if what == "scpi":
        asyncio.run(serve_scpi(float(given[0]), *map(int, given[1:])))
    elif what == "lines":
        asyncio.run(serve_lines(float(given[0])))
    elif what == "registers":
        asyncio.run(serve_registers(float(given[0])))
    elif what == "answering":
        answer_on_pty(bytes.fromhex(given[0]), bytes.fromhex(given[1]), float(given[2]))
    else:
        feed_pty(bytes.fromhex(given[0]), float(given[1]))
