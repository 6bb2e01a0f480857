"""A channel that writes down another channel's bytes with their times, and one that plays such a record back.

The record is lines of JSON: `{"t_s": 1.25, "way": "in", "hex": "30 31 0d"}`; `t_s` counts from the opening.
Not for journals: this is raw bytes, for bug reports and tests.
"""

from __future__ import annotations

import asyncio
import json
from collections.abc import Callable, Iterable
from dataclasses import dataclass
from typing import Protocol

from drivers.errors import LinkLost, LinkTimeout
from drivers.link.channel import Channel, drain_until_quiet


class LineSink(Protocol):
    """Where record lines go: an open text file will do."""

    def write(self, text: str, /) -> object:
        """Take one line."""
        ...


@dataclass(frozen=True, slots=True)
class Chunk:
    """Bytes that went one way at one time.

    Attributes:
        t_s: seconds since the link was opened, >= 0.
        way: "in" from the meter, "out" to it.
        data: the bytes.
    """

    t_s: float
    way: str
    data: bytes


def to_line(chunk: Chunk) -> str:
    """Write a chunk as one line of JSON, newline included."""
    return json.dumps({"t_s": round(chunk.t_s, 6), "way": chunk.way, "hex": chunk.data.hex(" ")}) + "\n"


def from_lines(lines: Iterable[str]) -> list[Chunk]:
    """Read a record.

    Raises:
        ValueError: a line is not of a record; says which.
    """
    chunks = []
    for number, line in enumerate(lines, 1):
        if not line.strip():
            continue
        try:
            fields = json.loads(line)
            way = fields["way"]
            chunk = Chunk(float(fields["t_s"]), way, bytes.fromhex(fields["hex"]))
        except (ValueError, KeyError, TypeError) as error:
            raise ValueError(f"line {number} of the record is not a chunk: {line.strip()[:60]!r}") from error
        if way not in {"in", "out"}:
            raise ValueError(f"line {number} of the record goes {way!r}, not 'in' or 'out'")
        chunks.append(chunk)
    return chunks


class RecordingChannel:
    """Passes everything through to `inner` and writes it down."""

    def __init__(self, inner: Channel, sink: LineSink, monotonic_s: Callable[[], float]) -> None:
        self.address = inner.address
        self._inner = inner
        self._sink = sink
        self._now = monotonic_s
        self._start_s = 0.0

    def _note(self, way: str, data: bytes) -> None:
        if data:
            self._sink.write(to_line(Chunk(self._now() - self._start_s, way, data)))

    async def open(self) -> None:
        """Open the inner channel; times count from here. Raises: LinkUnavailable."""
        await self._inner.open()
        self._start_s = self._now()

    async def read_some(self, deadline_s: float) -> bytes:
        """Read and note. Raises: LinkTimeout, LinkLost."""
        data = await self._inner.read_some(deadline_s)
        self._note("in", data)
        return data

    async def write(self, data: bytes, deadline_s: float) -> None:
        """Note and write. Raises: LinkTimeout, LinkLost."""
        self._note("out", data)
        await self._inner.write(data, deadline_s)

    async def drain(self, quiet_s: float) -> bytes:
        """Drain and note. Raises: LinkLost, LinkTimeout."""
        data = await self._inner.drain(quiet_s)
        self._note("in", data)
        return data

    async def close(self) -> None:
        """Close the inner channel."""
        await self._inner.close()


class PlaybackChannel:
    """Gives the "in" chunks of a record again.

    Args:
        chunks: the record.
        pace: 1 plays in real time, 0 as fast as it is read.

    What is written is kept in `written` and otherwise ignored; when the record is over, `LinkLost`.
    """

    def __init__(self, chunks: Iterable[Chunk], *, address: str = "recorded:", pace: float = 0.0) -> None:
        self.address = address
        self.written: list[bytes] = []
        self._all = [chunk for chunk in chunks if chunk.way == "in"]
        self._next = 0
        self._pace = pace
        self._opened_s = 0.0

    async def open(self) -> None:
        """Wind back to the start."""
        self._next = 0
        self._opened_s = asyncio.get_running_loop().time()

    async def read_some(self, deadline_s: float) -> bytes:
        """Give the next chunk when its time has come. Raises: LinkTimeout, LinkLost (over)."""
        if self._next >= len(self._all):
            raise LinkLost("the record is over", port=self.address)
        chunk = self._all[self._next]
        wait_s = self._opened_s + chunk.t_s * self._pace - asyncio.get_running_loop().time()
        if wait_s > deadline_s:
            await asyncio.sleep(deadline_s)
            raise LinkTimeout(f"silent for {deadline_s:g} s", port=self.address)
        await asyncio.sleep(max(0.0, wait_s) if self._pace else 0.0)
        self._next += 1
        return chunk.data

    async def write(self, data: bytes, deadline_s: float) -> None:  # noqa: ARG002 - the protocol's shape
        """Keep what was said."""
        self.written.append(data)

    async def drain(self, quiet_s: float) -> bytes:
        """Skip what is due already."""
        if not self._pace or self._next >= len(self._all):
            return b""
        return await drain_until_quiet(self, quiet_s)

    async def close(self) -> None:
        """Nothing to do."""
