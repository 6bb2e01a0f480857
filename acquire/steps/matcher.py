"""Where does a value belong: to the pair that was asked for, to another pair, or to a fault?

Every settled value is weighed against all pairs of the circuit by Bayes' rule: a normal law with the pair's
own spread and the measurement's uncertainty for each pair, a broad law for faults. Not for limits or
verdicts, and not for what happens next (see unit).
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from acquire.records import Corrected, Fit, Limits, Match, Pair
from acquire.steps.estimate import predicted
from acquire.steps.pairs import PairTable

_TOGETHER_OHM = 0.15
"""Below this (and far below the asked value) the probes may simply touch each other; workshop choice."""

_SURE = 0.8
"""An explanation this likely is acted on; below it the value is called ambiguous. Workshop choice."""

_SURE_INSIDE = 0.95
"""A value inside the asked pair's limits is called another pair's only when this sure. Workshop choice."""

_ABOUT = 0.3
"""Explanations this likely beside the best one are named with it; workshop choice."""

_BROAD_OHM = (1e-3, 1e6)
"""A fault may read anything from a milliohm to a megohm, each decade as likely as the next."""

_NEAR = 0.1
"""Half of the faults stay near the asked value: width of that law as a fraction of nominal."""


@dataclass(frozen=True, slots=True)
class Priors:
    """How likely each explanation is before the value is seen.

    Workshop choices, to be replaced by a shop's own counts: one touch in twenty on a wrong pair, one value in
    twenty from a fault. In free order the pairs still to be measured share `open_steps`.
    """

    asked: float = 0.9
    open_steps: float = 0.0
    others: float = 0.05
    fault: float = 0.05


GUIDED = Priors()
FREE = Priors(asked=0.45, open_steps=0.45)


@dataclass(frozen=True, slots=True)
class _Weights:
    asked: float
    others: tuple[tuple[Pair, float], ...]
    fault: float

    @property
    def other(self) -> float:
        return sum(weight for _, weight in self.others)

    @property
    def likeliest(self) -> tuple[Pair, ...]:
        """Up to three others that are about as likely as the first of them."""
        best = self.others[0][1]
        return tuple(pair for pair, weight in self.others[:3] if weight > _ABOUT * best)

    def listed(self, expected: Pair) -> tuple[tuple[Pair, float], ...]:
        every = sorted(((expected, self.asked), *self.others), key=lambda entry: -entry[1])
        return tuple((pair, weight) for pair, weight in every if weight > 0.01)


def weigh(
    corrected: Corrected,
    expected: Pair,
    table: PairTable,
    *,
    limits: Limits | None = None,
    known: Mapping[Pair, tuple[float, float]] | None = None,
    open_pairs: Sequence[Pair] = (),
) -> Match:
    """Set a corrected value against every pair that the circuit offers.

    Args:
        corrected: the value at the reference temperature with its uncertainty.
        expected: the pair that was asked for.
        table: of the sheet.
        limits: of the asked step; inside them a value is called another pair's only when that is very sure.
        known: readings of this unit that have passed, pair -> (ohm, standard uncertainty); they sharpen what
            the remaining pairs should read, so that R13 = R12 + R23 decides where single values cannot.
        open_pairs: pairs that the value may rightly be of as well: in free order those still to be measured.

    Returns:
        The match. A pair that cannot be told from the asked one is never named as another.
    """
    priors = FREE if open_pairs else GUIDED
    weights = _weights(corrected, expected, table, priors, known or {}, open_pairs)
    fit = _fit(weights, inside=limits is not None and _inside(corrected.reference_ohm, limits))
    pair = weights.others[0][0] if fit is Fit.OTHER_PAIR else expected
    like = weights.likeliest if fit in (Fit.OTHER_PAIR, Fit.AMBIGUOUS) else ()
    through = tuple(b.name for b in table.windings(like[0])) if len(like) == 1 else ()
    ohm = abs(corrected.reference_ohm)
    together = fit is Fit.FAULT and ohm < _TOGETHER_OHM < 0.1 * table.nominal_ohm(expected)
    return Match(corrected, fit, pair, weights.listed(expected), like, through, together)


def _weights(
    corrected: Corrected,
    expected: Pair,
    table: PairTable,
    priors: Priors,
    known: Mapping[Pair, tuple[float, float]],
    open_pairs: Sequence[Pair],
) -> _Weights:
    ohm, u_ohm = corrected.reference_ohm, corrected.standard_uncertainty_ohm
    rivals = _rivals(expected, u_ohm, table)
    awaited = [pair for pair in rivals if pair in open_pairs]
    model = predicted(table, {pair: reading for pair, reading in known.items() if pair != expected})
    raw: dict[Pair, float] = {}
    for pair in rivals:
        prior = priors.others / len(rivals)
        if pair in awaited:
            prior += priors.open_steps / len(awaited)
        raw[pair] = prior * _likelihood(ohm, u_ohm, *model.pair(pair))
    asked = priors.asked * _likelihood(ohm, u_ohm, *model.pair(expected))
    fault = priors.fault * _fault_law(ohm, table.nominal_ohm(expected))
    total = asked + fault + sum(raw.values())
    if total <= 0.0:
        return _Weights(0.0, (), 1.0)
    ranked = sorted(raw.items(), key=lambda entry: -entry[1])
    return _Weights(asked / total, tuple((pair, weight / total) for pair, weight in ranked), fault / total)


def _rivals(expected: Pair, u_ohm: float, table: PairTable) -> list[Pair]:
    """Pairs that conduct and whose value differs from the asked one's by more than can be told."""
    asked_ohm = table.nominal_ohm(expected)
    blur_ohm = math.hypot(table.spread_ohm(expected), u_ohm)
    return [
        pair
        for pair in table.pairs()
        if pair != expected
        and math.isfinite(table.nominal_ohm(pair))
        and not abs(table.nominal_ohm(pair) - asked_ohm) <= blur_ohm
    ]


