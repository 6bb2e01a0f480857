"""Inductance, Q and loss against a sister coil or a golden unit.

Such values depend on iron, mounting and frequency, so they are judged as a ratio to a coil measured the same
way, never against a catalogue. Direct current cannot see one shorted turn in a fine coil; Q can. Not for
resistances.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

from acquire.choices import Rule
from acquire.errors import InputImpossible
from acquire.physics.checks import at_least_zero, finite
from acquire.records.verdict import Decision, Limits
from acquire.verdict.guard import decide

K_95 = 1.959964
"""Coverage factor of 95 % for a normal law."""


@dataclass(frozen=True, slots=True)
class Relative:
    """A coil held against its pattern.

    Attributes:
        deviation: value / pattern - 1.
        u_deviation: its standard uncertainty.
        decision: by the named rule, limits and numbers as fractions of the pattern.
    """

    deviation: float
    u_deviation: float
    decision: Decision


def compare(
    value_si: float,
    pattern_si: float,
    relative_u: float,
    *,
    below: float | None,
    above: float | None,
    rule: Rule = Rule.NON_BINARY,
    maximum_risk: float | None = None,
) -> Relative:
    """Judge a coil by how far it lies from its sister or the golden unit, measured at one frequency.

    Ordinary sisters differ by 1 to 3 % in inductance and 5 % in Q (from memory), so tighter limits need a
    golden unit of the same iron. A low Q with an ordinary inductance points to shorted turns.

    Args:
        value_si: of the one to be judged: henry, or 1 for Q and the dissipation factor; > 0.
        pattern_si: of sister or golden unit, same iron, mounting and frequency.
        relative_u: standard uncertainty of either as a fraction, without what both share: the same meter's
            gain at the same frequency cancels in the ratio.
        below: how far below the pattern it may be, as a fraction (0.05 is 5 %); None: not limited.
        above: how far above; None: not limited.
        rule: decision rule.
        maximum_risk: with `Rule.MAXIMUM_RISK` only.

    Raises:
        InputImpossible: a value not above zero (an inductance reads negative above the coil's own resonance),
            a negative tolerance or uncertainty, or no limit at all.
    """
    for each in (value_si, pattern_si):
        if finite(each, "a coil's value") <= 0.0:
            raise InputImpossible(
                f"A value of {each:g} cannot be compared.",
                "An inductance reads negative above the coil's own resonance: use a lower frequency.",
            )
    at_least_zero(relative_u, "the relative uncertainty of a coil's value")
    for side in (below, above):
        if side is not None:
            at_least_zero(side, "the tolerance against the pattern as a fraction")
    ratio = value_si / pattern_si
    u = ratio * math.sqrt(2.0) * relative_u
    limits = Limits(None if below is None else -below, None if above is None else above)
    if limits.lower_ohm is None and limits.upper_ohm is not None:
        # An upper limit alone counts from zero in `decide`; a deviation begins at -1.
        limits = Limits(-1.0, limits.upper_ohm)
    decision = decide(
        ratio - 1.0,
        u,
        K_95 * u,
        limits,
        rule,
        maximum_risk=maximum_risk,
    )
    return Relative(deviation=ratio - 1.0, u_deviation=u, decision=decision)
