"""Factors of control charts, reckoned from the normal law rather than copied from a table.

Old tables round, and some misprint (1.774 for 1.744 is one). Not for the limits themselves: `charts`.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from functools import lru_cache

import numpy as np

from acquire.errors import InputImpossible

LARGEST = 25
"""Largest subgroup that factors are given for; handbooks stop here, and ranges of more tell little."""

_REACH, _STEP = 8.0, 0.04
"""Half-width and step of the grid in standard deviations: the normal tail beyond 8 is 1e-15, and Simpson's
rule at this step is good to 1e-8."""


@dataclass(frozen=True, slots=True)
class Factors:
    """Factors for subgroups of n from a normal population with standard deviation 1.

    Attributes:
        d2: mean of the range.
        d3: standard deviation of the range.
        c4: mean of the sample standard deviation.
    """

    d2: float
    d3: float
    c4: float


@lru_cache(maxsize=LARGEST)
def factors(n: int) -> Factors:
    """Factors for subgroups of n.

    The range by its law n · integral of phi(x) (Phi(x + w) - Phi(x))^(n - 1) (Tippett, Biometrika 17 (1925)
    364), its moments by Simpson's rule; c4 by the gamma function (NIST/SEMATECH e-Handbook, 6.3.2). Tables
    of ISO 7870-2 give the same to their digits.

    Args:
        n: 2 to 25.

    Raises:
        InputImpossible: any other number.
    """
    if not 2 <= n <= LARGEST:
        raise InputImpossible(
            f"Chart factors hold for subgroups of 2 to {LARGEST}, not of {n}.", "Choose other subgroups."
        )
    exceeds, width = _range_exceeds(n)
    weights = np.ones_like(width)
    weights[1:-1:2], weights[2:-1:2] = 4.0, 2.0
    weights *= _STEP / 3.0
    d2 = float(weights @ exceeds)
    square = float(weights @ (2.0 * width * exceeds))
    c4 = math.sqrt(2.0 / (n - 1)) * math.exp(math.lgamma(n / 2.0) - math.lgamma((n - 1) / 2.0))
    return Factors(d2, math.sqrt(square - d2 * d2), c4)


def d2_of_groups(n: int, groups: int) -> float:
    """d2* of Duncan: root mean square of the mean range of so many subgroups.

    sqrt(d2² + d3² / groups); a mean range over it, squared, estimates the variance without bias. Source:
    A. J. Duncan, Quality Control and Industrial Statistics (from memory); the values reproduce the factors
    0.7071, 0.5231 and 0.3146 that gauge studies by ranges use.

    Args:
        n: readings in a subgroup, 2 to 25.
        groups: number of subgroups, >= 1.

    Raises:
        InputImpossible: out of range.
    """
    if groups < 1:
        raise InputImpossible("A mean range needs at least one subgroup.", "Give the subgroups.")
    of = factors(n)
    return math.sqrt(of.d2**2 + of.d3**2 / groups)


def _range_exceeds(n: int) -> tuple[np.ndarray, np.ndarray]:
    """Probability that a range of n exceeds each width, and the widths."""
    below, density, count = _normal_grid()
    start = np.arange(count)
    shift = np.arange(0, count)[:, None]
    further = below[np.minimum(start[None, :] + shift, count - 1)]
    inside = np.clip(further - below[None, :], 0.0, 1.0) ** (n - 1)
    at_most = n * _STEP * (inside @ density)
    return 1.0 - at_most, shift[:, 0] * _STEP


@lru_cache(maxsize=1)
def _normal_grid() -> tuple[np.ndarray, np.ndarray, int]:
    """Distribution and density of the normal law on the grid, and its number of points (odd)."""
    points = np.arange(-_REACH, _REACH + _STEP / 2.0, _STEP)
    below = np.array([0.5 * math.erfc(-x / math.sqrt(2.0)) for x in points])
    density = np.exp(-0.5 * points**2) / math.sqrt(2.0 * math.pi)
    return below, density, len(points)