def _likelihood(ohm: float, u_ohm: float, mean_ohm: float, spread_ohm: float) -> float:
    """Density of the value, per ohm, if it is of a pair of a good unit."""
    width = math.hypot(spread_ohm, u_ohm)
    if math.isinf(mean_ohm) or width <= 0.0:
        return 0.0
    return math.exp(-0.5 * ((ohm - mean_ohm) / width) ** 2) / (width * math.sqrt(2.0 * math.pi))


def _fault_law(ohm: float, asked_ohm: float) -> float:
    """Density of the value, per ohm, if the asked pair is faulty: half anywhere, half near its nominal.

    Log-uniform over `_BROAD_OHM`, and a Cauchy law in the logarithm about the nominal: both have tails heavy
    enough that no fault is ever out of the question. Workshop choice.
    """
    lowest, highest = _BROAD_OHM
    size = min(max(abs(ohm), lowest), highest)
    anywhere = 1.0 / (size * math.log(highest / lowest))
    if math.isinf(asked_ohm):
        return anywhere
    away = math.log(size / asked_ohm) / _NEAR
    near = 1.0 / (math.pi * _NEAR * (1.0 + away**2) * size)
    return 0.5 * (anywhere + near)


def _fit(weights: _Weights, *, inside: bool) -> Fit:
    if weights.other >= (_SURE_INSIDE if inside else _SURE):
        return Fit.OTHER_PAIR
    if inside or weights.asked >= 0.5:
        return Fit.EXPECTED
    if weights.other < 1.0 - _SURE:
        return Fit.FAULT
    return Fit.AMBIGUOUS


def _inside(ohm: float, limits: Limits) -> bool:
    if limits.lower_ohm is None and limits.upper_ohm is None:
        return False
    above = limits.lower_ohm is None or ohm >= limits.lower_ohm
    below = limits.upper_ohm is None or ohm <= limits.upper_ohm
    return above and below
