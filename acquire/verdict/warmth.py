"""Is a unit that fails really warm? From the percentage all pairs share, and from how its first pair moves.

A unit 30 K warm and one wound with wire a size too thin read alike at one moment; but the warm one cools
while it is tested. Not for the fit of a cooling (physics/warm) nor for asking for the first pair again
(heart/recheck).
"""

from __future__ import annotations

import math
from collections.abc import Sequence

from acquire.physics.warm import TAU_S, CommonShift, Deviation, Sample, common_shift, fit_cooling, wait_for
from acquire.records import Hypothesis, Pair
from acquire.steps.pairs import PairTable

WARM = "warm"
"""Name of the hypothesis that holds a unit back instead of failing it."""

SURE_WARM = 0.5
"""Probability from which a failing unit is held where its first pair does not tell. Workshop choice: to hold
a bad unit costs a second test, to fail a good one costs a rewind."""

CERTAIN = 0.95
"""Probability from which a failing unit is held although it does not cool: then the thermometer tells of
another place. Workshop choice."""

SLOWEST = 2.0
"""The slowest cooling to be reckoned with, as a multiple of the usual time constant; workshop choice."""


def shift_of(table: PairTable, readings: Sequence[tuple[Pair, float, float]]) -> CommonShift | None:
    """The percentage by which all pairs are off their nominal; None where fewer than two pairs tell."""
    deviations = []
    for pair, ohm, u_ohm in readings:
        nominal_ohm = table.nominal_ohm(pair)
        if math.isfinite(ohm) and math.isfinite(nominal_ohm):
            u_fraction = math.hypot(u_ohm, table.spread_ohm(pair)) / nominal_ohm
            deviations.append(Deviation(ohm / nominal_ohm - 1.0, max(u_fraction, 1e-6)))
    return common_shift(deviations) if len(deviations) > 1 else None


def worth_a_second_look(table: PairTable, readings: Sequence[tuple[Pair, float, float]]) -> bool:
    """Whether a failing unit may be warm, so that its first pair should be read once more."""
    shift = shift_of(table, readings)
    return shift is not None and shift.fraction > 0.0 and shift.stands_out(table.sheet.warm_limit)


def is_warm(
    table: PairTable,
    readings: Sequence[tuple[Pair, float, float]],
    hypotheses: Sequence[Hypothesis],
    samples: Sequence[Sample],
) -> bool:
    """Whether a failing unit is to be held as warm.

    Args:
        table: of its sheet.
        readings: that count.
        hypotheses: the diagnosis, most likely first.
        samples: one pair at two or more times, oldest first; empty where it was read once.

    Returns:
        True where warmth is among the explanations and the pair has fallen by more than its scatter; where it
        could not have fallen enough to be seen and warmth is the likelier explanation; or where nothing else
        explains the readings.
    """
    chance = next((each.probability for each in hypotheses if each.fault == WARM), 0.0)
    shift = shift_of(table, readings)
    if chance < 0.05 or shift is None:
        return False
    if chance >= CERTAIN:
        return True
    if len(samples) > 1:
        first, last = samples[0], samples[-1]
        scatter = 2.0 * math.hypot(first.u_ohm, last.u_ohm)
        if first.ohm - last.ohm > scatter:
            return True
        due = shift.fraction * first.ohm * (1.0 - math.exp((first.at_s - last.at_s) / (SLOWEST * TAU_S)))
        if due > 2.0 * scatter:
            return False  # a warm part would have cooled by more than could be missed
    return chance >= SURE_WARM


def rest_s(
    table: PairTable, readings: Sequence[tuple[Pair, float, float]], samples: Sequence[Sample], *, moved: bool
) -> float | None:
    """How long a warm unit should rest, seconds; None where nothing tells.

    Args:
        table: of its sheet.
        readings: that count.
        samples: one pair at two or more times, oldest first.
        moved: whether they have moved by more than the sheet allows; then their own curve is used, else the
            percentage that all pairs share, with the usual time constant of such parts.
    """
    limit = table.sheet.warm_limit
    if moved and len(samples) > 1:
        return fit_cooling(samples, limit).wait_s
    shift = shift_of(table, readings)
    return None if shift is None else wait_for(shift.fraction, limit)
