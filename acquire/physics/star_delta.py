"""Three-phase windings: phase values from terminal readings, and back; the balance of the phases.

Balance is judged on phases, not on terminal readings: one phase of a star that is 5 % low shows as only 1.7 %
at the terminals. Not for windings of any other circuit: `network` solves those.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import NamedTuple

from acquire.errors import InputImpossible
from acquire.physics.checks import above_zero, at_least_zero


class Three(NamedTuple):
    """Three resistances in ohms.

    As lines: between the terminals U-V, V-W and W-U. As a star: the phases of U, V and W to the neutral. As a
    delta: the phases between U-V, V-W and W-U.
    """

    first_ohm: float
    second_ohm: float
    third_ohm: float


def lines_of_star(star: Three) -> Three:
    """Terminal readings of a star: the two phases in series.

    Raises:
        InputImpossible: a phase that is not above zero.
    """
    u, v, w = _above_zero(star, "phase")
    return Three(u + v, v + w, w + u)


def star_of_lines(lines: Three) -> Three:
    """Phases of a star from its terminal readings: U = (UV + WU - VW) / 2 and in turn.

    Raises:
        InputImpossible: a reading that is not above zero, or readings that no star can have (one is larger
            than the other two together).
    """
    uv, vw, wu = _above_zero(lines, "terminal reading")
    phases = Three((uv + wu - vw) / 2.0, (uv + vw - wu) / 2.0, (vw + wu - uv) / 2.0)
    if min(phases) <= 0.0:
        raise InputImpossible(
            f"Terminal readings of {uv:g}, {vw:g} and {wu:g} Ω belong to no star or delta.",
            "One of them is larger than the other two together: measure again.",
        )
    return phases


def lines_of_delta(delta: Three) -> Three:
    """Terminal readings of a delta: each phase in parallel with the other two in series.

    Raises:
        InputImpossible: a phase that is not above zero.
    """
    uv, vw, wu = _above_zero(delta, "phase")
    whole = uv + vw + wu
    return Three(uv * (vw + wu) / whole, vw * (wu + uv) / whole, wu * (uv + vw) / whole)


def delta_of_lines(lines: Three) -> Three:
    """Phases of a delta from its terminal readings, by way of the star that reads the same.

    Raises:
        InputImpossible: as `star_of_lines`.
    """
    return delta_of_star(star_of_lines(lines))


def delta_of_star(star: Three) -> Three:
    """The delta that reads the same as a star at all terminals: UV = (U·V + V·W + W·U) / W and in turn.

    Raises:
        InputImpossible: a phase that is not above zero.
    """
    u, v, w = _above_zero(star, "phase")
    products = u * v + v * w + w * u
    return Three(products / w, products / u, products / v)


def star_of_delta(delta: Three) -> Three:
    """The star that reads the same as a delta: U = UV·WU / (UV + VW + WU) and in turn.

    Raises:
        InputImpossible: a phase that is not above zero.
    """
    uv, vw, wu = _above_zero(delta, "phase")
    whole = uv + vw + wu
    return Three(uv * wu / whole, uv * vw / whole, vw * wu / whole)


def excess_in_common_lead(first_ohm: float, second_ohm: float, across_ohm: float) -> float:
    """What a pin shared by two windings has in its own lead: (R12 + R23 - R13) / 2, ohms.

    Separates a bad joint in the common pin (it shows here) from a bad winding (it does not).
    """
    return (first_ohm + second_ohm - across_ohm) / 2.0


@dataclass(frozen=True, slots=True)
class Imbalance:
    """How unequal windings that should be alike are.

    Attributes:
        fraction: largest deviation from their mean, as a fraction of the mean.
        u_fraction: its standard uncertainty.
        worst: index of the winding that deviates most.
    """

    fraction: float
    u_fraction: float
    worst: int


def imbalance(phases_ohm: Sequence[float], u_ohm: Sequence[float] | None = None) -> Imbalance:
    """Largest deviation from the mean of windings that should be alike.

    ANSI/EASA AR100-2020 allows 2 % for random-wound windings and 1 % for form-wound ones, concentric windings
    excepted. Used here on phases.

    Args:
        phases_ohm: two or more, > 0.
        u_ohm: standard uncertainty of each that is its own (what all share, such as temperature or the
            meter's gain, cancels); None counts as zero.

    Raises:
        InputImpossible: fewer than two, one not above zero, or a negative uncertainty.
    """
    count = len(phases_ohm)
    if count < 2:
        raise InputImpossible("Balance needs at least two windings.", "Name two or more.")
    for ohm in phases_ohm:
        above_zero(ohm, "a winding's resistance in ohms")
    own = (
        [0.0] * count
        if u_ohm is None
        else [at_least_zero(u, "a winding's uncertainty in ohms") for u in u_ohm]
    )
    mean = math.fsum(phases_ohm) / count
    worst = max(range(count), key=lambda i: abs(phases_ohm[i] - mean))
    slopes = [((i == worst) - phases_ohm[worst] / (count * mean)) / mean for i in range(count)]
    return Imbalance(
        fraction=abs(phases_ohm[worst] - mean) / mean,
        u_fraction=math.hypot(*(slope * u for slope, u in zip(slopes, own, strict=True))),
        worst=worst,
    )


def star_u_ohm(u_lines_ohm: Three) -> float:
    """Standard uncertainty of each phase of a star from those of its three independent terminal readings."""
    return math.hypot(*u_lines_ohm) / 2.0


def _above_zero(three: Three, what: str) -> Three:
    for ohm in three:
        above_zero(ohm, f"a {what} in ohms")
    return three
