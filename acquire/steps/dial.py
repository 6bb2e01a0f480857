"""Which range a meter is on, as far as that can be known, and which one a step needs. Pure.

A range turned by hand is part of the instrument. An overload proves that a pair is open only beyond the range
it was shown on, and a count of one ohm resolves no leads. Where the frame names the range, that is the
range. A value shows it by its count. Of an overload that names none it is unknown until somebody says it, and
then for this one question: the range that a value was last shown on tells where to turn the dial, but not
what an overload proves, since nothing shows that it was turned meanwhile.

Not for meters that are set over the link, nor for what is said (words).
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace

from acquire.records import (
    Code,
    Fact,
    Notice,
    Prompt,
    Purpose,
    Settled,
    Severity,
    Sheet,
    StateRange,
    Step,
    StepKind,
)
from acquire.records.bench import Refused
from acquire.records.codes import Refusal
from acquire.steps.pairs import PairTable
from acquire.steps.setup_choice import Wanted, expected_ohm, open_above_ohm
from drivers.models import MeterModel, RangeModel, named, reaching, shown_on
from drivers.reading import OHMS, Flag, Kind, Origin, Quantity, Ranging, Reading

COARSER = 1.5
"""The ranges of one meter are factors of two to ten apart; what lies closer is one range under two names."""


def finest(ranges: Sequence[RangeModel], wanted: Wanted, value_si: float = 0.0) -> RangeModel | None:
    """The smallest range that holds what a step wants, and a value; None where it wants no size."""
    if wanted.expected_ohm is None:
        return None
    return reaching(ranges, max(abs(value_si), wanted.expected_ohm))


def in_fewest_turns(sheet: Sheet, purpose: Purpose, meter: MeterModel) -> Sheet:
    """The sheet with its steps by range, the finest first, and as listed within a range.

    The leads are zeroed on the finest range, so that a unit costs one turn for each further range.

    Args:
        sheet: left as it is where it says so; its hash stays, for the order follows from sheet and meter.
        purpose: decides which limits apply.
        meter: what its file states.
    """
    if sheet.keep_order:
        return sheet
    table, ranges = PairTable(sheet), meter.ranges_of(Quantity.RESISTANCE)

    def full_si(step: Step) -> float:
        if step.kind is StepKind.TYPED:
            return math.inf
        wanted = expected_ohm(table, step, purpose, Quantity.RESISTANCE, meter)
        needs = (reaching(ranges, ohm) for ohm in (wanted, open_above_ohm(table, step, purpose)))
        return max((each.full_scale_si for each in needs if each is not None), default=math.inf)

    return replace(sheet, steps=tuple(sorted(sheet.steps, key=full_si)))


@dataclass(slots=True)
class Dial:
    """What is known of the range in use.

    Attributes:
        meter: what its file states.
        ranging: who chooses the range.
        stated_si: full scale that somebody has said, until a value comes; None where nobody has.
    """

    meter: MeterModel
    ranging: Ranging = Ranging.SET
    stated_si: float | None = None
    _seen_si: float | None = None
    _told: bool = False
    _by_hand: bool = False

    def __post_init__(self) -> None:
        """A dial is turned by hand before the first reading says anything."""
        self._by_hand = self.ranging is Ranging.DIAL

    # ------------------------------------------------------------------ what is seen and said

    def see(self, reading: Reading) -> Reading:
        """Take a reading; gives it back with the range filled in, where the dial is known to be on it."""
        if self.ranging is Ranging.SET or reading.quantity not in OHMS or reading.kind is Kind.NO_READING:
            return reading
        if self.ranging is Ranging.AUTO:
            self._by_hand = Flag.AUTO_RANGE in reading.flags_visible and Flag.AUTO_RANGE not in reading.flags
        full_si = reading.range_full_scale_si
        self._told = full_si is not None
        if full_si is None and reading.value_si is not None:
            shown = shown_on(self._ranges(reading.quantity), reading.value_si, reading.resolution_si)
            full_si = None if shown is None else shown.full_scale_si
        if full_si is not None:
            self._seen_si = full_si
        if reading.value_si is not None:
            self.stated_si = None
        full_si = full_si or self.stated_si
        if not self._by_hand or full_si is None or reading.range_full_scale_si is not None:
            return reading
        return replace(reading, range_full_scale_si=full_si, range_origin=Origin.INFERRED)

    def asked(self) -> None:
        """Something else is asked for, or the meter is gone: what was said holds no longer."""
        self.stated_si = None

    def obey(self, command: StateRange, quantity: Quantity, utc_s: float) -> Notice:
        """Take somebody's word for where the dial stands.

        Args:
            command: the word.
            quantity: what the meter measures.
            utc_s: now.

        Raises:
            Refused: the meter has no such range.
        """
        ranges = self._ranges(quantity)
        stated = named(ranges, command.full_ohm)
        if stated is None:
            ends: dict[str, Fact] = {}
            if ranges:
                ends = {"lowest_ohm": ranges[0].full_scale_si, "highest_ohm": ranges[-1].full_scale_si}
            raise Refused(Refusal.RANGE_ABSENT, full_ohm=command.full_ohm, **ends)
        self.stated_si = self._seen_si = stated.full_scale_si
        return Notice(Severity.REMARK, Code.METER_DIAL, utc_s, facts={"full_ohm": stated.full_scale_si})

    # ------------------------------------------------------------------ what follows

    @property
    def tells(self) -> bool:
        """Whether the latest frame names its range, or is of a meter that ranges by itself."""
        return self._told or not self._by_hand

    def turn_to(self, wanted: Wanted) -> float | None:
        """Full scale of the range that the dial is to be turned to; None where it may stay, as far as known.

        Args:
            wanted: by the step.
        """
        if not self._by_hand or self._seen_si is None:
            return None
        ranges = self._ranges(wanted.quantity)
        now = named(ranges, self._seen_si)
        if now is None:
            return None
        if now.largest_si < wanted.open_above_ohm:
            return self.showing(wanted)
        best = finest(ranges, wanted)
        coarse = best is not None and now.full_scale_si > COARSER * best.full_scale_si
        return best.full_scale_si if best is not None and coarse else None

    def with_turn(self, prompt: Prompt, wanted: Wanted) -> Prompt:
        """A prompt, with where to turn the dial first."""
        turn_ohm = self.turn_to(wanted)
        return prompt if turn_ohm is None else replace(prompt, facts={**prompt.facts, "turn_ohm": turn_ohm})

    def showing(self, wanted: Wanted) -> float | None:
        """Full scale of the range on which an overload would show the pair open; None where there is none."""
        ranges = self._ranges(wanted.quantity)
        of_it = reaching(ranges, wanted.open_above_ohm)
        best = finest(ranges, wanted)
        full_si = max((each.full_scale_si for each in (of_it, best) if each is not None), default=None)
        return None if of_it is None else full_si

    def too_coarse(self, settled: Settled, wanted: Wanted) -> bool:
        """Whether a value is to wait for the dial: a finer range would hold it, and what the step expects."""
        if not self._by_hand or settled.quantity is not wanted.quantity:
            return False
        ranges = self._ranges(settled.quantity)
        full_si = settled.range_full_scale_si
        now = None if full_si is None else named(ranges, full_si)
        best = finest(ranges, wanted, settled.value_si)
        return now is not None and best is not None and now.full_scale_si > COARSER * best.full_scale_si

    def _ranges(self, quantity: Quantity) -> tuple[RangeModel, ...]:
        return self.meter.ranges_of(quantity) or self.meter.ranges_of(Quantity.RESISTANCE)
