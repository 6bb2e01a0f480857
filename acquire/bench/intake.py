"""Makes the instruments that a bench file names, and keeps their readings and a scanner's codes flowing in.

Each is opened, re-opened with back-off, and what is wrong with it is said once. Not for what readings mean
(pipeline), nor for bytes and codes (drivers).
"""

from __future__ import annotations

import asyncio
from collections.abc import Awaitable, Callable
from contextlib import AbstractAsyncContextManager
from dataclasses import dataclass, field
from typing import TYPE_CHECKING

from acquire.bench.doubts import DisplayDoubts
from acquire.clock import Clock
from acquire.files.bench_tables import TemperatureSource
from acquire.files.settings import Bench
from acquire.records import Code, Command, Event, Fact, Notice, Severity, StartUnit
from acquire.steps.setup_choice import Wanted
from drivers.errors import LinkLost, LinkTimeout, LinkUnavailable, MeterError, MeterRefused
from drivers.meter import ClockPair, Confirming, Meter, Setup, Unread, untold
from drivers.reading import Reading
from drivers.registry import open_device, open_meter

if TYPE_CHECKING:
    from drivers.scanner.scanner import Scan, Scanner

FIRST_WAIT_S = 0.3
LONGEST_WAIT_S = 5.0
"""Back-off between attempts to open a link doubles from the first to the longest. Workshop choice: who plugs
the cable back in should not wait longer than that."""


class Source:
    """Something on a link, read for ever; says once what is wrong with it, and that it is back."""

    name: str
    clock: Clock
    tell: Callable[[Notice], Awaitable[None]]
    _told: type[MeterError] | None
    _wait_s: float

    @property
    def _device(self) -> AbstractAsyncContextManager[object]:
        raise NotImplementedError

    async def _read(self) -> None:
        raise NotImplementedError

    async def run(self) -> None:
        """Read for ever; ends only by cancellation."""
        while True:
            try:
                async with self._device:
                    await self._read()
            except MeterError as error:
                await self._broken(error)
            else:
                await self._broken(LinkTimeout("the instrument has stopped sending"))
            await asyncio.sleep(self._wait_s)
            self._wait_s = min(2 * self._wait_s, LONGEST_WAIT_S)

    async def _back(self) -> None:
        if self._told:
            self._told = None
            await self._say(Severity.INFO, "back")

    def _gone(self) -> None:
        """Nothing of what came before the break counts any more; mostly there is nothing to do."""

    async def _broken(self, error: MeterError) -> None:
        """Say once what is wrong; stay quiet while it stays the same."""
        self._gone()
        kind = type(error)
        follows = self._told is LinkLost and kind in (LinkUnavailable, LinkTimeout)  # the same outage
        if kind is self._told or follows:
            return
        self._told = kind
        # without a thermometer nothing stops before its last temperature is too old; serials can be typed
        stops = self._code not in ("thermometer", "scanner")
        await self._say(Severity.STOP if stops else Severity.WARNING, "lost", cause=str(error))

    async def _say(self, severity: Severity, what: str, **facts: Fact) -> None:
        await self.tell(Notice(severity, Code(f"{self._code}.{what}"), self.clock.utc_s(), facts=facts))

    @property
    def _code(self) -> str:
        return self.name.split()[0]  # two thermometers are told of by the same codes


