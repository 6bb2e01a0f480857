"""A barcode scanner on a serial line, a socket, or as a keyboard of its own. Yields scans, not readings.

A scanner in keyboard mode types into whatever window has the focus. Reading its event device instead, and
grabbing it, keeps its codes to ourselves (Linux only). Keys are taken as on a US keyboard, which scanners
send unless set otherwise. Not for a keyboard that people type on.

Sources: symbology identifiers from ISO/IEC 15424 (a `]`, a letter, a modifier); GS1 element strings separated
by GS (1Dh) from the GS1 General Specifications; `struct input_event` and key numbers from the kernel's
`linux/input.h` and `input-event-codes.h`. The line's own symbol check is done by the scanner.
"""

from __future__ import annotations

import asyncio
import contextlib
import os
import re
import struct
from collections.abc import AsyncIterator
from dataclasses import dataclass
from types import TracebackType
from typing import Annotated, ClassVar, Protocol, Self

from pydantic import BaseModel, ConfigDict, Field, field_validator

from drivers.errors import AddressInvalid, LinkLost, LinkTimeout, LinkUnavailable
from drivers.link.framing import LineFramer
from drivers.link.opening import channel_for
from drivers.meter import ClockPair
from system.devices import open_grabbed, why_no_permission
from system.incoming import when_ready

_SYMBOLOGY = re.compile(r"^\][A-Za-z][0-9A-Za-z]")
GROUP_SEPARATOR = "\x1d"
LONGEST = 512
"""No label of a workshop is longer; a longer line is two codes glued together or noise."""


def parse_code(line: bytes, pattern: re.Pattern[str] | None = None) -> str:
    """The code in one line of a scanner, without the line's end and its symbology identifier.

    Args:
        line: what came.
        pattern: what a code of this job looks like as a whole; None takes any.

    Returns:
        Nothing for an empty read.

    Raises:
        ValueError: unreadable characters, too long, or not of the job's pattern (two codes glued together).
    """
    try:
        text = line.strip(b"\x02\x03\r\n").decode("utf-8").strip(" ")
    except UnicodeDecodeError as error:
        raise ValueError(f"{line!r} is not text") from error
    text = _SYMBOLOGY.sub("", text, count=1)
    if not text:
        return ""
    if len(text) > LONGEST:
        raise ValueError(f"a code of {len(text)} characters is too long")
    if any(not (char.isprintable() or char == GROUP_SEPARATOR) for char in text):
        raise ValueError(f"{text!r} has unprintable characters")
    if pattern is not None and pattern.fullmatch(text) is None:
        raise ValueError(f"{text!r} does not look like a code of this job")
    return text


_EVENT = struct.Struct("@llHHi")  # two words of time, type, code, value
EVENT_BYTES = _EVENT.size
_KEY_TYPE = 1
_PRESS = 1
_SHIFTS = frozenset({42, 54})
_ENTER = frozenset({28, 96})
_TAB = 15
_PLAIN = {
    **dict(zip(range(2, 14), "1234567890-=", strict=True)),
    **dict(zip(range(16, 28), "qwertyuiop[]", strict=True)),
    **dict(zip(range(30, 42), "asdfghjkl;'`", strict=True)),
    **dict(zip(range(43, 54), "\\zxcvbnm,./", strict=True)),
    57: " ",
}
_SHIFTED = {
    **dict(zip(range(2, 14), "!@#$%^&*()_+", strict=True)),
    **dict(zip(range(16, 28), "QWERTYUIOP{}", strict=True)),
    **dict(zip(range(30, 42), 'ASDFGHJKL:"~', strict=True)),
    **dict(zip(range(43, 54), "|ZXCVBNM<>?", strict=True)),
    57: " ",
}


class KeyText:
    """Turns key events into text; ENTER becomes a line end."""

    def __init__(self) -> None:
        self._part = b""
        self._shifts: set[int] = set()

    def feed(self, data: bytes) -> bytes:
        """Take bytes of the event device; give the text they type."""
        self._part += data
        typed = []
        whole = len(self._part) - len(self._part) % EVENT_BYTES
        for _, _, kind, code, value in _EVENT.iter_unpack(self._part[:whole]):
            if kind == _KEY_TYPE:
                typed.append(self._key(code, value))
        self._part = self._part[whole:]
        return "".join(typed).encode("ascii")

    def _key(self, code: int, value: int) -> str:
        if code in _SHIFTS:
            (self._shifts.discard if value == 0 else self._shifts.add)(code)
            return ""
        if value != _PRESS:
            return ""
        if code in _ENTER or code == _TAB:
            return "\n"
        return (_SHIFTED if self._shifts else _PLAIN).get(code, "")


