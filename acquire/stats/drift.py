"""What moves a batch: lasting changes of level, slow drift, and differences of day, meter, operator or spool.

A chart says that something moved; this says where, by how much, and how surely. Not for whether a meter is in
control (`physics.check_standard`).
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass

import numpy as np

from acquire.errors import InputImpossible
from acquire.physics.checks import all_finite
from acquire.physics.laws import fisher_tail, student_cdf, student_quantile
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


def groups_sentence(by: ByGroup, what: str) -> str:
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


SHORTEST = 4
"""Values that a level must hold to count as one; fewer are outliers for a chart to name. Own choice."""

BY_CHANCE = 0.001
"""Probability below which a change is told, so that one batch in a thousand is told one that is none."""

NEAR = 2
"""A change of spool that lies within so many units of the change of level is taken for its cause."""


@dataclass(frozen=True, slots=True)
class LevelChange:
    """One lasting change of level.

    Attributes:
        at: place of the first value of the new level, counted from 0.
        before, after: means of the two levels, each as far as the next change.
        shift: after - before.
        low, high: 95 % interval of the shift, taking its place as known.
        p: probability, at most, that chance alone makes a change as clear anywhere among these values.
    """

    at: int
    before: float
    after: float
    shift: float
    low: float
    high: float
    p: float

    @property
    def way(self) -> str:
        """Where to, in a word."""
        return "higher" if self.shift > 0.0 else "lower"


@dataclass(frozen=True, slots=True)
class LevelCause:
    """What else changed where the level did ("spool", "meter", ...); `at`: first value with the new name."""

    what: str
    before: str
    after: str
    at: int


def level_changes(values: Sequence[float]) -> tuple[LevelChange, ...]:
    """All lasting changes of level, in order.

    The split with the largest two-sample t, its probability times the number of places where it could have
    been (Bonferroni: never too small); then the same on both sides of it, until chance explains the rest
    (binary segmentation; Scott and Knott, Biometrics 30 (1974) 507).

    Args:
        values: in order of time.

    Raises:
        InputImpossible: a value that is no finite number.
    """
    all_finite(values, "a value of the batch")
    array = np.asarray(values, dtype=float)
    places: dict[int, float] = {}
    open_spans = [(0, len(array))]
    while open_spans:
        start, end = open_spans.pop()
        split = _best_split(array[start:end])
        if split is not None and split[1] < BY_CHANCE:
            places[start + split[0]] = split[1]
            open_spans += [(start, start + split[0]), (start + split[0], end)]
    edges = [0, *sorted(places), len(array)]
    return tuple(
        _change(array[edges[i - 1] : edges[i]], array[edges[i] : edges[i + 1]], edges[i], places[edges[i]])
        for i in range(1, len(edges) - 1)
    )


def causes_of(change: LevelChange, names: dict[str, Sequence[str]]) -> tuple[LevelCause, ...]:
    """What changed its name where the level changed.

    Args:
        change: a change of level.
        names: what -> its name for each value, e.g. `spool` -> A A A B B; empty names are unknown.
    """
    found = []
    for what, of_each in names.items():
        for at in range(max(1, change.at - NEAR), min(len(of_each), change.at + NEAR + 1)):
            before, after = of_each[at - 1], of_each[at]
            if before and after and before != after:
                found.append(LevelCause(what, before, after, at))
                break
    return tuple(found)


def change_sentence(first: str, shifts: str, causes: Iterable[LevelCause], alone: str = ".") -> str:
    """A change of level and what changed with it, in one plain sentence.

    Args:
        first: name of the first value of the new level.
        shifts: what has moved, and how: "the level is 3.6 % lower".
        causes: what `causes_of` found.
        alone: how it ends where they are none.
    """
    told = " and ".join(f"the {c.what} changes from {c.before} to {c.after}" for c in causes)
    return f"From {first} on {shifts}{f': there {told}.' if told else alone}"


def _best_split(values: np.ndarray) -> tuple[int, float] | None:
    """Size of the first part at the clearest split, and its probability by chance; None where none fits."""
    count = len(values)
    if count < 2 * SHORTEST:
        return None
    off = values - values.mean()
    sums, squares = np.cumsum(off), float(off @ off)
    first = np.arange(SHORTEST, count - SHORTEST + 1)
    between = sums[first - 1] ** 2 * (1.0 / first + 1.0 / (count - first))
    best = int(np.argmax(between))
    freedom = count - 2
    within = squares - float(between[best])
    if squares <= (1e-14 * np.abs(values).max()) ** 2 * count:
        return None
    if within <= 1e-24 * squares:
        return int(first[best]), 0.0
    t = math.sqrt(float(between[best]) / (within / freedom))
    return int(first[best]), 2.0 * student_cdf(-t, freedom) * len(first)


def _change(before: np.ndarray, after: np.ndarray, at: int, p: float) -> LevelChange:
    m, n = len(before), len(after)
    low_mean, high_mean = math.fsum(before) / m, math.fsum(after) / n
    square = float(((before - low_mean) ** 2).sum() + ((after - high_mean) ** 2).sum())
    freedom = m + n - 2
    half = student_quantile(0.975, freedom) * math.sqrt(square / freedom * (1.0 / m + 1.0 / n))
    shift = high_mean - low_mean
    return LevelChange(at, low_mean, high_mean, shift, shift - half, shift + half, p)
