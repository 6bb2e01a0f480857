"""Decision rules: a value, its uncertainty and limits in; an outcome and a probability out.

After JCGM 106:2012, ILAC-G8:09/2019 and ISO 14253-1:2017. Not for choosing limits, nor for why a value fails.
"""

from __future__ import annotations

import math

from acquire.choices import Outcome, Rule
from acquire.errors import InputImpossible
from acquire.physics.budget import combine
from acquire.physics.checks import at_least_zero, finite, probability
from acquire.physics.laws import Law
from acquire.records.verdict import Corrected, Decision, Limits

ISO_SHARE_OF_EXPANDED = 0.83
"""Guard band of ISO 14253-1:2017 as a share of U with k = 2 (ILAC-G8:09/2019, table 1)."""

ISO_CONFORMANCE = 0.95
"""Probability of conformance that ISO 14253-1:2017 asks for by default."""


def decide(
    value_ohm: float,
    u_ohm: float,
    expanded_ohm: float,
    limits: Limits,
    rule: Rule,
    *,
    law: Law | None = None,
    maximum_risk: float | None = None,
) -> Decision:
    """Judge one value by a named rule.

    Guard band w by rule: SIMPLE 0; GUARD_BAND and NON_BINARY w = U (false accept at the limit below 2.5 %,
    ILAC-G8:09/2019); ISO_14253_1 0.83 U, and never less than the law needs for 95 % conformance, since 0.83
    belongs to k = 2 and a normal law; MAXIMUM_RISK the width that leaves the stated risk beyond one limit.

    Verdict: SIMPLE, GUARD_BAND and MAXIMUM_RISK pass or fail (ILAC-G8 4.2.1, 4.2.2). NON_BINARY (4.2.3) and
    ISO_14253_1 know the zone of w on either side of a limit, where neither is proven: inside it is a
    conditional pass, outside a conditional fail.

    CANNOT_JUDGE: U exceeds the tolerance, so that no value could be shown to conform. The tolerance is half
    the width between two limits; the whole upper limit where there is no lower one (resistance begins at
    zero); infinite where there is only a lower one. With MAXIMUM_RISK also when even the middle of the limits
    carries more risk than stated. A value beyond a limit by more than U is a fail all the same: that much
    even a poor meter proves.

    Args:
        value_ohm: at the reference temperature, ohms.
        u_ohm: its standard uncertainty, ohms, >= 0.
        expanded_ohm: its expanded uncertainty for 95 %, ohms, >= 0.
        limits: at least one; the lower below the upper.
        rule: the sheet's rule.
        law: of the value's error, from `acquire.physics.budget.combine`; None: normal.
        maximum_risk: with MAXIMUM_RISK only, largest allowed probability of a false accept, 0 to 1.

    Raises:
        InputImpossible: no limit, limits the wrong way round, a negative or missing uncertainty, or no risk
            where the rule needs one.
    """
    _refuse_impossible(value_ohm, u_ohm, expanded_ohm, limits)
    law = law or Law(0.0, u_ohm)
    probability = conformance_probability(value_ohm, limits, law)
    guard_ohm = guard_band_ohm(rule, expanded_ohm, law, maximum_risk)
    inside = inside_ohm(value_ohm, limits)
    if inside < -expanded_ohm:
        outcome = Outcome.FAIL
    elif _too_poor(expanded_ohm, limits, rule, law, maximum_risk):
        outcome = Outcome.CANNOT_JUDGE
    elif rule is Rule.MAXIMUM_RISK:
        outcome = Outcome.PASS if 1.0 - probability <= (maximum_risk or 0.0) else Outcome.FAIL
    else:
        outcome = _by_zone(rule, inside, guard_ohm)
    return Decision(outcome=outcome, guard_band_ohm=guard_ohm, conformance_probability=probability)


def decide_corrected(
    corrected: Corrected, limits: Limits, rule: Rule, maximum_risk: float | None = None
) -> Decision:
    """`decide` for a corrected resistance, with the exact law of its budget.

    Raises:
        InputImpossible: as `decide`.
    """
    return decide(
        corrected.reference_ohm,
        corrected.standard_uncertainty_ohm,
        corrected.expanded_ohm,
        limits,
        rule,
        law=combine(corrected.terms).law,
        maximum_risk=maximum_risk,
    )


