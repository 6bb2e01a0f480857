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
from acquire.records import Command, Event, Notice, StartUnit, Weight
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
            text = f"That scan is not taken: {scan.refused}. Scan it again."
            await self._say(Weight.WARNING, "scanner.refused", text)
            return
        self.scans += 1
        await self.obey(StartUnit(scan.code.text))

    async def _opened(self) -> None:
        if self._told is not None:
            self._told = None
            await self._say(Weight.REMARK, "scanner.back", "The scanner is back.")

    async def _broken(self, error: MeterError) -> None:
        """Say once what is wrong; a bench without a scanner goes on by the keyboard."""
        kind = type(error)
        follows = self._told is LinkLost and kind in (LinkUnavailable, LinkTimeout)  # the same outage
        if kind is self._told or follows:
            return
        self._told = kind
        text = f"The scanner gives no codes: {error} Serials can be typed meanwhile."
        await self._say(Weight.WARNING, "scanner.lost", text)

    async def _say(self, weight: Weight, code: str, text: str) -> None:
        await self.tell(Notice(weight, code, text, self.clock.utc_s()))
