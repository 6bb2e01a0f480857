"""Is there a trend? Median of slopes (Theil and Sen) and Kendall's rank correlation, with exact probability.

Robust: a single wild reading moves neither. For the slow drift of a check standard or of a batch. Not for the
rest of a reading (`settle`), and not for a fitted line with uncertainties (`sample.line`).
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from functools import lru_cache

import numpy as np

from acquire.errors import InputImpossible
from acquire.physics.checks import finite
from acquire.physics.laws import normal_cdf

EXACT_UP_TO = 60
"""Points up to which the probability is counted out; beyond it the normal law is good to three digits."""


@dataclass(frozen=True, slots=True)
class Trend:
    """What the ranks of readings say.

    Attributes:
        slope: median of the slopes of all pairs of points, y per x.
        tau: Kendall's rank correlation, -1 to 1; ties count as neither.
        p: probability of a |tau| at least as large where there is no trend (two-sided).
        points: how many.
    """

    slope: float
    tau: float
    p: float
    points: int


def trend(x: Sequence[float], y: Sequence[float]) -> Trend:
    """Slope, rank correlation and probability of points.

    Source: Sen, J. Am. Stat. Assoc. 63 (1968) 1379; Kendall's statistic as in Hollander, Wolfe and Chicken,
    Nonparametric Statistical Methods, 8.1 and 9.1.

    Args:
        x: where each y belongs, all different.
        y: readings; with ties the probability is on the safe side (too large).

    Raises:
        InputImpossible: fewer than three points, unequal numbers, or two at one x.
    """
    count = len(x)
    if count != len(y) or count < 3:
        raise InputImpossible("A trend needs three or more points.", "Measure more often.")
    if len(set(x)) != count:
        raise InputImpossible("Two points of the trend lie at one place.", "Give each its own time.")
    points = [(finite(a, "a time"), finite(b, "a reading")) for a, b in sorted(zip(x, y, strict=True))]
    first, second = _pairs(count)
    places, readings = np.array(points).T
    slopes = (readings[second] - readings[first]) / (places[second] - places[first])
    rising = int(np.sign(slopes).sum())
    return Trend(
        slope=float(np.median(slopes)),
        tau=rising / len(slopes),
        p=min(1.0, 2.0 * _at_least(abs(rising), count)) if rising else 1.0,
        points=count,
    )


@lru_cache(maxsize=4)
def _pairs(count: int) -> tuple[np.ndarray, np.ndarray]:
    """Places of the two points of every pair; rows of a batch are mostly of one length."""
    return np.triu_indices(count, 1)


def _at_least(rising: int, count: int) -> float:
    """Probability that rising pairs exceed falling ones by at least so many in a random order."""
    pairs = count * (count - 1) // 2
    if count > EXACT_UP_TO:
        variance = count * (count - 1) * (2 * count + 5) / 18.0
        return normal_cdf(-(rising - 1) / math.sqrt(variance))
    most_falling = (pairs - rising) // 2
    return math.fsum(_share_with_inversions(count)[: most_falling + 1])


def _share_with_inversions(count: int) -> list[float]:
    """Share of all orders of `count` things that have 0, 1, 2, ... inversions (Knuth, 5.1.1)."""
    shares = [1.0]
    for size in range(2, count + 1):
        wider = [0.0] * (len(shares) + size - 1)
        for inversions, share in enumerate(shares):
            for more in range(size):
                wider[inversions + more] += share / size
        shares = wider
    return shares
