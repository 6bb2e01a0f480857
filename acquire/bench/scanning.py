"""Keeps a barcode scanner's codes flowing in: opens it, re-opens it with back-off, and says so once.

Each good code puts a unit on the bench. Not for what a code may look like (drivers.scanner) nor for serials
that are typed (keyboard).
"""

from __future__ import annotations

import asyncio
from collections.abc import Awaitable, Callable
from dataclasses import dataclass
from typing import TYPE_CHECKING

from acquire.bench.intake import FIRST_WAIT_S, LONGEST_WAIT_S
from acquire.clock import Clock
from acquire.records import Code, Command, Event, Fact, Notice, Severity, StartUnit
from drivers.errors import LinkLost, LinkTimeout, LinkUnavailable, MeterError

if TYPE_CHECKING:
    from drivers.scanner.scanner import Scan, Scanner


@dataclass(slots=True)
class ScannerFeed:
    """One scanner on its way in.

    Attributes:
        scanner: the driver.
        clock: for the time of notices.
        obey: carries a command out.
        tell: receives notices.
        name: for people.
        scans: how many good codes have come in since the start.
    """

    scanner: Scanner
    clock: Clock
    obey: Callable[[Command], Awaitable[list[Event]]]
    tell: Callable[[Notice], Awaitable[None]]
    name: str = "scanner"
    scans: int = 0
    _told: type[MeterError] | None = None
    _wait_s: float = FIRST_WAIT_S

    async def run(self) -> None:
        """Take scans for ever; ends only by cancellation."""
        while True:
            try:
                async with self.scanner:
                    await self._opened()
                    async for scan in self.scanner.scans():
                        await self._scanned(scan)
            except MeterError as error:
                await self._broken(error)
            await asyncio.sleep(self._wait_s)
            self._wait_s = min(2 * self._wait_s, LONGEST_WAIT_S)

    async def _scanned(self, scan: Scan) -> None:
        self._wait_s = FIRST_WAIT_S
        if scan.code is None:
            await self._say(Severity.WARNING, Code.SCANNER_REFUSED, cause=scan.refused)
            return
        self.scans += 1
        await self.obey(StartUnit(scan.code.text))

    async def _opened(self) -> None:
        if self._told is not None:
            self._told = None
            await self._say(Severity.REMARK, Code.SCANNER_BACK)

    async def _broken(self, error: MeterError) -> None:
        """Say once what is wrong; a bench without a scanner goes on by the keyboard."""
        kind = type(error)
        follows = self._told is LinkLost and kind in (LinkUnavailable, LinkTimeout)  # the same outage
        if kind is self._told or follows:
            return
        self._told = kind
        await self._say(Severity.WARNING, Code.SCANNER_LOST, cause=str(error))

    async def _say(self, weight: Severity, code: Code, **facts: Fact) -> None:
        await self.tell(Notice(weight, code, self.clock.utc_s(), facts=facts))
