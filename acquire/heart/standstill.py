"""Why nothing happens, and what a meter shows besides the value. Pure; words are in `acquire.words.notices`.

Three things keep a bench waiting without a fault that a driver could raise: what comes cannot be used, a
contact never comes to rest, and a value at rest belongs to nothing. Signs on a display are a wrong function,
HOLD, a low battery. Each is told once until it has passed. Not for a link that breaks: feeds tell that.
"""

from __future__ import annotations

from collections import deque
from dataclasses import dataclass, field
from enum import StrEnum

from acquire.records import Code, Contact, Event, Fact, LiftOff, Notice, Settled, SettleEvent, Severity
from acquire.settle.pace import Pace
from drivers.reading import OHMS, Flag, Kind, Quantity, Reading

UNUSABLE_S = 5.0
"""Nothing usable for so long is told; a slower meter has four of its conversions. Workshop choice."""

SILENT_S = 12.0
"""Drivers of meters that send by themselves complain after five; no usual meter takes longer to convert."""

UNSETTLED_S = 20.0
"""A contact without a value at rest for so long is told, a slow winding's after twice that. Our choice."""

UNSETTLED_CONVERSIONS = 8
FRUITLESS = 3
FRUITLESS_S = 2.0
"""So many touches of so long in a row that came to nothing are told, too. Workshop choice."""

UNTAKEN_S = 8.0
"""So long a value may rest on nothing that was asked for; as hands may linger (contact)."""

TICKS = 4
"""The daemon must have looked so often meanwhile: a machine that stood still is no meter that did."""

LOOKED_AT = 200
LOSSY = 0.02
"""More of so many pieces in a row that give no reading are a bad link. Our choice: a sound one loses none."""

KEPT_BYTES = 32
_SEVERAL = 3


class UnusableReading(StrEnum):
    """Why readings cannot be used."""

    NO_NUMBER = "no_number"
    OTHER_QUANTITY = "other_quantity"


class Unsettled(StrEnum):
    """Why a contact does not come to rest."""

    MOVES = "moves"
    SHORT = "short"
    BREAKS = "breaks"
    RANGES = "ranges"
    FEW = "few"
    NO_NUMBERS = "no_numbers"


class Untaken(StrEnum):
    """Why a value at rest is not taken."""

    NO_UNIT = "no_unit"
    FUNCTION = "function"
    FIXTURE = "fixture"


@dataclass(frozen=True, slots=True)
class BytesUnread:
    """Bytes came that are no reading: why, in the driver's words, with the option that would cure it."""

    raw: bytes
    why: str
    monotonic_s: float


@dataclass(frozen=True, slots=True)
class ReadElsewhere:
    """A reading came that somebody else has taken, such as the meter's self-check."""

    monotonic_s: float


@dataclass(frozen=True, slots=True)
class MeterSet:
    """The meter was set anew: how long its settings make a conversion; None where nobody knows."""

    conversion_s: float | None


MeterSaid = BytesUnread | ReadElsewhere | MeterSet
"""What a driver says beside readings."""


def bytes_told(raw: bytes) -> dict[str, Fact]:
    """The last bytes as text, what cannot be printed as a dot in the middle, and as hexadecimal."""
    raw = raw[-KEPT_BYTES:]
    text = "".join(chr(byte) if 32 <= byte < 127 else "·" for byte in raw)
    return {"text": text, "hex": raw.hex(" ")}


@dataclass(slots=True)
class _Touch:
    """One contact, as far as it has come."""

    since_s: float
    low: float = float("inf")
    high: float = float("-inf")
    latest: float = 0.0
    values: int = 0
    overloads: int = 0
    leaving: int = 0
    numberless: int = 0
    ranges: int = 0
    full_si: float | None = None


