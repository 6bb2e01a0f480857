"""What a bench doubts of a display set by hand: held, on too coarse a range, or on too low a one?

All are said before they cost a verdict. None refuses a reading: the verdict's own uncertainty does that, and
of an open pair the witness (acquire.heart.contact), of a dial acquire.steps.dial.
Not for signs that a meter sends (watch), nor for what is to be turned before a step (drivers).
"""

from __future__ import annotations

from dataclasses import dataclass, field

from acquire.records import Code, Fact, Notice, Severity
from acquire.steps.dial import COARSER, finest
from acquire.steps.setup_choice import Wanted
from drivers.handheld.dial import FrozenDisplay
from drivers.models import MeterModel, reaching, shown_on
from drivers.reading import OHMS, Flag, Kind, Reading

IN_A_ROW = 2
"""A meter that ranges by itself may pass through a coarse range."""

LOW_FOR_S = 1.5
"""Overload on one low range for so long is no hunt for a higher one. Workshop choice."""


@dataclass(slots=True)
class DisplayDoubts:
    """Watches the readings of one meter."""

    _frozen: FrozenDisplay = field(default_factory=FrozenDisplay)
    _coarse: int = 0
    _told: tuple[float, float] | None = None
    _low: tuple[float, float] | None = None
    _low_since_s: float = 0.0
    _low_told: bool = False

    def notices(self, reading: Reading, wanted: Wanted, meter: MeterModel) -> list[Notice]:
        """What the operator should know before this reading counts; each doubt is told once until it ends.

        Args:
            reading: the latest.
            wanted: by the present step.
            meter: what its file states now.
        """
        found = []
        if remark := self._frozen.take(reading):
            found.append(Notice(Severity.WARNING, Code.METER_FROZEN, reading.utc_s, facts={"cause": remark}))
        if facts := self._too_coarse(reading, wanted, meter):
            found.append(Notice(Severity.WARNING, Code.METER_RANGE, reading.utc_s, facts=facts))
        if facts := self._too_low(reading, wanted, meter):
            found.append(Notice(Severity.WARNING, Code.METER_RANGE_LOW, reading.utc_s, facts=facts))
        return found

    def _too_low(self, reading: Reading, wanted: Wanted, meter: MeterModel) -> dict[str, Fact]:
        """An overload that would show no open pair: said once, while the same range stays."""
        full, above = reading.range_full_scale_si, wanted.open_above_ohm
        if reading.kind is Kind.NO_READING or reading.quantity not in OHMS:
            return {}
        if full is None or full >= above or reading.kind is not Kind.OVERLOAD:
            self._low = None
            return {}
        if self._low != (full, above):
            self._low, self._low_since_s, self._low_told = (full, above), reading.monotonic_s, False
        if self._low_told or reading.monotonic_s - self._low_since_s < LOW_FOR_S:
            return {}
        self._low_told = True
        higher = reaching(meter.ranges_of(wanted.quantity), above)
        if higher is None:
            return {"full_ohm": full, "least_ohm": above}
        return {"full_ohm": full, "turn_ohm": higher.full_scale_si}

    def _too_coarse(self, reading: Reading, wanted: Wanted, meter: MeterModel) -> dict[str, Fact]:
        if reading.kind is not Kind.VALUE or reading.quantity not in OHMS or reading.value_si is None:
            return {}  # probes in the air: a meter that ranges by itself is on its highest range then
        ranges = meter.ranges_of(wanted.quantity)
        full, best = reading.range_full_scale_si, finest(ranges, wanted)
        if full is None and (now := shown_on(ranges, reading.value_si, reading.resolution_si)) is not None:
            full = now.full_scale_si
        if full is None or Flag.AUTO_RANGE in reading.flags or best is None:
            return {}
        if full <= COARSER * best.full_scale_si or abs(reading.value_si) > best.full_scale_si:
            self._coarse = 0
            return {}
        self._coarse += 1
        if self._coarse < IN_A_ROW or self._told == (full, best.full_scale_si):
            return {}
        self._told = full, best.full_scale_si
        return {"full_ohm": full, "finest_ohm": best.full_scale_si}