def conformance_probability(value_ohm: float, limits: Limits, law: Law) -> float:
    """Probability that the true value lies within the limits, given the measured one.

    Source: JCGM 106:2012, 7.2 to 7.4, with no prior knowledge of the unit beyond the measurement.

    Args:
        value_ohm: measured, ohms.
        limits: ohms.
        law: of the measured value's error, in ohms.
    """
    low = -math.inf if limits.lower_ohm is None else limits.lower_ohm - value_ohm
    high = math.inf if limits.upper_ohm is None else limits.upper_ohm - value_ohm
    return law.between(low, high)


def guard_band_ohm(rule: Rule, expanded_ohm: float, law: Law, maximum_risk: float | None = None) -> float:
    """Width that a rule takes off each limit for acceptance, ohms, >= 0. Sources as in `decide`.

    Raises:
        InputImpossible: MAXIMUM_RISK without a risk between 0 and 1.
    """
    match rule:
        case Rule.SIMPLE:
            return 0.0
        case Rule.GUARD_BAND | Rule.NON_BINARY:
            return expanded_ohm
        case Rule.ISO_14253_1:
            return max(ISO_SHARE_OF_EXPANDED * expanded_ohm, law.quantile(ISO_CONFORMANCE))
        case Rule.MAXIMUM_RISK:
            return max(0.0, law.quantile(1.0 - _stated(maximum_risk)))


def _stated(maximum_risk: float | None) -> float:
    if maximum_risk is None:
        raise InputImpossible(
            "The rule 'maximum_risk' has no risk stated.", "Give maximum_risk on the sheet, such as 0.02."
        )
    return probability(maximum_risk, "the maximum risk")


def _too_poor(expanded_ohm: float, limits: Limits, rule: Rule, law: Law, maximum_risk: float | None) -> bool:
    tolerance = limits.tolerance_ohm
    if expanded_ohm > tolerance:
        return True
    if rule is not Rule.MAXIMUM_RISK or math.isinf(tolerance):
        return False
    middle = 0.0 if limits.lower_ohm is None else limits.lower_ohm + tolerance
    return 1.0 - conformance_probability(middle, limits, law) > _stated(maximum_risk)


def _by_zone(rule: Rule, inside: float, guard_ohm: float) -> Outcome:
    if inside >= guard_ohm:
        return Outcome.PASS
    if rule not in (Rule.NON_BINARY, Rule.ISO_14253_1):
        return Outcome.FAIL
    if inside >= 0.0:
        return Outcome.CONDITIONAL_PASS
    return Outcome.CONDITIONAL_FAIL if inside >= -guard_ohm else Outcome.FAIL


def inside_ohm(value_ohm: float, limits: Limits) -> float:
    """Distance to the nearer limit, negative outside, ohms."""
    below = math.inf if limits.upper_ohm is None else limits.upper_ohm - value_ohm
    above = math.inf if limits.lower_ohm is None else value_ohm - limits.lower_ohm
    return min(below, above)


def _refuse_impossible(value_ohm: float, u_ohm: float, expanded_ohm: float, limits: Limits) -> None:
    finite(value_ohm, "the value to be judged in ohms")
    at_least_zero(u_ohm, "the standard uncertainty in ohms")
    at_least_zero(expanded_ohm, "the expanded uncertainty in ohms")
    for name, limit in (("lower", limits.lower_ohm), ("upper", limits.upper_ohm)):
        if limit is not None:
            finite(limit, f"the {name} limit in ohms")
    if limits.lower_ohm is None and limits.upper_ohm is None:
        raise InputImpossible(
            "There is no limit to judge by.", "Give a lower or an upper limit on the sheet."
        )
    if limits.width_ohm < 0.0:
        raise InputImpossible(
            f"The lower limit {limits.lower_ohm:g} Ω lies above the upper limit {limits.upper_ohm:g} Ω.",
            "A tolerance cannot be negative: swap the limits.",
        )
