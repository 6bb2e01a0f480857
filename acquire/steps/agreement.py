"""Do the readings of one unit go together, and are windings alike that must be? All measured pairs at once.

In a circuit that has fewer windings than measured pairs, R13 = R12 + R23 and the like must hold whatever the
windings really are. Readings that are all inside their limits can break that: then one of them was taken on
another pair, or moved. Terminal readings also hide an unequal phase (5 % in one phase of a star moves line
readings by half of that), so balance compares the windings that the pairs determine; what all readings share
cancels. Not for limits of single pairs, and not for faults (verdict/diagnose).
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from acquire.physics.common import Floats, PairReading
from acquire.records import Balance, BalanceFound, BalanceKind, Outcome, Pair
from acquire.steps.estimate import estimate, winding_ohms
from acquire.steps.pairs import PairTable

_KNOWN = 0.5
"""The others know a pair when they leave less than this share of its own spread; workshop choice."""

_BENT = 1e-3
"""Share of a pair's spread allowed for the bend of parallel paths, which are taken as straight lines."""


@dataclass(frozen=True, slots=True)
class Oddity:
    """The reading that is least consistent with the others.

    Attributes:
        pair: it is of.
        ohm: that it reads.
        foretold_ohm, u_ohm: what the others say, and the standard uncertainty of the difference.
        away: the difference in units of that.
    """

    pair: Pair
    ohm: float
    foretold_ohm: float
    u_ohm: float

    @property
    def away(self) -> float:
        """Difference in standard uncertainties, >= 0."""
        return abs(self.ohm - self.foretold_ohm) / self.u_ohm


def oddest(table: PairTable, readings: Sequence[PairReading]) -> Oddity | None:
    """The reading furthest from what the others predict.

    Taking it away makes the rest agree best: for normal laws the fall of chi-square is the square of its
    distance from what the rest foretells.

    Args:
        table: of the sheet.
        readings: of one unit, each pair once; infinite ones are left out.

    Returns:
        None where no pair is known by the others.
    """
    finite = [reading for reading in readings if math.isfinite(reading.ohm)]
    found = [odd for odd in (_held_against(table, finite, index) for index in range(len(finite))) if odd]
    return max(found, key=lambda odd: odd.away, default=None)


def _held_against(table: PairTable, readings: Sequence[PairReading], index: int) -> Oddity | None:
    this = readings[index]
    others = estimate(table, [r for k, r in enumerate(readings) if k != index and r.pair != this.pair])
    spread_ohm = table.spread_ohm(this.pair)
    if math.isinf(table.nominal_ohm(this.pair)) or spread_ohm <= 0.0:
        return None
    if others.pair(this.pair)[1] > _KNOWN * spread_ohm:
        return None
    mean_ohm, u_ohm = others.reading(this)
    return Oddity(this.pair, this.ohm, mean_ohm, math.hypot(u_ohm, _BENT * spread_ohm, 1e-9))


_NOTHING, _LEAST_OHM = 1e-6, 1e-9
"""Share of the largest winding, and ohms, that stand for no resistance at all."""

_K_95 = 2.0


def balances(table: PairTable, readings: Sequence[PairReading]) -> tuple[BalanceFound, ...]:
    """Every balance rule of the sheet whose windings the readings determine.

    Args:
        table: of the sheet.
        readings: of one unit, with their budgets; of plain ones the uncertainties should be those of each
            touch alone, for what all share cancels.
    """
    if not table.sheet.balances:
        return ()
    model = estimate(table, readings, loose=True)
    found = winding_ohms(model)
    order = [branch.name for branch in table.branches]
    judged = []
    for rule in table.sheet.balances:
        if all(name in found for name in rule.windings):
            at = [order.index(name) for name in rule.windings]
            judged.append(_balanced(rule, model.mean[at], model.covariance[np.ix_(at, at)]))
    return tuple(judged)


def _balanced(rule: Balance, ohm: Floats, covariance: Floats) -> BalanceFound:
    # A wrong pin can make a winding come out at nothing, or below: as uneven as can be, and no crash.
    ohm = np.maximum(ohm, max(_NOTHING * float(ohm.max()), _LEAST_OHM))
    mean = float(ohm.mean())
    deviations = ohm / mean - 1.0
    worst = int(np.abs(deviations).argmax())
    lean = (np.arange(len(ohm)) == worst) / mean - ohm[worst] / (len(ohm) * mean**2)
    # Two values differ from their mean by half of what they lie apart.
    whole = 2.0 if rule.kind is BalanceKind.APART else 1.0
    expanded = whole * _K_95 * math.sqrt(max(float(lean @ covariance @ lean), 0.0))
    deviation = whole * abs(float(deviations[worst]))
    return BalanceFound(
        rule.name,
        rule.windings,
        tuple(ohm.tolist()),
        deviation,
        expanded,
        rule.limit,
        rule.windings[worst],
        _outcome(deviation, expanded, rule.limit),
        rule.kind,
    )


def _outcome(fraction: float, expanded: float, limit: float) -> Outcome:
    if fraction > limit + expanded:
        return Outcome.FAIL
    if expanded > limit:
        return Outcome.CANNOT_JUDGE
    if fraction > limit:
        return Outcome.CONDITIONAL_FAIL
    return Outcome.PASS if fraction <= limit - expanded else Outcome.CONDITIONAL_PASS
