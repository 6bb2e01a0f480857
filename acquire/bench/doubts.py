"""What a bench doubts of a display set by hand: held, on too coarse a range, or on too low a one?

All are said before they cost a verdict. None refuses a reading: the verdict's own uncertainty does that, and
of an open pair the witness (acquire.steps.open_witness).
Not for signs that a meter sends (watch), nor for what is to be turned before a step (drivers).
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field

from acquire.records import Code, Fact, Notice, Weight
from acquire.steps.setup_choice import MeterStatements, Wanted
from drivers.handheld.frozen import FrozenDisplay
from drivers.reading import OHMS, Flag, Kind, Reading

COARSER = 1.5
"""The ranges of one meter are factors of two to ten apart; what lies closer is one range under two names."""

IN_A_ROW = 2
"""A meter that ranges by itself may pass through a coarse range."""

LOW_FOR_S = 1.5
"""Overload on one low range for so long is no hunt for a higher one. Workshop choice."""

Finest = Callable[[Wanted], float | None]
"""Full scale of the smallest range of the meter file that holds what is wanted; None: there is none."""


def finest_range(meter: MeterStatements, wanted: Wanted) -> float | None:
    """Full scale of the smallest range that holds what a step wants, ohms; None where there is none.

    Args:
        meter: what its file states.
        wanted: by the step.
    """
    if wanted.expected_ohm is None:
        return None
    statement = meter.holding(wanted.quantity, wanted.expected_ohm)
    return None if statement is None else statement.range_full_scale_si


@dataclass(slots=True)
class DisplayDoubts:
    """Watches the readings of one meter.

    Attributes:
        finest: what the meter file offers.
    """

    finest: Finest
    _frozen: FrozenDisplay = field(default_factory=FrozenDisplay)
    _coarse: int = 0
    _told: tuple[float, float] | None = None
    _low: tuple[float, float] | None = None
    _low_since_s: float = 0.0
    _low_told: bool = False

    def notices(self, reading: Reading, wanted: Wanted) -> list[Notice]:
        """What the operator should know before this reading counts; each doubt is told once until it ends."""
        found = []
        if remark := self._frozen.take(reading):
            found.append(Notice(Weight.WARNING, Code.METER_FROZEN, reading.utc_s, facts={"cause": remark}))
        if facts := self._too_coarse(reading, wanted):
            found.append(Notice(Weight.WARNING, Code.METER_RANGE, reading.utc_s, facts=facts))
        if facts := self._too_low(reading, wanted):
            found.append(Notice(Weight.WARNING, Code.METER_RANGE_LOW, reading.utc_s, facts=facts))
        return found

    def _too_low(self, reading: Reading, wanted: Wanted) -> dict[str, Fact]:
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
        return {"full_ohm": full, "least_ohm": above}

    def _too_coarse(self, reading: Reading, wanted: Wanted) -> dict[str, Fact]:
        full = reading.range_full_scale_si
        if reading.kind is not Kind.VALUE or reading.quantity not in OHMS or reading.value_si is None:
            return {}  # probes in the air: a meter that ranges by itself is on its highest range then
        if full is None or wanted.expected_ohm is None or Flag.AUTO_RANGE in reading.flags:
            return {}
        finest = self.finest(wanted)
        if finest is None or full <= COARSER * finest or abs(reading.value_si) > finest:
            self._coarse = 0
            return {}
        self._coarse += 1
        if self._coarse < IN_A_ROW or self._told == (full, finest):
            return {}
        self._told = full, finest
        return {"full_ohm": full, "finest_ohm": finest}
