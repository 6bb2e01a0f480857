"""Tolerance intervals: how wide limits from n good units must be to hold most units to come, and how surely.

For `learn`, which makes a sheet from a few good units: mean ± k · s with k from these functions. Not for the
tolerance of a design (`winding`).
"""

from __future__ import annotations

import math
from collections.abc import Callable
from functools import lru_cache

from acquire.errors import InputImpossible
from acquire.physics.checks import probability
from acquire.physics.laws import chi_square_cdf, normal_cdf, normal_quantile

_STEPS = 400


@lru_cache(maxsize=64)
def two_sided_k(count: int, share: float = 0.95, confidence: float = 0.95) -> float:
    """Exact factor of a two-sided tolerance interval of a normal population, mean and spread both unknown.

    P over the mean's error z / sqrt(n) that chi-square >= (n - 1) r(z)² / k², where r(z) is the half-width
    about the shifted mean that holds `share`; solved for k. Wald and Wolfowitz, Annals of Mathematical
    Statistics 17 (1946) 208; ISO 16269-6 tables the same.

    Args:
        count: good units, >= 2.
        share: of all units to come that the interval is to hold.
        confidence: that it does.

    Raises:
        InputImpossible: fewer than two units or a probability out of range.
    """
    _refuse_impossible(count, share, confidence)
    freedom = count - 1
    nodes = [5.5 * (i + 0.5) / _STEPS for i in range(_STEPS)]
    density = [math.exp(-0.5 * z * z) for z in nodes]
    whole = math.fsum(density)
    radii = [_radius(z / math.sqrt(count), share) for z in nodes]

    def surely(k: float) -> float:
        above = (1.0 - chi_square_cdf(freedom * (r / k) ** 2, freedom) for r in radii)
        return math.fsum(d * a for d, a in zip(density, above, strict=True)) / whole

    least = normal_quantile(0.5 * (1.0 + share))  # of endlessly many units
    return _rising(surely, confidence, least, 1e6 * least)


def _radius(shift: float, share: float) -> float:
    """Half-width about a point `shift` off the mean that holds `share` of a standard normal population."""
    z = normal_quantile(0.5 * (1.0 + share))
    return _rising(lambda r: normal_cdf(shift + r) - normal_cdf(shift - r), share, z, z + shift)


def _rising(of: Callable[[float], float], wanted: float, low: float, high: float) -> float:
    """Where a rising function is so much, between two points, by halving."""
    while low < (middle := 0.5 * (low + high)) < high:
        low, high = (middle, high) if of(middle) < wanted else (low, middle)
    return high


def _refuse_impossible(count: int, share: float, confidence: float) -> None:
    if count < 2:
        raise InputImpossible(f"{count} unit shows no spread.", "Measure at least two good units.")
    probability(share, "the share of units")
    probability(confidence, "the confidence")
