"""Sans-I/O framers: bytes in as they come, whole frames out. Not for what a frame means.

Every framer keeps a bounded buffer, so that a stream of rubbish cannot grow it, and counts what it threw
away.
"""

from __future__ import annotations

from typing import Protocol

MAX_LINE_BYTES = 1024
"""Longest line any supported instrument sends is far shorter; workshop choice."""


class Framer(Protocol):
    """Cuts a stream of bytes into frames."""

    thrown_bytes: int

    def feed(self, data: bytes) -> list[bytes]:
        """Take bytes; give the frames they complete."""
        ...

    def reset(self) -> None:
        """Forget half a frame, after the link was drained or opened again."""
        ...


class LineFramer:
    """Lines that end in one of some terminators; the terminator is cut off, empty lines are dropped.

    Args:
        ends: the bytes that end a line; each one alone is enough (so CR LF gives no empty line).
        joins_midway: True drops everything up to the first end, since a stream is always joined in the middle
            of a line and half a number is a number, too.
    """

    def __init__(self, ends: bytes = b"\r\n", *, joins_midway: bool = False) -> None:
        self._ends = ends
        self._joins_midway = joins_midway
        self._part = bytearray()
        self._skipping = joins_midway
        self.thrown_bytes = 0

    def feed(self, data: bytes) -> list[bytes]:
        """Take bytes; give the lines they complete."""
        lines = []
        for byte in data:
            if byte in self._ends:
                if self._part and not self._skipping:
                    lines.append(bytes(self._part))
                self.thrown_bytes += len(self._part) if self._skipping else 0
                self._part.clear()
                self._skipping = False
            elif len(self._part) < MAX_LINE_BYTES:
                self._part.append(byte)
            else:  # no line is that long: lose it all, up to its end
                self.thrown_bytes += len(self._part) + 1
                self._part.clear()
                self._skipping = True
        return lines

    def reset(self) -> None:
        """Forget half a line."""
        self.thrown_bytes += len(self._part)
        self._part.clear()
        self._skipping = self._joins_midway
