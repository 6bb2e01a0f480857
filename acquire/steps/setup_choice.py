"""How the meter should be set for a step: two or four wires, and how large a value its range must hold.

Not for talking to the meter (drivers) and not for the limits themselves (pairs).
"""

from __future__ import annotations

import math
from dataclasses import dataclass

from acquire.physics.accuracy import half_width_si
from acquire.physics.leads import CONTACT_OHM
from acquire.records import Limits, Purpose, Step, StepKind
from acquire.steps.pairs import PairTable
from drivers.models import MeterModel
from drivers.reading import Quantity

HEADROOM = 1.2
"""A range must hold this much more than the largest healthy value, so that a bad joint still reads."""

CLOSE_ENOUGH, METER_SHARE = 0.05, 0.5
"""Share of the tolerance that a value need not be known better than: settling need not resolve it, and
a meter that errs by more on the range that holds every pair of the unit is set to a finer one, where its
noise costs no waiting. And share of the meter's own limits of error: U grows by an eighth at most where
a value rests within that. Workshop choices, well below what is left for the leads."""


@dataclass(frozen=True, slots=True)
class Wanted:
    """What a step wants of the meter.

    Attributes:
        quantity: function.
        expected_ohm: largest value to be expected; None, or infinite, lets the meter range by itself.
        slow: a large inductance makes the reading creep.
        close_enough_ohm: a value known this well (half-width) serves the step; no need to wait for more.
        open_above_ohm: an overload shows an open pair only on a range that reaches this; 0 where any does.
    """

    quantity: Quantity = Quantity.RESISTANCE
    expected_ohm: float | None = None
    slow: bool = False
    close_enough_ohm: float = 0.0
    open_above_ohm: float = 0.0

    def __post_init__(self) -> None:
        """There is no range for what may be anything."""
        if self.expected_ohm is not None and math.isinf(self.expected_ohm):
            object.__setattr__(self, "expected_ohm", None)


NOTHING_WANTED = Wanted()
"""While nothing is asked for."""


def quantity_for(step: Step, nominal_ohm: float, four_wire_below_ohm: float | None) -> Quantity:
    """Two or four wires.

    Args:
        step: may insist on either.
        nominal_ohm: of its pair.
        four_wire_below_ohm: the bench uses four wires below this; None where it has only two.
    """
    if step.quantity is not Quantity.RESISTANCE:
        return step.quantity
    if four_wire_below_ohm is None:
        return Quantity.RESISTANCE
    four = nominal_ohm < four_wire_below_ohm if step.four_wire is None else step.four_wire
    return Quantity.RESISTANCE_4W if four else Quantity.RESISTANCE


def expected_ohm(
    table: PairTable,
    step: Step,
    purpose: Purpose,
    quantity: Quantity,
    meter: MeterModel,
) -> float:
    """The largest value that the range must hold for a step.

    A range wide enough for every pair of the unit lets a wrong pair be recognised instead of reading as
    overload; it is chosen where the meter can afford it, else the range that just holds the asked pair.

    Args:
        table: pairs of the unit.
        step: to be measured.
        purpose: decides which limits apply.
        quantity: function in use.
        meter: what its file states.

    Returns:
        Infinite for a pair that must be open: on a fixed range of 1 kΩ a ground of 5 kΩ would read overload,
        as if it were open, so a meter that can must range by itself.
    """
    finite = [ohm for ohm in map(table.nominal_ohm, table.pairs()) if math.isfinite(ohm)]
    own = table.nominal_ohm(step.pair)
    widest = HEADROOM * max(finite, default=1.0)
    if step.kind is StepKind.OPEN:
        return math.inf
    if math.isinf(own):
        return widest
    tolerance = _half(table.limits_for(step, purpose), own)
    statement = meter.holding(quantity, widest)
    affordable = statement is not None and half_width_si(statement, own) <= CLOSE_ENOUGH * tolerance
    return widest if affordable else HEADROOM * own


def close_enough_ohm(
    table: PairTable, step: Step, purpose: Purpose, meter: MeterModel, wanted: tuple[Quantity, float]
) -> float:
    """Half-width of the band within which a settled value serves a step, whatever the display resolves.

    Args:
        table: pairs of the unit.
        step: to be measured.
        purpose: decides which limits apply.
        meter: what its file states; to wait until a value rests within far less than its limits of error is
            of no use, and in vain where they allow for its noise.
        wanted: function, and the largest value that its range must hold.

    Returns:
        Of a pair that must be open what the contact of two probes may have: it need be known no better.
    """
    if step.kind is StepKind.OPEN:
        return CONTACT_OHM
    own = table.nominal_ohm(step.pair)
    if math.isinf(own):
        return 0.0
    half, stated = _half(table.limits_for(step, purpose), own), meter.holding(*wanted)
    limits = METER_SHARE * half_width_si(stated, own) if stated is not None else 0.0
    return max(CLOSE_ENOUGH * half if math.isfinite(half) else 0.0, limits)


def open_above_ohm(table: PairTable, step: Step, purpose: Purpose) -> float:
    """What a pair exceeds when it is rightly called open, ohms.

    An open step's own limit; of a winding its upper limit, or its nominal where it has none, since on a range
    below that a good winding reads overload too. 0 where the sheet says nothing.
    """
    limits = table.limits_for(step, purpose)
    if step.kind is StepKind.OPEN:
        return limits.lower_ohm or 0.0
    own = table.nominal_ohm(step.pair)
    return limits.upper_ohm or (own if math.isfinite(own) else 0.0)


def _half(limits: Limits, nominal_ohm: float) -> float:
    """Half the distance between the limits; the distance to the only one where the other is missing."""
    ends = [end for end in (limits.lower_ohm, limits.upper_ohm) if end is not None]
    return min((abs(end - nominal_ohm) for end in ends), default=math.inf)
