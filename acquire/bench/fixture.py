"""A meter behind a switch card: the fixture moves its relays between two readings, as hands move probes.

To whoever reads it, it is a meter like any other (`drivers.meter.Meter`). Before each reading it looks at
what the operator is asked for and brings that pair to the meter. A pair that reads open is proven before it
counts: right afterwards each of its pins must conduct, through the same relay, to a pin that it has conducted
to before; readings taken for that go no further.

Each pin has a relay on either bus of the card. A pair can be taken both ways round, and is taken so that over
the unit each pin reads something finite on either bus: that proves its clip and both of its relays. Not for
what is asked nor for what values mean.
"""

from __future__ import annotations

import asyncio
from collections.abc import AsyncGenerator, AsyncIterator, Awaitable, Callable, Iterator, Mapping
from contextlib import AsyncExitStack, aclosing
from dataclasses import dataclass, field, replace
from types import TracebackType
from typing import Self, cast

from acquire.clock import Clock
from acquire.records import (
    Ask,
    CheckStandard,
    Code,
    Command,
    Event,
    FixtureMoved,
    FixtureOpen,
    Judged,
    LeadZero,
    Notice,
    Pair,
    Prompt,
    Severity,
    UnitResult,
    UnitStarted,
)
from drivers.errors import MeterRefused
from drivers.meter import Capabilities, Confirming, Held, Identity, Meter, Setup, Unread
from drivers.reading import Kind, Quantity, Reading
from drivers.scpi.switch_card import SwitchCard

LOOK_S = 0.15
"""So long, and for so many conversions, a pair must read open before it is proven. Workshop choice: several
times a relay's bounce, and longer than a bench meter needs to find its range."""
LOOK_CONVERSIONS = 2

PROOF_CONVERSIONS = 4
"""So many conversions a proof may take to read something finite: a meter finds its range meanwhile."""

ANSWER_S, ANSWER_LOOKS = 0.1, 20
"""How long, and in how many looks, an answer of the heart is waited for before the meter is read on."""

OPEN_CONVERSIONS = 2
"""So many conversions must be overload for a bus to count as open, before each unit."""


@dataclass(slots=True)
class Wiring:
    """Which channels lead to which pin.

    Attributes:
        high, low: channel of each pin on either bus.
        sense_high, sense_low: of the sense wires; empty where they move along by themselves.
    """

    high: Mapping[str, int]
    low: Mapping[str, int]
    sense_high: Mapping[str, int] = field(default_factory=dict)
    sense_low: Mapping[str, int] = field(default_factory=dict)

    def all(self) -> list[int]:
        """Every channel in use."""
        return [*self.high.values(), *self.low.values(), *self.sense_high.values(), *self.sense_low.values()]

    def of(self, place: Place) -> list[int]:
        """Channels that bring the meter's terminals to a place."""
        found = [self.high[place.high], self.low[place.low]]
        if self.sense_high:
            found += [self.sense_high[place.high], self.sense_low[place.low]]
        return found


