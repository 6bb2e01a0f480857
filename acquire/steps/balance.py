"""Whether windings that must be alike are: found from the pairs that were measured, whatever the circuit.

Terminal readings hide an unequal phase: 5 % in one phase of a star moves line readings by half of that. So
the windings are found first, and those are compared; what all readings share cancels. Not for single pairs.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from acquire.physics.common import Floats, PairReading
from acquire.records import Balance, Outcome, Pair
from acquire.steps.estimate import estimate, winding_ohms
from acquire.steps.pairs import PairTable

_NOTHING, _LEAST_OHM = 1e-6, 1e-9
"""Share of the largest winding, and ohms, that stand for no resistance at all."""

_K_95 = 2.0


@dataclass(frozen=True, slots=True)
class Balanced:
    """One balance rule applied to one unit.

    Attributes:
        rule: of the sheet.
        ohm: of each winding, in the rule's order, at the reference temperature.
        fraction: largest deviation from their mean, as a fraction of it.
        expanded_fraction: its uncertainty for 95 %.
        worst: name of the winding that deviates most.
        above: whether that one is above the mean.
        outcome: by the non-binary rule with w = U, or cannot judge where U exceeds the limit.
    """

    rule: Balance
    ohm: tuple[float, ...]
    fraction: float
    expanded_fraction: float
    worst: str
    above: bool
    outcome: Outcome

    @property
    def sentence(self) -> str:
        """All of that in words."""
        return (
            f"{self.worst} is {100.0 * self.fraction:.2g} % {'above' if self.above else 'below'} the mean of "
            f"{self.rule.name}, known to {100.0 * self.expanded_fraction:.2g} %; "
            f"{100.0 * self.rule.limit:.2g} % is allowed."
        )


def balances(
    table: PairTable, readings: Sequence[PairReading | tuple[Pair, float, float]]
) -> tuple[Balanced, ...]:
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


def _balanced(rule: Balance, ohm: Floats, covariance: Floats) -> Balanced:
    # A wrong pin can make a winding come out at nothing, or below: as uneven as can be, and no crash.
    ohm = np.maximum(ohm, max(_NOTHING * float(ohm.max()), _LEAST_OHM))
    mean = float(ohm.mean())
    deviations = ohm / mean - 1.0
    worst = int(np.abs(deviations).argmax())
    lean = (np.arange(len(ohm)) == worst) / mean - ohm[worst] / (len(ohm) * mean**2)
    expanded = _K_95 * math.sqrt(max(float(lean @ covariance @ lean), 0.0))
    fraction = abs(float(deviations[worst]))
    return Balanced(
        rule,
        tuple(ohm.tolist()),
        fraction,
        expanded,
        rule.windings[worst],
        bool(deviations[worst] > 0.0),
        _outcome(fraction, expanded, rule.limit),
    )


def _outcome(fraction: float, expanded: float, limit: float) -> Outcome:
    if fraction > limit + expanded:
        return Outcome.FAIL
    if expanded > limit:
        return Outcome.CANNOT_JUDGE
    if fraction > limit:
        return Outcome.CONDITIONAL_FAIL
    return Outcome.PASS if fraction <= limit - expanded else Outcome.CONDITIONAL_PASS