@dataclass(slots=True)
class Standstill:
    """What has come lately, and what was told of it.

    Attributes:
        pace: of the meter.
    """

    pace: Pace
    _usable_s: float | None = None
    _heard_s: float = 0.0
    _ticks: int = 0
    _pieces: deque[bool] = field(default_factory=lambda: deque(maxlen=LOOKED_AT))
    _last: tuple[Code, dict[str, Fact]] | None = None
    _touch: _Touch | None = None
    _fruitless: int = 0
    _failed: _Touch | None = None
    _rests: tuple[float, dict[str, Fact]] | None = None
    _told: set[Code] = field(default_factory=set)

    # ------------------------------------------------------------------ what comes

    def take(self, said: MeterSaid) -> None:
        """Take what the driver says beside readings."""
        match said:
            case BytesUnread():
                self._heard(said.monotonic_s)
                self._pieces.append(False)
                self._last = (Code.METER_UNREAD, {**bytes_told(said.raw), "cause": said.why})
            case ReadElsewhere():
                self._heard(said.monotonic_s)
                self._usable(said.monotonic_s)
            case MeterSet():
                self.pace.set_anew(said.conversion_s)

    def see(self, reading: Reading, wanted: Quantity) -> None:
        """Take a reading of the ohms meter; `wanted` is what it should measure."""
        now_s = reading.monotonic_s
        self._heard(now_s)
        if True not in self._pieces:  # what came before the first was not understood, rather than damaged
            self._pieces.clear()
        self._pieces.append(True)
        off_ohms = wanted in OHMS and reading.quantity not in OHMS
        if Flag.TYPED in reading.flags or off_ohms or not reading.flags.isdisjoint(_OLD):
            self._usable(now_s)  # nothing to wait for, or told by its own sign
            return
        if reading.kind is not Kind.NO_READING and reading.quantity is wanted:
            self._usable(now_s)
            self._in_touch(reading)
            return
        if self._touch is not None:
            self._touch.numberless += 1
        why = UnusableReading.NO_NUMBER if reading.kind is Kind.NO_READING else UnusableReading.OTHER_QUANTITY
        facts = {"why": why.value, "quantity": reading.quantity.value, "wanted": wanted.value}
        self._last = (Code.METER_UNUSABLE, {**bytes_told(reading.raw), **facts})

    def _heard(self, now_s: float) -> None:
        self._heard_s = now_s
        if self._usable_s is None:
            self._usable_s = now_s

    def _usable(self, now_s: float) -> None:
        self._usable_s, self._last, self._ticks = now_s, None, 0
        self._told -= {Code.METER_UNREAD, Code.METER_UNUSABLE, Code.METER_SILENT}

    def _in_touch(self, reading: Reading) -> None:
        touch = self._touch
        if touch is None:
            return
        if reading.value_si is None:
            touch.leaving += 1  # the last overloads of a contact are the air after it
            return
        touch.overloads, touch.leaving = touch.overloads + touch.leaving, 0
        touch.values += 1
        touch.ranges += touch.full_si not in (None, reading.range_full_scale_si)
        touch.full_si, touch.latest = reading.range_full_scale_si, reading.value_si
        touch.low, touch.high = min(touch.low, touch.latest), max(touch.high, touch.latest)

    def follow(self, event: SettleEvent) -> None:
        """Take what the settle stage says."""
        match event:
            case Contact():
                self._touch, self._rests = _Touch(event.monotonic_s), None
            case LiftOff():
                touch = self._touch
                if touch is not None and event.monotonic_s - touch.since_s >= FRUITLESS_S:
                    self._fruitless, self._failed = self._fruitless + 1, touch
                self._touch = self._rests = None
            case Settled():
                self._touch = self._rests = self._failed = None
                self._fruitless = 0
            case _:
                return
        self._told -= {Code.VALUE_UNTAKEN, *({Code.METER_UNSETTLED} if not self._fruitless else ())}

    def untaken(self, settled: Settled, why: Untaken) -> list[Event]:
        """A value at rest is not taken; nothing is said before it has rested for a while."""
        self._rests = (settled.monotonic_s, {"ohm": settled.value_si, "why": why.value})
        return []

    def forget(self) -> None:
        """The link is lost: whoever lost it tells."""
        self._usable_s = self._touch = self._rests = self._last = self._failed = None
        self._fruitless = 0
        self._told.clear()
        self._pieces.clear()

    # ------------------------------------------------------------------ what is told

    def notices(self, now_s: float, utc_s: float, *, working: bool, slow: bool) -> list[Notice]:
        """What is to be told now.

        Args:
            now_s: monotonic time.
            utc_s: for the notices.
            working: a value is wanted: for a unit, or for a duty of the bench.
            slow: the step's winding takes its time.
        """
        self._ticks += 1
        found = [self._nothing(now_s), self._steady(now_s), self._lossy()]
        found += [self._unsettled(now_s, slow=slow)] if working else []
        news = [each for each in found if each is not None and each[0] not in self._told]
        self._told |= {code for code, _ in news}
        return [Notice(Severity.WARNING, code, utc_s, facts=facts) for code, facts in news]

    def _nothing(self, now_s: float) -> tuple[Code, dict[str, Fact]] | None:
        if self._usable_s is None or self._ticks < TICKS:
            return None
        for_s = now_s - self._usable_s
        if self._last is not None and for_s >= self.pace.patience_s(UNUSABLE_S):
            code, facts = self._last
            return code, {"for_s": for_s, **facts}
        silent_s = now_s - self._heard_s
        if self._last is None and silent_s >= self.pace.patience_s(SILENT_S):
            return Code.METER_SILENT, {"for_s": silent_s}
        return None

    def _lossy(self) -> tuple[Code, dict[str, Fact]] | None:
        lost = self._pieces.count(False)
        if len(self._pieces) < LOOKED_AT or lost in (0, LOOKED_AT):
            self._told -= {Code.METER_LOSSY}
            return None
        return (Code.METER_LOSSY, {"share": lost / LOOKED_AT}) if lost > LOSSY * LOOKED_AT else None

    def _unsettled(self, now_s: float, *, slow: bool) -> tuple[Code, dict[str, Fact]] | None:
        touch = self._touch
        patience_s = self.pace.patience_s((1 + slow) * UNSETTLED_S, UNSETTLED_CONVERSIONS)
        if self._fruitless >= FRUITLESS and self._failed is not None:
            touch, patience_s = self._failed, 0.0
        if touch is None or now_s - touch.since_s < patience_s or not touch.values:
            return None
        why = Unsettled.SHORT if touch is self._failed else Unsettled.MOVES
        if touch.ranges >= _SEVERAL:
            why = Unsettled.RANGES
        elif touch.numberless >= _SEVERAL:
            why = Unsettled.NO_NUMBERS
        elif touch.overloads >= _SEVERAL:
            why = Unsettled.BREAKS
        elif touch.values < _SEVERAL:
            why = Unsettled.FEW
        for_s = now_s - touch.since_s
        facts: dict[str, Fact] = {
            "for_s": for_s,
            "why": why.value,
            "ohm": touch.latest,
            "spread_ohm": touch.high - touch.low,
        }
        return Code.METER_UNSETTLED, facts

    def _steady(self, now_s: float) -> tuple[Code, dict[str, Fact]] | None:
        if self._rests is None or now_s - self._rests[0] < UNTAKEN_S:
            return None
        since_s, facts = self._rests
        return Code.VALUE_UNTAKEN, {"for_s": now_s - since_s, **facts}


