"""A barcode scanner on a serial line, a socket, or as a keyboard of its own. Yields scans, not readings."""

from __future__ import annotations

import asyncio
import contextlib
import os
import re
from collections.abc import AsyncIterator
from dataclasses import dataclass
from types import TracebackType
from typing import Annotated, Protocol, Self

from pydantic import BaseModel, ConfigDict, Field, field_validator

from drivers.errors import AddressInvalid, LinkLost, LinkTimeout, LinkUnavailable
from drivers.link.framing import LineFramer
from drivers.link.opening import channel_for
from drivers.meter import ClockPair
from drivers.scanner.codes import Code, parse_code
from drivers.scanner.keyboard import KeyText
from system.devices import open_grabbed, why_no_permission
from system.incoming import when_ready

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
        scanner_id: name of the scanner in the bench file.
        code: what was read; None if it was refused.
        refused: why it was refused; empty if it was not.
        monotonic_s: when, seconds.
        utc_s: the same instant, seconds since 1970.
        raw: the bytes.
    """

    scanner_id: str
    code: Code | None
    refused: str
    monotonic_s: float
    utc_s: float
    raw: bytes


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
        monotonic_s, utc_s = self._clock()
        try:
            code = parse_code(line, self._pattern)
        except ValueError as error:
            return Scan(self.scanner_id, None, str(error), monotonic_s, utc_s, line)
        if code is None:
            return None
        text, at_s = self._last
        self._last = (code.text, monotonic_s)
        if code.text == text and monotonic_s - at_s < self._options.same_again_s:
            return None
        return Scan(self.scanner_id, code, "", monotonic_s, utc_s, line)
