"""Insulation results judged against a lower limit at 40 °C. Not for the temperature rule itself (`physics`).

A reading of "more than" is a lower bound: it can prove a pass, and it can prove nothing else.
"""

from __future__ import annotations

from acquire.choices import Outcome, Rule, Shape
from acquire.errors import InputImpossible
from acquire.physics.checks import above_zero, at_least_zero
from acquire.physics.insulation import Insulation
from acquire.physics.laws import HALF_WIDTH_OVER_U, Law
from acquire.records.verdict import Decision, Limits
from acquire.verdict.guard import decide


def judge_insulation(
    result: Insulation,
    at_least_ohm: float,
    limit_fraction: float,
    rule: Rule,
    maximum_risk: float | None = None,
) -> Decision:
    """Judge an insulation resistance at its reference temperature.

    Args:
        result: from `acquire.physics.insulation.to_reference`.
        at_least_ohm: the limit at the same temperature, ohms, > 0.
        limit_fraction: the instrument's accuracy as a fraction of reading (0.05 is 5 %), a rectangular limit;
            without one there is no verdict.
        rule: decision rule.
        maximum_risk: with `Rule.MAXIMUM_RISK` only.

    Raises:
        InputImpossible: a limit that is not above zero, an accuracy that is negative, missing or not below 1.
    """
    above_zero(at_least_ohm, "the least insulation resistance in ohms")
    if at_least_zero(limit_fraction, "the instrument's accuracy as a fraction of reading") >= 1.0:
        raise InputImpossible(f"An accuracy of {limit_fraction:g} of reading is none.", "Write 5 % as 0.05.")
    half_width_ohm = result.reference_ohm * limit_fraction
    if result.at_least:
        return _decide_bound(result.reference_ohm - half_width_ohm, at_least_ohm)
    u_ohm = half_width_ohm / HALF_WIDTH_OVER_U[Shape.RECTANGULAR]
    return decide(
        result.reference_ohm,
        u_ohm,
        0.95 * half_width_ohm,
        Limits(at_least_ohm, None),
        rule,
        shape=Law.of(Shape.RECTANGULAR, u_ohm),
        maximum_risk=maximum_risk,
    )


def _decide_bound(surely_ohm: float, at_least_ohm: float) -> Decision:
    """A lower bound either lies above the limit or leaves the question open: then no conformity is shown."""
    if surely_ohm >= at_least_ohm:
        return Decision(
            Outcome.PASS,
            guard_band_ohm=0.0,
            conformity=1.0,
        )
    return Decision(
        Outcome.CANNOT_JUDGE,
        guard_band_ohm=0.0,
        conformity=0.0,
    )
