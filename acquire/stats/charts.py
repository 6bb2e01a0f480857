"""Control charts: individuals with moving range, means with ranges or standard deviations.

For looking back at a batch: centre and limits come from the points themselves, or from the first so many of
them. Not for the check standard of the day (`physics.check_standard`, whose reckoning is used here too), and
not for judging a unit: a chart knows nothing of the sheet's limits. What its
points say is read by `run_rules` and `levels`.
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
from acquire.physics.sample import pooled, sample
from acquire.stats.constants import factors


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


def individuals(values: Sequence[float], limits_from: int | None = None) -> ChartPair:
    """Chart of single values and of their moving ranges.

    Source: NIST/SEMATECH e-Handbook, 6.3.2.2; the same factors as the chart of the check standard.

    Args:
        values: two or more, in order of time.
        limits_from: the limits come from the first so many values, 2 or more; None takes all.

    Raises:
        InputImpossible: too few values, or one that is no finite number.
    """
    base = _base(values, limits_from)
    of = chart_of(base)
    ranges = tuple(np.abs(np.diff(values)).tolist())
    level = Chart(Plotted.VALUE, tuple(values), 0, of.centre_ohm, of.lower_ohm, of.upper_ohm)
    spread = Chart(Plotted.MOVING_RANGE, ranges, 1, of.moving_range_ohm, 0.0, of.moving_range_upper_ohm)
    return ChartPair(level, spread, of.sigma_ohm, 1, freedom_of_moving_range(len(base)))


def means_and_ranges(groups: Sequence[Sequence[float]], limits_from: int | None = None) -> ChartPair:
    """Chart of the means of subgroups and of their ranges.

    Mean ± A2 · mean range; ranges between D3 and D4 times their mean (ISO 7870-2; e-Handbook, 6.3.2.1).

    Args:
        groups: subgroups of equal size, 2 to 25 values each, in order of time.
        limits_from: the limits come from the first so many subgroups; None takes all.

    Raises:
        InputImpossible: no or unequal subgroups, or a value that is no finite number.
    """
    size = _size(groups)
    of = factors(size)
    means = [math.fsum(group) / size for group in groups]
    ranges = [max(group) - min(group) for group in groups]
    base = len(groups) if limits_from is None else _enough(limits_from, len(groups), 1)
    centre, mean_range = math.fsum(means[:base]) / base, math.fsum(ranges[:base]) / base
    half = of.a2 * mean_range
    level = Chart(Plotted.MEAN, tuple(means), 0, centre, centre - half, centre + half)
    spread = Chart(
        Plotted.RANGE, tuple(ranges), 0, mean_range, of.d3_lower * mean_range, of.d4_upper * mean_range
    )
    freedom = freedom_of_variation(of.d3 / of.d2 / math.sqrt(base))
    return ChartPair(level, spread, mean_range / of.d2, size, freedom)


def means_and_deviations(groups: Sequence[Sequence[float]], limits_from: int | None = None) -> ChartPair:
    """Chart of the means of subgroups and of their standard deviations.

    Mean ± A3 · mean s; s between B3 and B4 times its mean (ISO 7870-2; e-Handbook, 6.3.2.1).

    Args:
        groups: as `means_and_ranges`.
        limits_from: as `means_and_ranges`.

    Raises:
        InputImpossible: as `means_and_ranges`.
    """
    size = _size(groups)
    of = factors(size)
    samples = [sample(group) for group in groups]
    base = len(groups) if limits_from is None else _enough(limits_from, len(groups), 1)
    centre = math.fsum(each.mean for each in samples[:base]) / base
    mean_s = math.fsum(each.standard_deviation for each in samples[:base]) / base
    half = of.a3 * mean_s
    level = Chart(Plotted.MEAN, tuple(each.mean for each in samples), 0, centre, centre - half, centre + half)
    deviations = tuple(each.standard_deviation for each in samples)
    spread = Chart(Plotted.DEVIATION, deviations, 0, mean_s, of.b3 * mean_s, of.b4 * mean_s)
    freedom = freedom_of_variation(math.sqrt(1.0 - of.c4**2) / of.c4 / math.sqrt(base))
    return ChartPair(level, spread, mean_s / of.c4, size, freedom)


def pooled_within(groups: Sequence[Sequence[float]]) -> tuple[float, float]:
    """Standard deviation within subgroups, pooled, and its degrees of freedom.

    Raises:
        InputImpossible: as `means_and_ranges`.
    """
    size = _size(groups)
    return pooled([(sample(group).standard_deviation, size - 1.0) for group in groups])


def in_subgroups(values: Sequence[float], size: int) -> tuple[tuple[float, ...], ...]:
    """Neighbours in time as subgroups; the last few that fill none are left out.

    Raises:
        InputImpossible: fewer values than one subgroup needs.
    """
    if size < 2 or len(values) < size:
        raise InputImpossible(
            f"{len(values)} values make no subgroup of {size}.",
            "Take subgroups of 2 or more, or individuals.",
        )
    return tuple(tuple(values[i : i + size]) for i in range(0, len(values) - size + 1, size))


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


def _base(values: Sequence[float], limits_from: int | None) -> Sequence[float]:
    all_finite(values, "a value of the chart")
    return values if limits_from is None else values[: _enough(limits_from, len(values), 2)]


def _enough(limits_from: int, count: int, fewest: int) -> int:
    if not fewest <= limits_from <= count:
        raise InputImpossible(
            f"The limits cannot come from {limits_from} of {count} points.",
            f"Take {fewest} or more, and no more than there are.",
        )
    return limits_from


def _size(groups: Sequence[Sequence[float]]) -> int:
    sizes = {len(group) for group in groups}
    if len(sizes) != 1:
        raise InputImpossible(
            "A chart of subgroups needs one or more, all of one size.", "Leave out the incomplete ones."
        )
    for group in groups:
        all_finite(group, "a value of the chart")
    return sizes.pop()
