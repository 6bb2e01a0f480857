"""A straight line through the newest points, with uncertainties that know the meter's noise.

Not for deciding whether the line is flat enough: that is `acquire.settle.rest`.
"""

from __future__ import annotations

from dataclasses import dataclass

from acquire.settle.noise import RangeNoise
from acquire.settle.points import Line, Points

_SLOW_SHARE = 0.3  # slow part of a meter's noise that averaging does not lower; simulated readings


@dataclass(slots=True)
class Fit:
    """A line with its uncertainties, in counts and seconds."""

    line: Line
    variance: float
    slope_variance: float
    mean_variance: float
    degrees: float


def fit(points: Points, count: int, noise: RangeNoise) -> Fit:
    """Fit a line to the newest points; prior noise and lag-1 correlation go into its uncertainties.

    The effective number of readings is n (1 - rho) / (1 + rho), the large-n form for an AR(1) sequence.

    Args:
        points: at least `count` of them.
        count: how many of the newest to use, at least 3.
        noise: prior belief on the scatter of one point, in counts.

    Returns:
        The line, and the posterior variances of one point, of the slope and of the mean.
    """
    line = points.line(count)
    inflation = noise.inflation
    degrees = noise.weight + max((count - 2) / inflation, 0.5)
    variance = (noise.weight * noise.variance + line.squares / inflation) / degrees
    slow = _SLOW_SHARE**2 * variance
    return Fit(line, variance, variance * inflation / line.sxx, variance * inflation / count + slow, degrees)
