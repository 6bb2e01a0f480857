"""A straight line with uncertainties that know the meter's noise.

Not for deciding whether the line is flat enough: that is `acquire.settle.rest`.
"""

from __future__ import annotations

from dataclasses import dataclass

from acquire.settle.noise import RangeNoise
from acquire.settle.points import Line

_SLOW_SHARE = 0.3  # slow part of a meter's noise that averaging does not lower; simulated readings


@dataclass(slots=True)
class Fit:
    """A line with its uncertainties, in counts and seconds."""

    line: Line
    variance: float
    slope_variance: float
    mean_variance: float
    degrees: float


def fit(line: Line, noise: RangeNoise) -> Fit:
    """Give a line its uncertainties, from prior noise, its own scatter and lag-1 correlation.

    The effective number of readings is n (1 - rho) / (1 + rho), the large-n form for an AR(1) sequence.

    Args:
        line: through at least 3 points.
        noise: prior belief on the scatter of one point, in counts.

    Returns:
        The line, and the posterior variances of one point, of the slope and of the mean.
    """
    count, inflation = line.points, noise.inflation
    degrees = noise.weight + max((count - 2) / inflation, 0.5)
    variance = (noise.weight * noise.variance + line.squares / inflation) / degrees
    slow = _SLOW_SHARE**2 * variance
    return Fit(line, variance, variance * inflation / line.sxx, variance * inflation / count + slow, degrees)