class FixtureMeter:
    """A meter, a card, and what the operator is asked for."""

    def __init__(
        self, meter: Meter, card: SwitchCard, wiring: Wiring, desk: FixtureDesk, clock: Clock
    ) -> None:
        """Put them together; nothing is opened yet.

        Args:
            meter: behind the card.
            card: with the wiring's channels.
            wiring: see there.
            desk: shown every event that a person would see.
            clock: for waiting times and notices.
        """
        self.meter_id, self.capabilities = meter.meter_id, meter.capabilities
        self.desk = desk
        self.command: Callable[[Command], Awaitable[list[Event]]] | None = None
        self.tell: Callable[[Notice], Awaitable[None]] | None = None
        self._meter, self._card, self._wiring, self._clock = meter, card, wiring, clock
        self._stack = AsyncExitStack()
        self._setup: Setup | None = None
        self._open_since_s: float | None = None
        self._open_latest_s = 0.0
        self._open_conversions = 0
        self._unproven: Place | None = None
        self._widened = False

    capabilities: Capabilities

    @property
    def unread(self) -> Unread:
        """Who is told of bytes that give no reading."""
        return self._meter.unread

    @unread.setter
    def unread(self, told: Unread) -> None:
        self._meter.unread = told

    async def __aenter__(self) -> Self:
        """Open both, and every relay.

        Raises:
            LinkUnavailable, LinkLost, LinkTimeout: a link.
            MeterRefused: a relay stays closed.
        """
        async with AsyncExitStack() as stack:
            await stack.enter_async_context(self._meter)
            await stack.enter_async_context(self._card)
            await self._card.open_all()
            self._stack = stack.pop_all()
        self.desk.leave()
        self.desk.told = False
        self._see_anew()
        return self

    async def __aexit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        """Close both."""
        self.desk.leave()
        await self._stack.__aexit__(kind, error, trace)

    async def identity(self) -> Identity:
        """Of the meter."""
        return await self._meter.identity()

    async def confirm(self) -> None:
        """As of the meter, where it can."""
        if isinstance(self._meter, Confirming):
            await self._meter.confirm()

    async def configure(self, setup: Setup) -> Held:
        """Set the meter; see there."""
        self._setup, self._widened = setup, False
        return await self._meter.configure(setup)

    async def readings(self) -> AsyncIterator[Reading]:
        """Yield the readings of what is asked for; relays move in between.

        Raises:
            LinkLost, LinkTimeout, MeterRefused: as of meter and card.
        """
        source = cast("AsyncGenerator[Reading]", self._meter.readings())
        async with aclosing(source):
            while True:
                while await self._act(source):
                    pass
                reading = await anext(source)
                self._note(reading)
                yield reading

    # ------------------------------------------------------------------ between two readings

    async def _act(self, source: AsyncIterator[Reading]) -> bool:
        """Move relays where something else is asked for; prove what has read open for long enough.

        Returns:
            Whether that may have given something new to do.
        """
        if self.desk.must_move():
            await self._go(self.desk.target(), source)
            return False
        if self._reads_open() and self.desk.at is not None and self._unproven != self.desk.at:
            await self._prove(self.desk.at, source)
            return True
        return False

    async def _go(self, target: Place | None, source: AsyncIterator[Reading]) -> None:
        desk = self.desk
        if desk.at is not None:
            await self._card.open_all()
        desk.leave()
        if self._widened and self._setup is not None:
            await self.configure(self._setup)
        if target is not None and not desk.checked and desk.asked is not None and desk.asked.serial:
            await self._check_open(source)
        if target is not None:
            await self._card.connect(self._wiring.of(target))
        await self._arrived(target)

    async def _arrived(self, place: Place | None) -> None:
        """Note where the terminals are, and tell the heart; it refuses while the journal does."""
        self.desk.at = place
        self._see_anew()
        told = FixtureMoved() if place is None else FixtureMoved(place.high, place.low)
        if await self._refused(told):
            self.desk.leave()

    async def _check_open(self, source: AsyncIterator[Reading]) -> None:
        """With one bus open nothing may be read, whatever is closed on the other: else a relay is stuck.

        Raises:
            MeterRefused: something is read.
        """
        wiring = self._wiring
        for bus, channels in (("", []), ("high", wiring.low.values()), ("low", wiring.high.values())):
            await self._card.connect(list(channels))
            if (ohm := await self._read(source, OPEN_CONVERSIONS)) is not None:
                which = f"a relay of the {bus} bus" if bus else "a relay of either bus"
                raise MeterRefused(
                    f"the meter reads {ohm:.3g} Ω where everything should be open: {which} is stuck closed",
                    hint="Have the card looked at; `steadyohm fixture` says which relay it is.",
                )
        self.desk.checked = True

    def _note(self, reading: Reading) -> None:
        """Keep in mind what the pair reads: something, or nothing for how long."""
        if reading.kind is Kind.VALUE:
            self.desk.read()
            self._see_anew()
        elif reading.kind is Kind.OVERLOAD:
            if self._open_since_s is None:
                self._open_since_s = reading.monotonic_s
            self._open_conversions += 1
            self._open_latest_s = reading.monotonic_s

    def _see_anew(self) -> None:
        self._open_since_s, self._open_latest_s, self._open_conversions = None, 0.0, 0
        self._unproven = None

    def _reads_open(self) -> bool:
        """Whether a unit's pair has read open for long enough."""
        asked, since_s = self.desk.asked, self._open_since_s
        if since_s is None or asked is None or asked.pair is None:
            return False
        return self._open_conversions >= LOOK_CONVERSIONS and self._open_latest_s - since_s >= LOOK_S

    # ------------------------------------------------------------------ open pairs

    async def _prove(self, place: Place, source: AsyncIterator[Reading]) -> None:
        """Look for the two pins elsewhere, then say that the pair is open, or whose clip nothing proves."""
        setup = self._setup or Setup(Quantity.RESISTANCE)
        if setup.expected_si is not None:
            await self._meter.configure(replace(setup, expected_si=None))
            self._widened = True
            if await self._conducts(source):  # a bad joint, beyond the range that a good winding needs
                await self._arrived(place)
                return
        # Two wires, for contacts count; one range that holds any proof, for to look for a range takes time.
        await self._meter.configure(Setup(Quantity.RESISTANCE, self.desk.proof_ohm, setup.integration_plc))
        how = [
            await self._proven(bus, pin, source) for bus, pin in (("high", place.high), ("low", place.low))
        ]
        await self.configure(setup)
        if all(how):
            await self._card.open_all()
            await self._arrived(None)
            witness = tuple(pair for pair in how if pair is not None)
            self.desk.told = True  # before: the answer may be seen while the order is still under way
            if await self._refused(FixtureOpen(witness)):
                self.desk.told = False
            await self._answered()
            return
        await self._card.connect(self._wiring.of(place))
        await self._arrived(place)
        self._unproven = place
        self.desk.proving = None if self.desk.asked is None else self.desk.asked.pair
        pins = tuple(pin for pin, proof in zip((place.high, place.low), how, strict=True) if not proof)
        if self.tell is not None:
            pair, now_s = Pair(place.high, place.low), self._clock.utc_s()
            told = Notice(Severity.WARNING, Code.FIXTURE_UNPROVEN, now_s, pair=pair, facts={"pins": pins})
            await self.tell(told)

    async def _answered(self) -> None:
        """Give the record a moment to take the verdict: a conversion of nothing would last longer."""
        for _ in range(ANSWER_LOOKS):
            if not self.desk.told:
                return
            await asyncio.sleep(ANSWER_S / ANSWER_LOOKS)

    async def _conducts(self, source: AsyncIterator[Reading]) -> bool:
        """Whether something finite is read within a few conversions."""
        return await self._read(source, PROOF_CONVERSIONS) is not None

    @staticmethod
    async def _read(source: AsyncIterator[Reading], conversions: int) -> float | None:
        """The first value of so many conversions; None where all are overloads."""
        for _ in range(conversions):
            reading = await anext(source)
            if reading.kind is Kind.VALUE:
                return reading.value_si
        return None

    async def _proven(self, bus: str, pin: str, source: AsyncIterator[Reading]) -> Pair | None:
        """What proves that a pin's clip and its relay on a bus conduct; None where nothing does.

        The pin twice stands for its two contacts; an empty second pin for the operator's key.
        """
        for where in self.desk.proofs(bus, pin):
            await self._card.connect(self._wiring.of(where))
            if await self._conducts(source):
                return Pair(pin, next(iter(where.pins - {pin}), pin))
        return Pair(pin, "") if pin in self.desk.by_key else None

    async def _refused(self, command: Command) -> bool:
        """Give an order to the heart; whether it refuses, as it does while the journal cannot be written."""
        events = await self.command(command) if self.command is not None else []
        return any(isinstance(event, Notice) and event.code is Code.COMMAND_REFUSED for event in events)


