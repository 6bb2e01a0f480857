"""Repeated readings: mean, spread, uncertainty of the mean, correlation, pooling, and a line through them.

Evaluation of type A (JCGM 100:2008, 4.2). Sums are taken about the mean and exactly rounded, so that ten
million plus a tenth keeps its tenth. Not for a stream of readings that may still be moving: `settle` judges
those.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from operator import mul

from acquire.errors import InputImpossible
from acquire.physics.checks import all_finite


@dataclass(frozen=True, slots=True)
class Sample:
    """What n readings of one thing tell.

    Attributes:
        count: number of readings.
        mean: arithmetic mean.
        standard_deviation: of single readings, n - 1 in the denominator; 0 for a single one.
        lag_1: autocorrelation of neighbours, 0 where there are fewer than three or no spread.
    """

    count: int
    mean: float
    standard_deviation: float
    lag_1: float

    @property
    def u_of_mean(self) -> float:
        """Standard uncertainty of the mean of independent readings, s / sqrt(n)."""
        return self.standard_deviation / math.sqrt(self.count)

    @property
    def u_of_mean_correlated(self) -> float:
        """The same for readings that follow each other: n replaced by n (1 - r) / (1 + r), r >= 0 only.

        The effective number for a first-order autoregressive series (large-n form).
        """
        r = min(max(self.lag_1, 0.0), 0.99)
        return self.u_of_mean * math.sqrt((1.0 + r) / (1.0 - r))


def sample(readings: Sequence[float]) -> Sample:
    """Mean, spread and lag-1 correlation of readings, in two passes.

    Source: JCGM 100:2008, 4.2.1 and 4.2.2; lag-1 as NIST's reference data sets define it.

    Raises:
        InputImpossible: no reading, or one that is no finite number.
    """
    count = len(readings)
    if count == 0:
        raise InputImpossible("There are no readings to evaluate.", "Measure at least once.")
    all_finite(readings, "a reading")
    mean = math.fsum(readings) / count
    off = [reading - mean for reading in readings]
    square = math.fsum(map(mul, off, off))
    lag = math.fsum(map(mul, off, off[1:])) / square if count > 2 and square > 0.0 else 0.0
    deviation = math.sqrt(square / (count - 1)) if count > 1 else 0.0
    return Sample(count, mean, deviation, lag)


def correlation(first: Sequence[float], second: Sequence[float]) -> float:
    """Correlation coefficient of readings taken in pairs (JCGM 100:2008, 5.2.3 and C.3.6).

    Raises:
        InputImpossible: fewer than two pairs, unequal numbers, or no spread in one of them.
    """
    if len(first) != len(second) or len(first) < 2:
        raise InputImpossible("Correlation needs two or more readings in pairs.", "Measure both each time.")
    a, b = sample(first), sample(second)
    if a.standard_deviation == 0.0 or b.standard_deviation == 0.0:
        raise InputImpossible("Readings that never vary have no correlation.", "Leave it out.")
    mixed = math.fsum((x - a.mean) * (y - b.mean) for x, y in zip(first, second, strict=True))
    return mixed / ((a.count - 1) * a.standard_deviation * b.standard_deviation)


def pooled(deviations: Sequence[tuple[float, float]]) -> tuple[float, float]:
    """One standard deviation from several, and its degrees of freedom.

    s² = sum(nu_i s_i²) / sum(nu_i); NIST/SEMATECH e-Handbook, 2.4.4.4.

    Args:
        deviations: (standard deviation, degrees of freedom) of each.

    Raises:
        InputImpossible: none, or none with any freedom.
    """
    freedom = math.fsum(nu for _, nu in deviations)
    if freedom <= 0.0:
        raise InputImpossible("There is no spread to pool.", "Give at least two readings of one thing.")
    return math.sqrt(math.fsum(nu * s * s for s, nu in deviations) / freedom), freedom


@dataclass(frozen=True, slots=True)
class Line:
    """A straight line y = intercept + slope · (x - origin) by least squares.

    Attributes:
        origin: x that the intercept belongs to.
        intercept, slope: the fit.
        u_intercept, u_slope: their standard uncertainties, from the scatter about the line.
        correlation: of the two, -1 to 1.
        scatter: standard deviation about the line.
        degrees_of_freedom: n - 2.
    """

    origin: float
    intercept: float
    slope: float
    u_intercept: float
    u_slope: float
    correlation: float
    scatter: float
    degrees_of_freedom: int

    def at(self, x: float) -> tuple[float, float]:
        """Value of the line at x, and its standard uncertainty with the correlation counted (GUM H.3.4)."""
        d = x - self.origin
        variance = self.u_intercept**2 + (d * self.u_slope) ** 2
        variance += 2.0 * d * self.correlation * self.u_intercept * self.u_slope
        return self.intercept + self.slope * d, math.sqrt(max(0.0, variance))


def line(x: Sequence[float], y: Sequence[float], origin: float = 0.0) -> Line:
    """Least-squares line with uncertainties; for the drift of a check standard or a thermometer.

    Source: JCGM 100:2008, H.3.2 and H.3.3.

    Args:
        x: where each y was read; not all the same.
        y: readings, three or more.
        origin: x that the intercept is to be given for.

    Raises:
        InputImpossible: fewer than three points, unequal numbers, or all at one x.
    """
    count = len(x)
    if count != len(y) or count < 3:
        raise InputImpossible("A line needs three or more points.", "Measure more often.")
    xs, ys = sample(x), sample(y)
    square = (count - 1) * xs.standard_deviation**2
    if square == 0.0:
        raise InputImpossible("All points of the line lie at one place.", "Spread them out.")
    slope = math.fsum((a - xs.mean) * (b - ys.mean) for a, b in zip(x, y, strict=True)) / square
    intercept = ys.mean + slope * (origin - xs.mean)
    left = math.fsum((b - intercept - slope * (a - origin)) ** 2 for a, b in zip(x, y, strict=True))
    scatter = math.sqrt(left / (count - 2))
    away = xs.mean - origin
    u_slope = scatter / math.sqrt(square)
    u_intercept = scatter * math.sqrt(1.0 / count + away * away / square)
    return Line(
        origin=origin,
        intercept=intercept,
        slope=slope,
        u_intercept=u_intercept,
        u_slope=u_slope,
        correlation=-away / math.sqrt(square / count + away * away),
        scatter=scatter,
        degrees_of_freedom=count - 2,
    )
