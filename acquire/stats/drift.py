"""Does it matter which day, meter, operator or spool? Means by group with a test, and the trend of a batch.

Not for a sudden change of level (`levels`), and not for whether a meter is in control
(`physics.check_standard`).
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from acquire.errors import InputImpossible
from acquire.physics.checks import all_finite
from acquire.physics.laws import fisher_tail, student_quantile
from acquire.physics.sample import Sample, sample
from acquire.physics.trend import Trend, trend
from acquire.quantity import chance

MOST_POINTS = 400
"""Points that a trend is reckoned from; longer rows are averaged in blocks of neighbours, since the number of
pairs grows with the square."""

BY_CHANCE = 0.01
"""Probability below which a difference of groups is told."""


@dataclass(frozen=True, slots=True)
class Group:
    """What one day, meter, operator or spool read.

    Attributes:
        name: of the group.
        of: count, mean and spread.
        low, high: 95 % interval of the mean by the spread within all groups; infinite where that is unknown.
    """

    name: str
    of: Sample
    low: float
    high: float


@dataclass(frozen=True, slots=True)
class ByGroup:
    """Values by group, and whether the groups differ.

    Attributes:
        groups: in order of their first value.
        f: mean square between groups over that within; None where it cannot be reckoned.
        p: probability that groups that do not differ give an f as large; None likewise.
        between_s: standard deviation between groups, what is left after the spread within; 0 if none.
        within_s: standard deviation within groups.
        share: of the variance that the groups explain, 0 to 1.
    """

    groups: tuple[Group, ...]
    f: float | None
    p: float | None
    between_s: float
    within_s: float
    share: float


def by_group(values: Sequence[float], names: Sequence[str]) -> ByGroup:
    """Means by group, and a one-way analysis of variance.

    Source: NIST/SEMATECH e-Handbook, 7.4.3; variance between groups by the method of moments for unequal
    sizes (Searle, Casella and McCulloch, Variance Components, 3.6; from memory).

    Args:
        values: two or more.
        names: of the group that each value belongs to.

    Raises:
        InputImpossible: fewer than two values, unequal numbers, or a value that is no finite number.
    """
    if len(values) != len(names) or len(values) < 2:
        raise InputImpossible("Groups need two or more values, each with a name.", "Measure more units.")
    all_finite(values, "a value of the batch")
    rows: dict[str, list[float]] = {}
    for value, name in zip(values, names, strict=True):
        rows.setdefault(name, []).append(value)
    samples = {name: sample(row) for name, row in rows.items()}
    count = len(values)
    mean = math.fsum(values) / count
    within = math.fsum((s.count - 1) * s.standard_deviation**2 for s in samples.values())
    between = math.fsum(s.count * (s.mean - mean) ** 2 for s in samples.values())
    freedom, groups = count - len(samples), len(samples)
    mean_within = within / freedom if freedom else 0.0
    f = p = None
    if freedom and groups > 1 and mean_within > 0.0:
        f = between / (groups - 1) / mean_within
        p = fisher_tail(f, groups - 1, freedom)
    size = (count - math.fsum(s.count**2 for s in samples.values()) / count) / max(1, groups - 1)
    extra = (between / (groups - 1) - mean_within) / size if groups > 1 else 0.0
    half = student_quantile(0.975, freedom) * math.sqrt(mean_within) if freedom else math.inf
    return ByGroup(
        groups=tuple(
            Group(n, s, s.mean - half / math.sqrt(s.count), s.mean + half / math.sqrt(s.count))
            for n, s in samples.items()
        ),
        f=f,
        p=p,
        between_s=math.sqrt(max(0.0, extra)),
        within_s=math.sqrt(mean_within),
        share=between / (between + within) if between + within > 0.0 else 0.0,
    )


def sentence_of(by: ByGroup, what: str) -> str:
    """What the groups say, in one sentence; `what` as it reads after "by": "spool", "meter", ..."""
    if len(by.groups) < 2:
        return f"Only one {what}: nothing to compare."
    if by.p is None:
        return f"Too few values for each {what} to tell differences from chance."
    if by.p >= BY_CHANCE:
        return f"By {what} there is no difference that chance would not make ({chance(by.p)})."
    high = max(by.groups, key=lambda g: g.of.mean)
    low = min(by.groups, key=lambda g: g.of.mean)
    return (
        f"By {what} the means differ ({chance(by.p)}): {high.name} reads highest, {low.name} lowest, "
        f"{high.of.mean - low.of.mean:.4g} apart; this makes {100.0 * by.share:.0f} % of the variance."
    )


def drift(values: Sequence[float], x: Sequence[float] | None = None) -> Trend:
    """Median slope, rank correlation and probability of a row, a long one averaged in blocks of neighbours.

    Args:
        values: three or more, in order of time.
        x: where each belongs, rising; None counts 0, 1, 2, ...

    Raises:
        InputImpossible: fewer than three values, unequal numbers, two at one x, or no finite number.
    """
    values = [float(value) for value in values]
    places = [float(place) for place in (range(len(values)) if x is None else x)]
    if len(places) != len(values):
        raise InputImpossible("A trend needs a place for each value.", "Give as many of one as of the other.")
    blocks = max(1, math.ceil(len(values) / MOST_POINTS))
    return trend(_averaged(places, blocks), _averaged(values, blocks))


def _averaged(values: list[float], blocks: int) -> list[float]:
    if blocks == 1:
        return values
    edges = np.linspace(0, len(values), math.ceil(len(values) / blocks) + 1).astype(int)
    sums: list[float] = (np.add.reduceat(np.asarray(values), edges[:-1]) / np.diff(edges)).tolist()
    return sums
