"""Control charts: individuals with moving range, means with ranges or deviations, and their run rules.

For looking back at a batch: centre and limits come from the points themselves, by factors that are reckoned
from the normal law rather than copied from a table (old tables round, and some misprint: 1.774 for 1.744 is
one). Not for the check standard (`physics.check_standard`, whose reckoning is used here too), nor for judging
a unit: a chart knows nothing of the sheet's limits.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from enum import StrEnum
from functools import lru_cache
from itertools import pairwise
from operator import attrgetter

import numpy as np

from acquire.errors import InputImpossible
from acquire.physics.check_standard import chart_of
from acquire.physics.checks import all_finite
from acquire.records.codes import RUN_LENGTH

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


class RunRule(StrEnum):
    """What chance rarely does.

    The zone tests of the Statistical Quality Control Handbook (Western Electric, 1956; from memory), which
    counts 8 in a row on one side; ISO 8258:1991, which ISO 7870-2 replaced, 9 as here. On points in control
    the first call comes after 111 points on average, with the limits alone after 370 (simulated;
    tests/unit/test_stats_charts_run_rules.py does it in short).
    """

    BEYOND = "beyond a limit"
    TWO_OF_THREE = "two of three beyond two sigma"
    FOUR_OF_FIVE = "four of five beyond one sigma"
    RUN = "nine in a row on one side"


@dataclass(frozen=True, slots=True)
class Signal:
    """Something on a chart that chance rarely does, on one side: +1 above the centre, -1 below.

    `start` and `end` are places of values or subgroups, counted from 0, both included.
    """

    rule: RunRule
    start: int
    end: int
    side: int

    def sentence(self, names: Sequence[str]) -> str:
        """The signal in one plain sentence; names of the values or subgroups, e.g. serials."""
        first, last = names[self.start], names[self.end]
        count = self.end - self.start + 1
        above = "above" if self.side > 0 else "below"
        if self.rule is RunRule.BEYOND and count == 1:
            return f"{first} lies {above} its limit."
        return f"{first} to {last} " + _SAID[self.rule].format(above=above, count=count)


_SAID = {
    RunRule.BEYOND: "lie {above} their limit, {count} in a row.",
    RunRule.RUN: "lie {above} the centre, {count} in a row: the level has moved.",
    RunRule.TWO_OF_THREE: "lie far {above} the centre: two of any three by more than two sigma.",
    RunRule.FOUR_OF_FIVE: "lie {above} the centre: four of any five by more than one sigma.",
}


def signals(chart: Chart, rules: Iterable[RunRule] = RunRule) -> tuple[Signal, ...]:
    """What the rules say of a chart, in order of place.

    A lasting run is one signal, not one for every further point. On charts of spread only the limits count:
    their law is skewed, and moving ranges hang together.
    """
    zones = chart.plotted.symmetrical and chart.sigma > 0.0
    asked = rules if zones else [rule for rule in rules if rule is RunRule.BEYOND]
    points, found = np.asarray(chart.points), list[Signal]()
    for rule in asked:
        sigmas, needed, of = _ZONES[rule]
        low, high = (chart.centre + side * sigmas * chart.sigma for side in (-1.0, 1.0))
        low, high = (chart.lower, chart.upper) if rule is RunRule.BEYOND else (low, high)
        found += _windows(rule, (points > high).astype(int) - (points < low).astype(int), needed, of)
    found = [Signal(s.rule, s.start + chart.first, s.end + chart.first, s.side) for s in found]
    return tuple(sorted(found, key=attrgetter("start", "end", "rule")))


_ZONES = {
    RunRule.BEYOND: (3.0, 1, 1),
    RunRule.TWO_OF_THREE: (2.0, 2, 3),
    RunRule.FOUR_OF_FIVE: (1.0, 4, 5),
    RunRule.RUN: (0.0, RUN_LENGTH, RUN_LENGTH),
}
"""Beyond how many sigma a point counts, and how many of how many neighbours must."""


def _windows(rule: RunRule, marks: np.ndarray, needed: int, of: int) -> list[Signal]:
    """Where at least `needed` of `of` neighbours carry one mark, overlapping places joined, for each side."""
    found: list[Signal] = []
    for side in (1, -1):
        hits = marks == side
        before = np.concatenate([[0], np.cumsum(hits)])
        starts = np.flatnonzero(before[of:] - before[:-of] >= needed)
        if not len(starts):
            continue
        places = np.flatnonzero(hits)
        first = places[before[starts]]  # the first and the last hit within each window
        last = places[before[starts + of] - 1]
        joined = np.flatnonzero(first[1:] > np.maximum.accumulate(last)[:-1] + 1) + 1
        edges = [0, *joined.tolist(), len(starts)]
        found += [Signal(rule, int(first[a]), int(last[b - 1]), side) for a, b in pairwise(edges)]
    return found
