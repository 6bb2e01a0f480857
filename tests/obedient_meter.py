"""A bench without a device: a meter in memory whose probes do at once what the bench asks for.

For tests and benchmarks of the daemon that need neither a socket nor a person. Not a test itself. Everything
behind the driver is the real thing: assembly, daemon, heart, journal, outlets.
"""

from __future__ import annotations

import asyncio
import math
import random
from dataclasses import dataclass, field

from acquire.bench.assembly import assemble
from acquire.records import Ask, Notice, Prompt, StartUnit, UnitResult
from acquire.steps.pairs import PairTable
from drivers.meter import Capabilities, Held, Identity, Setup
from drivers.reading import Kind, Origin, Quantity, Reading

RANGES_OHM = (1e2, 1e3, 1e4, 1e5, 1e6, 1e7, 1e8)
LEADS_OHM = 0.2


@dataclass
class ObedientMeter:
    """Yields readings as fast as they are taken, and probes whatever the latest prompt asks for.

    Attributes:
        clock: turned by `spacing_s` with each reading if it can be turned.
        pace_s: real time between two readings; 0 is as fast as they are taken.
        air: readings with the probes in the air between two pairs.
        factor: what every true value is multiplied with, by pair; 1 where none is named.
        slips: pairs touched in place of others, each once, by the pair that was asked for.
        break_with: raised once by the next reading.
        calm: awaited before each reading. With a clock that is turned by hand, time stands still until what
            has happened is on the journal and shown; else readings would run far ahead of the disk.
    """

    clock: object
    meter_id: str = "meter"
    spacing_s: float = 0.043
    pace_s: float = 0.0
    air: int = 12
    factor: dict = field(default_factory=dict)
    slips: dict = field(default_factory=dict)
    break_with: Exception | None = None
    calm: object = None
    capabilities: Capabilities = field(
        default_factory=lambda: Capabilities(
            frozenset({Quantity.RESISTANCE, Quantity.RESISTANCE_4W}), settable=True, streaming=True
        )
    )
    table: PairTable | None = None
    conversion: int = 0
    setup: Setup = field(default_factory=lambda: Setup(Quantity.RESISTANCE))
    asked: Prompt | None = None
    dice: random.Random = field(default_factory=lambda: random.Random(7))
    _in_air: int = 0
    _touched: object = None

    def show(self, event):
        """See what a person at the bench would see."""
        if isinstance(event, Prompt):
            self.asked, self._in_air = event, self.air
            self._touched = self.slips.pop(str(event.pair), event.pair)
        elif isinstance(event, Notice) and event.code in ("pair.other", "pair.unclear"):
            self._in_air, self._touched = self.air, self.asked.pair  # what a person does at such a hint

    async def __aenter__(self):
        return self

    async def __aexit__(self, *_):
        pass

    async def identity(self):
        return Identity()

    async def configure(self, setup):
        self.setup = setup
        return Held(setup.quantity)

    async def readings(self):
        while True:
            if hasattr(self.clock, "turn"):
                self.clock.turn(self.spacing_s)
            await asyncio.sleep(self.pace_s)
            if self.calm is not None:
                await self.calm()
            if self.break_with is not None:
                error, self.break_with = self.break_with, None
                raise error
            yield self._reading()

    def _ohm(self):
        """What lies between the tips; None in the air."""
        asked = self.asked
        if self._in_air > 0 or asked is None:
            self._in_air -= 1
            return None
        if asked.ask is Ask.SHORT_PROBES:
            return 0.0
        if asked.ask in (Ask.TOUCH, Ask.TOUCH_AGAIN) and asked.pair and self.table:
            ohm = self.table.nominal_ohm(self._touched)
            return ohm * self.factor.get(str(self._touched), 1.0) if math.isfinite(ohm) else None
        return None

    def _reading(self):
        self.conversion += 1
        quantity, ohm = self.setup.quantity, self._ohm()
        expected = self.setup.expected_si or 100.0
        full = next((f for f in RANGES_OHM if expected <= 1.2 * f), RANGES_OHM[-1])
        value, kind = None, Kind.OVERLOAD
        if ohm is not None and ohm <= 1.2 * full:
            leads = 0.0 if quantity is Quantity.RESISTANCE_4W else LEADS_OHM
            count = full * 1e-6
            value, kind = count * round((ohm + leads) / count + self.dice.gauss(0.0, 2.0)), Kind.VALUE
        return Reading(
            self.meter_id,
            quantity,
            kind,
            value,
            self.clock.monotonic_s(),
            self.clock.utc_s(),
            self.conversion,
            range_full_scale_si=full,
            resolution_si=full * 1e-6,
            range_origin=Origin.READ_BACK,
            raw=b"%d" % self.conversion,
        )


@dataclass
class StillBench:
    """A bench in this process with an obedient meter.

    Attributes:
        daemon: as assembled from the bench file.
        meter: in place of the file's.
        events: everything shown, unless `keep` is False.
        units: serials that are put on the bench one after the other.
    """

    bench: object
    clock: object
    keep: bool = True
    events: list = field(default_factory=list)
    results: int = 0
    serials: object = None
    seen: asyncio.Event = field(default_factory=asyncio.Event)

    async def assembled(self, **more):
        """Make the daemon; gives self."""
        self.meter = ObedientMeter(self.clock)
        self._scanned = asyncio.Queue()
        self.daemon = await assemble(self.bench, clock=self.clock, show=self.show, **more)
        self.daemon.feeds[0].device = self.meter
        if hasattr(self.clock, "turn"):
            self.meter.calm = self.daemon._events.join
        self.meter.table = PairTable(self.daemon.pipeline.place.sheet)
        return self

    def show(self, event):
        """Everybody at the bench sees it."""
        if self.keep:
            self.events.append(event)
        self.results += isinstance(event, UnitResult)
        self.meter.show(event)
        if isinstance(event, Prompt) and event.ask is Ask.START_UNIT and self.serials is not None:
            self._scanned.put_nowait(next(self.serials, None))
        self.seen.set()

    async def scan(self):
        """Put the next unit on the bench whenever one is asked for; ends when there is none left."""
        while (serial := await self._scanned.get()) is not None:
            await self.daemon.command(StartUnit(serial))

    async def until(self, condition, within_s=30.0):
        """Wait until something holds, looked at after every event."""
        async with asyncio.timeout(within_s):
            while not condition(self):
                self.seen.clear()
                await self.seen.wait()

    def of(self, kind):
        """All events of a kind."""
        return [event for event in self.events if isinstance(event, kind)]

    def notices(self, code):
        """All notices of a code."""
        return [e for e in self.events if getattr(e, "code", "") == code]
