"""What a fixture does next, from what a person in front of it would see. Pure; no relays here.

Each pin has a relay on either bus of the card. A pair can be taken both ways round, and is taken so that over
the unit each pin reads something finite on either bus: that proves its clip and both of its relays. Not for
I/O (fixture) nor for what a value means (pipeline).
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, field

from acquire.records import (
    Ask,
    CheckStandard,
    Code,
    Event,
    Judged,
    LeadZero,
    Notice,
    Pair,
    Prompt,
    UnitResult,
    UnitStarted,
)


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
