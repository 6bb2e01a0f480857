"""Makes the instruments that a bench file names, and keeps their readings and a scanner's codes flowing in.

Each is opened, re-opened with back-off, and what is wrong with it is said once. Not for what readings mean
(pipeline), nor for bytes and codes (drivers).
"""

from __future__ import annotations

import asyncio
from collections.abc import Awaitable, Callable
from dataclasses import dataclass, field
from functools import partial
from typing import TYPE_CHECKING, Any, Protocol

from acquire.bench.doubts import DisplayDoubts
from acquire.clock import Clock
from acquire.files.bench_tables import TemperatureSource
from acquire.files.settings import Bench
from acquire.heart.standstill import BytesUnread, MeterSaid, MeterSet
from acquire.records import Code, Fact, Notice, Severity, StartUnit
from acquire.settle import SettleFilter
from acquire.steps.setup_choice import Wanted
from drivers.errors import LinkLost, LinkTimeout, LinkUnavailable, MeterError, MeterRefused
from drivers.meter import ClockPair, Confirming, Meter, Setup, Unread, untold
from drivers.models import MeterModel
from drivers.reading import Reading
from drivers.registry import open_device, open_meter

if TYPE_CHECKING:
    from drivers.scanner.scanner import Scan, Scanner

FIRST_WAIT_S = 0.3
LONGEST_WAIT_S = 5.0
"""Back-off between attempts to open a link doubles from the first to the longest. Workshop choice: who plugs
the cable back in should not wait longer than that."""


@dataclass(slots=True)
class Source:
    """Something on a link, read for ever; says once what is wrong with it, and that it is back.

    Attributes:
        name: "meter", "thermometer", "thermometer 2" or "scanner"; codes of its notices begin with its first
            word.
        device: the driver.
        clock: for the time of notices.
        take: receives every reading, or carries a command out.
        tell: receives notices about the link.
        came: how many readings, or good codes, have come in since the start.
    """

    name: str
    device: Any
    clock: Clock
    take: Callable[[Any], Awaitable[Any]]
    tell: Callable[[Notice], Awaitable[None]]
    came: int = field(default=0, kw_only=True)
    _told: type[MeterError] | None = field(default=None, kw_only=True)
    _wait_s: float = field(default=FIRST_WAIT_S, kw_only=True)

    async def _read(self) -> None:
        raise NotImplementedError

    async def run(self) -> None:
        """Read for ever; ends only by cancellation."""
        while True:
            try:
                async with self.device:
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


class Heart(Protocol):
    """What the instruments' feeds ask and tell of whatever works with the readings."""

    meter: MeterModel
    settling: SettleFilter

    @property
    def wanted(self) -> Wanted:
        """What the meter should be set to now."""

    def told_of_meter(self, said: MeterSaid) -> None:
        """Take what the ohms meter's driver says beside readings."""


@dataclass(slots=True)
class Feed(Source):
    """One instrument on its way in.

    Attributes:
        lost: called when the link breaks, so that nothing half settled survives it.
        wanted: what the present step wants of the meter; None for an instrument that is not set.
        integration_plc: integration time for each set-up, power line cycles; None keeps the meter's own.
        offset_compensation: whether offset-compensated ohms are wanted where the meter has them.
        unread: told of bytes that are no reading, and why.
        heart: gives what judges by its readings; None where nobody does.
    """

    lost: Callable[[], None] = lambda: None
    wanted: Callable[[], Wanted] | None = None
    integration_plc: float | None = None
    offset_compensation: bool = False
    unread: Unread = untold
    heart: Callable[[], Heart] | None = None
    connected: bool = False
    _doubts: DisplayDoubts = field(default_factory=DisplayDoubts)
    _set: Setup | None = None

    async def _read(self) -> None:
        self._set, self.device.unread = None, self.unread
        await self._set_up()
        async for reading in self.device.readings():
            if not self.connected:
                await self._connected()
            self.came += 1
            if self.heart is not None:
                await self._look_at(reading, self.heart())
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
            held = await self.device.configure(setup)
        except MeterRefused as error:
            await self._say(Severity.STOP, "refused", cause=str(error))
            return
        if self.heart is not None:
            self.heart().told_of_meter(MeterSet(held.conversion_s))
        for sentence in held.please_turn:
            await self._say(Severity.WARNING, "turn", turn=sentence)

    async def _look_at(self, reading: Reading, heart: Heart) -> None:
        """Before a reading can settle: tell doubts of its display; ask a meter that can what it is set to."""
        if self.wanted is not None:
            for notice in self._doubts.notices(reading, self.wanted(), heart.meter):
                await self.tell(notice)
        if isinstance(self.device, Confirming) and heart.settling.ripe(reading):
            await self.device.confirm()

    async def _connected(self) -> None:
        self.connected, self._wait_s = True, FIRST_WAIT_S
        await self._back()

    def _gone(self) -> None:
        self.connected = False
        self.lost()


class ScannerFeed(Source):
    """A scanner on its way in; each good code puts a unit on the bench."""

    async def _read(self) -> None:
        await self._back()
        async for scan in self.device.scans():
            await self._scanned(scan)

    async def _scanned(self, scan: Scan) -> None:
        self._wait_s = FIRST_WAIT_S
        if not scan.code:
            await self._say(Severity.WARNING, "refused", cause=scan.refused)
        else:
            self.came += 1
            await self.take(StartUnit(scan.code))


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


def feeds_of(
    bench: Bench,
    clock: Clock,
    meter: Meter,
    heart: Callable[[], Heart],
    *,
    take: Callable[[Reading], Awaitable[None]],
    take_temperature: Callable[..., Awaitable[None]],
    tell: Callable[[Notice], Awaitable[None]],
    lost: Callable[[], None],
) -> list[Feed]:
    """The instruments of a bench file, not yet opened; the ohms meter first.

    Args:
        bench: the bench file.
        clock: of the bench.
        meter: the ohms meter, or what stands in for it.
        heart: gives the one that is at work now; other files make another.
        take: receives readings of the ohms meter.
        take_temperature: receives those of a thermometer; `feed` is the name of its feed.
        tell: receives notices about links.
        lost: called when the link of the ohms meter breaks.
    """

    def unread(raw: bytes, why: str) -> None:
        heart().told_of_meter(BytesUnread(raw, why, clock.monotonic_s()))

    ohms = Feed(
        "meter",
        meter,
        clock,
        take,
        tell,
        lost,
        lambda: heart().wanted,
        bench.meter.integration_plc,
        bench.meter.offset_compensation,
        unread,
        heart,
    )
    airs = thermometers(bench, clock).items()
    return [ohms, *(Feed(name, air, clock, partial(take_temperature, feed=name), tell) for name, air in airs)]