@dataclass(frozen=True, slots=True)
class Place:
    """Where the meter's terminals are: the pin on the high bus and the pin on the low bus."""

    high: str
    low: str

    def __str__(self) -> str:
        return f"{self.high}–{self.low}"

    @property
    def pins(self) -> frozenset[str]:
        """Both pins; one where a pin is on both buses."""
        return frozenset((self.high, self.low))


@dataclass(slots=True)
class FixtureDesk:
    """The state of one fixture.

    Attributes:
        conducting: pairs that a good unit conducts between.
        zero_pin: brought to both buses to zero the leads.
        proof_ohm: no pair that a pin can be proven by has more.
        standard: pins that the bench's known resistor is wired to; None where it is held by hand.
        separate_contacts: each bus reaches a pin by a contact of its own: a pin can be proven by itself.
        asked: what the operator is asked for now.
        at: where the terminals are; None with everything open.
        served: whether what is closed has had its verdict.
        checked: whether, since the unit was clipped in, everything open has read open.
        finite: pairs that have read something since the unit was clipped in.
        seen: (bus, pin) of relays and clips through which something was read.
        by_key: pins whose clips the operator has confirmed for this unit.
        proving: the open pair for which a key is waited for; None else.
        told: the heart was told that the pair is open, and has not said yet what it makes of that.
    """

    conducting: frozenset[frozenset[str]]
    zero_pin: str
    proof_ohm: float = 1000.0
    standard: Pair | None = None
    separate_contacts: bool = False
    asked: Prompt | None = None
    at: Place | None = None
    served: bool = False
    checked: bool = False
    finite: set[frozenset[str]] = field(default_factory=set)
    seen: set[tuple[str, str]] = field(default_factory=set)
    by_key: set[str] = field(default_factory=set)
    proving: Pair | None = None
    told: bool = False

    # ------------------------------------------------------------------ what is seen

    def see(self, event: Event) -> None:
        """Take what a person would see."""
        match event:
            case UnitStarted() | UnitResult():
                self.forget_unit()
            case Prompt():
                self.asked = event
            case Judged():
                if self.proving is not None and event.verdict.raw_ohm is None:
                    self.by_key |= set(self.proving)  # nobody else can have called it open
                self.served, self.told, self.proving = True, False, None
            case Notice(code=Code.COMMAND_REFUSED):
                self.told = False
            case LeadZero() | CheckStandard():
                self.served = True

    def forget_unit(self) -> None:
        """Another unit, or none: nothing of its clips is known."""
        self.finite.clear()
        self.seen.clear()
        self.by_key.clear()
        self.checked, self.proving, self.told = False, None, False

    def leave(self) -> None:
        """Every relay is open."""
        self.at, self.served = None, False

    def read(self) -> None:
        """A finite value was read where the terminals are."""
        if self.at is None or self.at.high == self.at.low:
            return
        self.finite.add(self.at.pins)
        self.seen |= {("high", self.at.high), ("low", self.at.low)}

    # ------------------------------------------------------------------ what to do

    def target(self) -> Place | None:
        """Where the terminals should be; None: everything open."""
        prompt = self.asked
        if prompt is None:
            return None
        if prompt.ask is Ask.SHORT_PROBES:
            return Place(self.zero_pin, self.zero_pin)
        if prompt.ask is Ask.CHECK_RESISTOR:
            return Place(*self.standard) if self.standard else None
        if prompt.ask in (Ask.TOUCH, Ask.TOUCH_AGAIN) and prompt.pair is not None:
            return self._turned(prompt.pair)
        return None

    def must_move(self) -> bool:
        """Whether relays must move before the next reading."""
        if self.told:
            return False
        target = self.target()
        here, there = (None if place is None else place.pins for place in (self.at, target))
        return here != there or (target is not None and self.served)

    def _turned(self, pair: Pair) -> Place:
        """The way round that shows more of a pair that conducts; of one that must be open, the best known."""
        ways = Place(pair.a, pair.b), Place(pair.b, pair.a)
        if self.at in ways and not self.served:
            return self.at
        known = {way: len({("high", way.high), ("low", way.low)} & self.seen) for way in ways}
        best = min if frozenset(pair) in self.conducting else max
        return best(ways, key=lambda way: known[way])

    def proofs(self, bus: str, pin: str) -> Iterator[Place]:
        """Where to look for something finite through one relay and clip, best first."""
        if self.separate_contacts:
            yield Place(pin, pin)
        here = None if self.at is None else self.at.pins
        likely = [*sorted(self.finite, key=sorted), *sorted(self.conducting - self.finite, key=sorted)]
        for pins in likely:
            if pin in pins and pins != here:
                other = next(iter(pins - {pin}))
                yield Place(pin, other) if bus == "high" else Place(other, pin)
