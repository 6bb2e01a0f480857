"""Whether windings that must be alike are: found from the pairs that were measured, whatever the circuit.

Terminal readings hide an unequal phase: 5 % in one phase of a star moves line readings by half of that. So
the windings are found first, and those are compared; what all readings share cancels. Not for single pairs.
"""

from __future__ import annotations

import math
from collections.abc import Sequence

import numpy as np

from acquire.physics.common import Floats, PairReading
from acquire.records import Balance, BalanceFound, BalanceKind, Outcome, Pair
from acquire.steps.estimate import estimate, winding_ohms
from acquire.steps.pairs import PairTable

_NOTHING, _LEAST_OHM = 1e-6, 1e-9
"""Share of the largest winding, and ohms, that stand for no resistance at all."""

_K_95 = 2.0


def balances(
    table: PairTable, readings: Sequence[PairReading | tuple[Pair, float, float]]
) -> tuple[BalanceFound, ...]:
    """Every balance rule of the sheet whose windings the readings determine.

    Args:
        table: of the sheet.
        readings: of one unit, with their budgets; of plain ones the uncertainties should be those of each
            touch alone, for what all share cancels.
    """
    if not table.sheet.balances:
        return ()
    model = estimate(table, [PairReading(*reading) for reading in readings], loose=True)
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