_READ_S = 3600.0
_ENDS = b"\r\n\x03"  # the usual suffixes, and ETX


class ScannerOptions(BaseModel):
    """How one scanner is read.

    Attributes:
        pattern: regular expression that a whole code of this job matches; None takes any. It refuses two
            codes that were glued together because the scanner sends no suffix.
        same_again_s: the same code within this time is the same scan; seconds.
    """

    model_config = ConfigDict(frozen=True, extra="forbid", defer_build=True)

    pattern: str | None = None
    same_again_s: Annotated[float, Field(ge=0, le=60)] = 1.5

    @field_validator("pattern")
    @classmethod
    def _is_a_pattern(cls, text: str | None) -> str | None:
        if text is not None:
            try:
                re.compile(text)
            except re.error as error:
                raise ValueError(f"is not a regular expression: {error}") from error
        return text


@dataclass(frozen=True, slots=True)
class Scan:
    """One scan.

    Attributes:
        code: what was read; empty if it was refused.
        refused: why it was refused; empty if it was not.
    """

    code: str
    refused: str = ""


class _Source(Protocol):
    async def open(self) -> None: ...
    async def read_some(self, deadline_s: float) -> bytes: ...
    async def close(self) -> None: ...


class _EventDevice:
    """The event device of a keyboard, grabbed so that no window gets its keys."""

    def __init__(self, address: str, path: str) -> None:
        self._address = address
        self._path = path
        self._descriptor = -1
        self._keys = KeyText()

    async def open(self) -> None:
        await self.close()
        self._keys = KeyText()
        try:
            self._descriptor = open_grabbed(self._path)
        except PermissionError as error:
            raise LinkUnavailable(
                "you may not open this device", port=self._address, hint=why_no_permission(self._path)
            ) from error
        except OSError as error:
            reason = error.strerror or str(error)
            raise LinkUnavailable(f"it cannot be opened ({reason})", port=self._address) from error

    async def read_some(self, deadline_s: float) -> bytes:
        try:
            async with asyncio.timeout(deadline_s):
                data = await when_ready(self._descriptor)
        except TimeoutError as error:
            raise LinkTimeout("no key", port=self._address) from error
        if not data:
            raise LinkLost("the scanner was unplugged", port=self._address)
        return self._keys.feed(data)

    async def close(self) -> None:
        if self._descriptor >= 0:
            with contextlib.suppress(OSError):
                os.close(self._descriptor)
            self._descriptor = -1


def _source(address: str) -> _Source:
    scheme, _, path = address.partition(":")
    if scheme != "keyboard":
        return channel_for(address)
    if not path:
        raise AddressInvalid(
            f"{address!r} names no device",
            port=address,
            hint="Write it as keyboard:/dev/input/by-id/NAME-event-kbd.",
        )
    return _EventDevice(address, path)


class Scanner:
    """A scanner on an open link; may be entered again after a broken one."""

    Options: ClassVar[type[ScannerOptions]] = ScannerOptions

    def __init__(
        self, *, scanner_id: str, address: str, clock: ClockPair, options: ScannerOptions | None = None
    ) -> None:
        """Make a scanner; opens nothing.

        Args:
            scanner_id: its name in the bench file.
            address: `serial:...`, `tcp:...` or `keyboard:/dev/input/by-id/...`.
            clock: gives (monotonic seconds, UTC seconds).
            options: see `ScannerOptions`.

        Raises:
            AddressInvalid: the address cannot be understood.
        """
        self.scanner_id = scanner_id
        self._options = options or ScannerOptions()
        self._pattern = re.compile(self._options.pattern) if self._options.pattern else None
        self._clock = clock
        self._source = _source(address)
        self._framer = LineFramer(_ENDS)
        self._last = ("", float("-inf"))

    async def __aenter__(self) -> Self:
        """Open the link. Raises: LinkUnavailable."""
        self._framer.reset()
        await self._source.open()
        return self

    async def __aexit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        """Close the link."""
        await self._source.close()

    async def scans(self) -> AsyncIterator[Scan]:
        """Yield scans; a scanner may rest for hours, so silence is no error. Raises: LinkLost."""
        while True:
            try:
                data = await self._source.read_some(_READ_S)
            except LinkTimeout:
                continue
            for line in self._framer.feed(data):
                scan = self._scan_of(line)
                if scan is not None:
                    yield scan

    def _scan_of(self, line: bytes) -> Scan | None:
        try:
            code = parse_code(line, self._pattern)
        except ValueError as error:
            return Scan("", str(error))
        now_s, _ = self._clock()
        before, at_s = self._last
        if not code:
            return None
        self._last = (code, now_s)
        same_again = code == before and now_s - at_s < self._options.same_again_s
        return None if same_again else Scan(code)
