"""Each winding's own ohms from the pairs that were measured, and whether windings that must be alike are.

Terminal readings hide an unequal phase: 5 % in one phase of a star moves line readings by half of that. So
the windings are found first, whatever the circuit, and those are compared. Not for limits of single pairs.
"""

from __future__ import annotations

import math
from collections.abc import Sequence

from acquire.physics.network import resistance_between, sensitivities
from acquire.physics.star_delta import imbalance
from acquire.records import Balance, BalanceFound, BalanceKind, BranchKind, Outcome, Pair
from acquire.steps.pairs import PairTable

PairReading = tuple[Pair, float, float]
"""(pair, ohms at the reference temperature, standard uncertainty in ohms)."""

_LOOSE = 0.5
"""What a winding may be off its nominal before anything is measured: standard deviation as a fraction."""

_FOUND = 0.1
"""A winding counts as found when its uncertainty has shrunk to this share of that. Workshop choice."""

_ROUNDS = 4

_NOTHING, _LEAST_OHM = 1e-6, 1e-9
"""Share of the largest winding, and ohms, that stand for no resistance at all."""


def winding_ohms(table: PairTable, readings: Sequence[PairReading]) -> dict[str, tuple[float, float]]:
    """The windings' own resistances.

    Least squares with loose priors (Gauss-Newton, a few rounds): leads are taken as the sheet says, windings
    follow the readings. Open pairs are left out.

    Args:
        table: of the sheet.
        readings: of one unit.

    Returns:
        Name -> (ohm, standard uncertainty), for those windings that the readings determine.
    """
    finite = [reading for reading in readings if math.isfinite(reading[1])]
    branches = table.branches
    loose = [_LOOSE if b.kind is BranchKind.WINDING else b.spread for b in branches]
    prior = [share * b.reference_ohm for share, b in zip(loose, branches, strict=True)]
    ohms = [b.reference_ohm for b in branches]
    covariance: list[list[float]] = []
    for _ in range(_ROUNDS):
        ohms, covariance = _round(table, finite, ohms, prior)
    return {
        branch.name: (ohms[i], math.sqrt(covariance[i][i]))
        for i, branch in enumerate(branches)
        if branch.kind is BranchKind.WINDING and math.sqrt(covariance[i][i]) < _FOUND * prior[i]
    }


def balances(table: PairTable, readings: Sequence[PairReading]) -> tuple[BalanceFound, ...]:
    """Every balance rule of the sheet whose windings the readings determine.

    Args:
        table: of the sheet.
        readings: of one unit; uncertainties should be those of each touch alone, for what all share cancels.
    """
    found = winding_ohms(table, readings)
    return tuple(
        _found(rule, [found[name] for name in rule.windings])
        for rule in table.sheet.balances
        if all(name in found for name in rule.windings)
    )


def _found(rule: Balance, values: Sequence[tuple[float, float]]) -> BalanceFound:
    # A wrong pin can make a winding come out at nothing, or below: as uneven as can be, and no crash.
    least = _NOTHING * max(ohm for ohm, _ in values)
    values = [(max(ohm, least, _LEAST_OHM), u) for ohm, u in values]
    uneven = imbalance([ohm for ohm, _ in values], [u for _, u in values])
    # Two values differ from their mean by half of what they lie apart.
    whole = 2.0 if rule.kind is BalanceKind.APART else 1.0
    deviation, expanded = whole * uneven.fraction, whole * 2.0 * uneven.u_fraction
    return BalanceFound(
        rule.name,
        rule.windings,
        tuple(ohm for ohm, _ in values),
        deviation,
        expanded,
        rule.limit,
        rule.windings[uneven.worst],
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


def _round(
    table: PairTable, readings: Sequence[PairReading], ohms: Sequence[float], prior: Sequence[float]
) -> tuple[list[float], list[list[float]]]:
    """One round of Gauss-Newton: the readings taken in one after another, the circuit linear about `ohms`."""
    circuit = [
        (branch.a, branch.b, max(ohm, 1e-3 * branch.reference_ohm))
        for branch, ohm in zip(table.branches, ohms, strict=True)
    ]
    count = range(len(prior))
    mean = [branch.reference_ohm for branch in table.branches]
    covariance = [[prior[i] ** 2 if i == j else 0.0 for j in count] for i in count]
    for pair, ohm, u_ohm in readings:
        shares = sensitivities(circuit, *pair)
        if not any(shares):
            continue
        there = resistance_between(circuit, *pair)
        linear = there + sum(s * (m - o) for s, m, o in zip(shares, mean, ohms, strict=True))
        gain = [sum(row[j] * shares[j] for j in count) for row in covariance]
        variance = sum(shares[i] * gain[i] for i in count) + u_ohm**2
        surprise = (ohm - linear) / variance
        mean = [m + g * surprise for m, g in zip(mean, gain, strict=True)]
        covariance = [[covariance[i][j] - gain[i] * gain[j] / variance for j in count] for i in count]
    return mean, covariance
