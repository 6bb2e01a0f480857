"""Control charts: individuals with moving range, means with ranges or standard deviations.

For looking back at a batch: centre and limits come from the points themselves. Not for the check standard
(`physics.check_standard`, whose reckoning is used here too), nor for judging a unit: a chart knows nothing of
the sheet's limits. What its points say is read by `run_rules` and `levels`.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from enum import StrEnum

import numpy as np

from acquire.errors import InputImpossible
from acquire.physics.check_standard import chart_of
from acquire.physics.checks import all_finite
from acquire.stats.constants import factors

LARGEST_RANGE = 10
"""Subgroups up to this size are charted by ranges, larger ones by standard deviations; usual practice."""


class Plotted(StrEnum):
    """What the points of a chart are."""

    VALUE = "value"
    MOVING_RANGE = "moving range"
    MEAN = "mean of a subgroup"
    RANGE = "range of a subgroup"
    DEVIATION = "standard deviation of a subgroup"

    @property
    def symmetrical(self) -> bool:
        """Whether the points scatter alike to both sides, so that zones of one and two sigma make sense."""
        return self in {Plotted.VALUE, Plotted.MEAN}


@dataclass(frozen=True, slots=True)
class Chart:
    """One chart: points with their centre and limits, all in the unit of the points.

    Attributes:
        plotted: what the points are.
        points: in order of time; a moving range stands at the later of its two values.
        first: place of the first point among the values or subgroups, 0, or 1 for moving ranges.
        centre, lower, upper: the lines. The lower one of a spread is 0 where the factor says none.
        sigma: standard deviation of a point, (upper - centre) / 3.
    """

    plotted: Plotted
    points: tuple[float, ...]
    first: int
    centre: float
    lower: float
    upper: float

    @property
    def sigma(self) -> float:
        """Standard deviation of one point."""
        return (self.upper - self.centre) / 3.0


@dataclass(frozen=True, slots=True)
class ChartPair:
    """Where the values lie, and how they scatter.

    Attributes:
        level: chart of values or means.
        spread: chart of moving ranges, ranges or standard deviations.
        sigma: standard deviation of single values, from the spread within.
        size: values in a subgroup; 1 for individuals.
        freedom: degrees of freedom that `sigma` is worth.
    """

    level: Chart
    spread: Chart
    sigma: float
    size: int
    freedom: float


def individuals(values: Sequence[float]) -> ChartPair:
    """Chart of single values and of their moving ranges.

    Source: NIST/SEMATECH e-Handbook, 6.3.2.2; the same factors as the chart of the check standard.

    Args:
        values: two or more, in order of time.

    Raises:
        InputImpossible: too few values, or one that is no finite number.
    """
    of = chart_of(values)
    ranges = tuple(np.abs(np.diff(values)).tolist())
    level = Chart(Plotted.VALUE, tuple(values), 0, of.centre_ohm, of.lower_ohm, of.upper_ohm)
    spread = Chart(Plotted.MOVING_RANGE, ranges, 1, of.moving_range_ohm, 0.0, of.moving_range_upper_ohm)
    return ChartPair(level, spread, of.sigma_ohm, 1, freedom_of_moving_range(len(values)))


def subgroups(values: Sequence[float], size: int, plotted: Plotted | None = None) -> ChartPair:
    """Chart of the means of neighbours in time, and of their ranges or standard deviations.

    The mean spread over d2 or c4 gives sigma; means lie within 3 sigma / sqrt(size), spreads within 1 ± 3
    times their coefficient of variation, d3 / d2 or sqrt(1 - c4²) / c4: A2, A3, B3, B4, D3 and D4 of the
    tables (ISO 7870-2; e-Handbook, 6.3.2.1).

    Args:
        values: in order of time; the last few that fill no subgroup are left out.
        size: of a subgroup, 2 to 25.
        plotted: RANGE or DEVIATION; None: ranges up to `LARGEST_RANGE` values.

    Raises:
        InputImpossible: fewer values than one subgroup needs, or one that is no finite number.
    """
    of, plotted = factors(size), plotted or (Plotted.RANGE if size <= LARGEST_RANGE else Plotted.DEVIATION)
    if len(values) < size:
        what = f"{len(values)} values make no subgroup of {size}."
        raise InputImpossible(what, "Take smaller subgroups, or individuals.")
    all_finite(values, "a value of the chart")
    groups = np.reshape(values[: len(values) - len(values) % size], (-1, size))
    if plotted is Plotted.RANGE:
        spreads, mean, deviation = np.ptp(groups, axis=1), of.d2, of.d3
    else:
        spreads, mean, deviation = groups.std(axis=1, ddof=1), of.c4, math.sqrt(1.0 - of.c4**2)
    means, variation = groups.mean(axis=1), deviation / mean
    centre, middle = float(means.mean()), float(spreads.mean())
    half = 3.0 * middle / mean / math.sqrt(size)
    level = Chart(Plotted.MEAN, tuple(means.tolist()), 0, centre, centre - half, centre + half)
    limits = max(0.0, 1.0 - 3.0 * variation) * middle, (1.0 + 3.0 * variation) * middle
    spread = Chart(plotted, tuple(spreads.tolist()), 0, middle, *limits)
    freedom = freedom_of_variation(variation / math.sqrt(len(groups)))
    return ChartPair(level, spread, middle / mean, size, freedom)


def freedom_of_moving_range(count: int) -> float:
    """Degrees of freedom that a sigma from the mean moving range of so many values is worth.

    The mean of count - 1 ranges, neighbours of which share a value: the variance of a range of two is
    2 - 4/pi, the covariance of neighbours 4/pi (sqrt(3)/2 + pi/12) - 4/pi (from E|XY| of a bivariate normal
    law with correlation -1/2).
    """
    ranges = count - 1
    alone, shared = 2.0 - 4.0 / math.pi, 4.0 / math.pi * (math.sqrt(0.75) + math.pi / 12.0 - 1.0)
    variance = (ranges * alone + 2.0 * (ranges - 1) * shared) / ranges**2
    return freedom_of_variation(math.sqrt(variance) * math.sqrt(math.pi) / 2.0)


def freedom_of_variation(coefficient: float) -> float:
    """Degrees of freedom of the chi law with this coefficient of variation.

    1/(2 c²) + 1/4, good to 2 % from one degree upwards. Patnaik, Biometrika 37 (1950) 78, matched the mean
    range so.
    """
    return 0.5 / coefficient**2 + 0.25
