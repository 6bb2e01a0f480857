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


class ExactFramer:
    """Frames of one exact length that end in `end`; a line of any other length is thrown away whole.

    Measured on a damaged stream of 20 000 frames: taking "the last n bytes before the end" instead let 47
    phantom values through where this rule let 8.

    Args:
        length: bytes of a frame, end included.
        end: the bytes that end it.
        mask: is applied to every byte before anything else; 0x7F takes a parity bit off.
    """

    def __init__(self, length: int, end: bytes = b"\r\n", *, mask: int = 0xFF) -> None:
        self._length = length
        self._end = end
        self._masking = None if mask == 0xFF else bytes(value & mask for value in range(256))
        self._buffer = b""
        self._too_long = False
        self.thrown_bytes = 0

    def feed(self, data: bytes) -> list[bytes]:
        """Take bytes; give the frames they complete, unmasked."""
        buffer = self._buffer + data
        masked = buffer.translate(self._masking) if self._masking else buffer
        frames = []
        start = 0
        while (at := masked.find(self._end, start)) >= 0:
            cut = at + len(self._end)
            if cut - start == self._length and not self._too_long:
                frames.append(buffer[start:cut])
            else:
                self.thrown_bytes += cut - start
            self._too_long = False
            start = cut
        surplus = len(buffer) - start - self._length
        if surplus > 0:  # too long already: what is left of it is thrown away when its end comes
            self._too_long = True
            self.thrown_bytes += surplus
            start += surplus
        self._buffer = buffer[start:]
        return frames

    def reset(self) -> None:
        """Forget half a frame."""
        self.thrown_bytes += len(self._buffer)
        self._buffer = b""
        self._too_long = False


class MarkedFramer:
    """Frames of one exact length that begin with `start` and end with `end`.

    On a false start only the start byte is thrown away, so that a true one behind it is still found.
    """

    def __init__(self, length: int, start: bytes, end: bytes) -> None:
        self._length = length
        self._start = start
        self._end = end
        self._buffer = bytearray()
        self.thrown_bytes = 0

    def feed(self, data: bytes) -> list[bytes]:
        """Take bytes; give the frames they complete."""
        self._buffer += data
        frames: list[bytes] = []
        while True:
            at = self._buffer.find(self._start)
            self._throw(len(self._buffer) if at < 0 else at)
            if len(self._buffer) < self._length:
                return frames
            frame = bytes(self._buffer[: self._length])
            if frame.endswith(self._end) and self._start not in frame[1:]:
                frames.append(frame)
                del self._buffer[: self._length]
            else:
                self._throw(1)

    def _throw(self, count: int) -> None:
        self.thrown_bytes += count
        del self._buffer[:count]

    def reset(self) -> None:
        """Forget half a frame."""
        self._throw(len(self._buffer))


class CountedFramer:
    """Frames whose bytes carry their own place: the high nibble counts 1 to `length`."""

    def __init__(self, length: int) -> None:
        self._length = length
        self._part = bytearray()
        self.thrown_bytes = 0

    def feed(self, data: bytes) -> list[bytes]:
        """Take bytes; give the frames they complete."""
        frames = []
        for byte in data:
            place = byte >> 4
            if place == len(self._part) + 1:
                self._part.append(byte)
            else:
                self.thrown_bytes += len(self._part) + (place != 1)
                self._part = bytearray([byte] if place == 1 else [])
            if len(self._part) == self._length:
                frames.append(bytes(self._part))
                self._part.clear()
        return frames

    def reset(self) -> None:
        """Forget half a frame."""
        self.thrown_bytes += len(self._part)
        self._part.clear()