_OLD = frozenset({Flag.HOLD, Flag.MINIMUM, Flag.MAXIMUM})

SIGNS: dict[Flag, Code] = {
    Flag.HOLD: Code.METER_HOLD,
    Flag.MINIMUM: Code.METER_MINIMUM,
    Flag.MAXIMUM: Code.METER_MAXIMUM,
    Flag.LOW_BATTERY: Code.METER_BATTERY,
    Flag.RELATIVE: Code.METER_RELATIVE,
}
"""Signs worth a word."""


def signs(reading: Reading, wanted: Quantity) -> list[Notice]:
    """What speaks against a reading beside its value.

    Args:
        reading: of the ohms meter.
        wanted: what it should measure.
    """
    found = [
        Notice(Severity.WARNING, code, reading.utc_s) for flag, code in SIGNS.items() if flag in reading.flags
    ]
    if wanted in OHMS and reading.quantity not in OHMS and reading.kind is not Kind.NO_READING:
        facts = {"quantity": reading.quantity.value}
        found.append(Notice(Severity.WARNING, Code.METER_FUNCTION, reading.utc_s, facts=facts))
    return found


@dataclass(slots=True)
class ReadingWatch:
    """Remembers what has been told, so that each thing is told once until it ends."""

    _told: set[Code] = field(default_factory=set)

    def notices(self, reading: Reading, wanted: Quantity) -> list[Notice]:
        """What the operator must know of this reading beyond its value."""
        found = signs(reading, wanted)
        news = [each for each in found if each.code not in self._told]
        self._told = {each.code for each in found}
        return news
