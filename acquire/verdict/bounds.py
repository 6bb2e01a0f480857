"""Normal laws that end somewhere: no joint has less than no ohms, no winding more than all turns shorted.

Sizes of faults are reckoned as normal laws without an end; what lies beyond their bounds is taken off here,
afterwards. Not for limits of measured values.
"""

from __future__ import annotations

import math

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]

_TAIL = -4.0
_POLYNOMIAL = (0.319381530, -0.356563782, 1.781477937, -1.821255978, 1.330274429)
_SLOPE = 0.2316419
_LOG_ROOT_TWO_PI = 0.5 * math.log(2.0 * math.pi)
_FAR = 6.0
"""Standard deviations from an end beyond which it takes nothing off."""

_LEAST = -700.0
"""Logarithms below this are as good as never, and still numbers."""


def log_below(x: Floats) -> Floats:
    """Logarithm of the normal law's probability below x standard deviations, to a quarter of a per cent.

    Source: Abramowitz and Stegun 1964, 26.2.17 (absolute error below 7.5e-8); 26.2.12 in the lower tail.
    """
    tail = np.minimum(x, _TAIL)
    inverse = 1.0 / tail**2
    series = 1.0 - inverse * (1.0 - 3.0 * inverse * (1.0 - 5.0 * inverse))
    low = -0.5 * tail**2 - np.log(-tail) - _LOG_ROOT_TWO_PI + np.log(series)
    side = np.abs(np.maximum(x, _TAIL))
    t = 1.0 / (1.0 + _SLOPE * side)
    sum_t = np.zeros_like(t)
    for factor in reversed(_POLYNOMIAL):
        sum_t = (sum_t + factor) * t
    beyond = np.exp(-0.5 * side**2 - _LOG_ROOT_TWO_PI) * sum_t
    middle = np.log(np.where(x < 0.0, beyond, 1.0 - beyond))
    result: Floats = np.where(x < _TAIL, low, middle)
    return result


def log_between(mean: Floats, sd: Floats, low: Floats, high: Floats) -> Floats:
    """Logarithm of the probability that a normal law gives to an interval; 0 for a law without width.

    Args:
        mean: of the law.
        sd: of the law.
        low: where the interval begins.
        high: where it ends; infinite where it does not.
    """
    below, above, near = _in_widths(mean, sd, low, high)
    result = np.zeros_like(mean)
    result[near] = _between(below, above)
    return result


def mean_between(mean: Floats, sd: Floats, low: Floats, high: Floats) -> Floats:
    """Mean of a normal law of which only what lies in an interval is left (arguments: `log_between`)."""
    below, above, near = _in_widths(mean, sd, low, high)
    log_inside = _between(below, above) + _LOG_ROOT_TWO_PI
    ends = (np.minimum(np.abs(end), 1e6) for end in (below, above))
    at_low, at_high = (np.exp(np.minimum(-0.5 * end**2 - log_inside, 50.0)) for end in ends)
    result = np.array(mean)
    result[near] = np.clip(mean[near] + sd[near] * (at_low - at_high), low[near], high[near])
    return result


def _in_widths(
    mean: Floats, sd: Floats, low: Floats, high: Floats
) -> tuple[Floats, Floats, NDArray[np.bool_]]:
    """Ends of the interval as seen from the mean, in standard deviations, of those that are near enough."""
    wide = sd > 0.0
    width = np.where(wide, sd, 1.0)
    centre = np.where(wide, mean, 0.0)
    below, above = (low - centre) / width, (high - centre) / width
    near = wide & ((below > -_FAR) | (above < _FAR))
    return below[near], above[near], near


def _between(below: Floats, above: Floats) -> Floats:
    flip = below > 0.0  # in the upper tail differences of probabilities near one would be lost
    start, end = np.where(flip, -above, below), np.where(flip, -below, above)
    log_end = log_below(np.clip(end, -1e6, 40.0))
    log_start = log_below(np.clip(start, -1e6, 40.0))
    rest = -np.expm1(np.minimum(log_start - log_end, 0.0))
    some = rest > 0.0
    result: Floats = np.where(some, log_end + np.log(np.where(some, rest, 1.0)), _LEAST)
    return np.maximum(result, _LEAST)
