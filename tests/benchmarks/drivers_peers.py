"""Peers of the drivers: instruments scripted from the standards, on real sockets. For tests and benchmarks.

They share no code with the drivers.
"""

from __future__ import annotations

import asyncio

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