@dataclass(slots=True)
class Feed(Source):
    """One instrument on its way in.

    Attributes:
        name: "meter", "thermometer" or "thermometer 2"; codes of its notices begin with its first word.
        meter: the driver.
        clock: for the time of notices.
        take: receives every reading.
        tell: receives notices about the link.
        lost: called when the link breaks, so that nothing half settled survives it.
        wanted: what the present step wants of the meter; None for an instrument that is not set.
        integration_plc: integration time for each set-up, power line cycles; None keeps the meter's own.
        offset_compensation: whether offset-compensated ohms are wanted where the meter has them.
        doubts: watches a display that is set by hand; None where nobody needs to.
        unread: told of bytes that are no reading, and why.
        set_anew: told how long a conversion takes by the settings in force, None where nobody knows.
        ripe: whether a reading may bring a value to rest; then a meter that can is asked what it is set to.
        readings: how many have come in since the start.
    """

    name: str
    meter: Meter
    clock: Clock
    take: Callable[[Reading], Awaitable[None]]
    tell: Callable[[Notice], Awaitable[None]]
    lost: Callable[[], None] = lambda: None
    wanted: Callable[[], Wanted] | None = None
    integration_plc: float | None = None
    offset_compensation: bool = False
    doubts: DisplayDoubts | None = None
    unread: Unread = untold
    set_anew: Callable[[float | None], None] = lambda _conversion_s: None
    ripe: Callable[[Reading], bool] = lambda _reading: False
    readings: int = 0
    connected: bool = False
    _set: Setup | None = None
    _told: type[MeterError] | None = None
    _wait_s: float = field(default=FIRST_WAIT_S)

    @property
    def _device(self) -> Meter:
        self.meter.unread = self.unread
        return self.meter

    async def _read(self) -> None:
        self._set = None
        await self._set_up()
        async for reading in self.meter.readings():
            if not self.connected:
                await self._connected()
            self.readings += 1
            await self._doubt(reading)
            if isinstance(self.meter, Confirming) and self.ripe(reading):
                await self.meter.confirm()
            await self.take(reading)
            await self._set_up()

    async def _set_up(self) -> None:
        """Set function and range when the step wants another; tell what must be turned by hand."""
        if self.wanted is None:
            return
        wanted = self.wanted()
        setup = Setup(wanted.quantity, wanted.expected_ohm, self.integration_plc, self.offset_compensation)
        if setup == self._set:
            return
        self._set = setup
        try:
            held = await self.meter.configure(setup)
        except MeterRefused as error:
            await self._say(Severity.STOP, "refused", cause=str(error))
            return
        self.set_anew(held.conversion_s)
        for sentence in held.please_turn:
            await self._say(Severity.WARNING, "turn", turn=sentence)

    async def _doubt(self, reading: Reading) -> None:
        """Tell doubts before the reading can settle."""
        if self.doubts is not None and self.wanted is not None:
            for notice in self.doubts.notices(reading, self.wanted()):
                await self.tell(notice)

    async def _connected(self) -> None:
        self.connected, self._wait_s = True, FIRST_WAIT_S
        await self._back()

    def _gone(self) -> None:
        self.connected = False
        self.lost()


@dataclass(slots=True)
class ScannerFeed(Source):
    """One scanner on its way in; each good code puts a unit on the bench.

    Attributes:
        scanner: the driver.
        clock: for the time of notices.
        obey: carries a command out.
        tell: receives notices.
        name: for people; codes of its notices begin with it.
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

    @property
    def _device(self) -> Scanner:
        return self.scanner

    async def _read(self) -> None:
        await self._back()
        async for scan in self.scanner.scans():
            await self._scanned(scan)

    async def _scanned(self, scan: Scan) -> None:
        self._wait_s = FIRST_WAIT_S
        if scan.code is None:
            await self._say(Severity.WARNING, "refused", cause=scan.refused)
        else:
            self.scans += 1
            await self.obey(StartUnit(scan.code.text))


def clock_pair(clock: Clock) -> ClockPair:
    """A bench's clock as drivers take it: monotonic and UTC seconds at one call."""
    return lambda: (clock.monotonic_s(), clock.utc_s())


def ohmmeter(bench: Bench, clock: Clock) -> Meter:
    """The meter of `[meter]`."""
    named = bench.meter
    return open_meter(
        named.driver, meter_id=named.id, address=named.link, clock=clock_pair(clock), options=named.options
    )


def thermometers(bench: Bench, clock: Clock) -> dict[str, Meter]:
    """Those of `[temperature]` by the names of their feeds; none where temperatures are typed."""
    air = bench.temperature
    if air.source is not TemperatureSource.METER or air.link is None:
        return {}
    named = {"thermometer": (air.driver, air.id, air.link, air.options)}
    if (second := air.second) is not None:
        named["thermometer 2"] = (second.driver, second.id, second.link, second.options)
    return {
        feed: open_meter(driver, meter_id=id_, address=link, clock=clock_pair(clock), options=options)
        for feed, (driver, id_, link, options) in named.items()
    }


def scanner(bench: Bench, clock: Clock) -> Scanner | None:
    """The scanner of `[scanner]`; None where serials are typed."""
    named = bench.scanner
    if named is None:
        return None
    made: Scanner = open_device(
        "scanner", scanner_id=named.id, address=named.link, clock=clock_pair(clock), options=named.options
    )
    return made
