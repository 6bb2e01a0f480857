"""Where the level of a batch has changed for good: a new spool, another meter, a cleaned probe.

A chart says that something moved; this says where, by how much, and how surely. Not for slow drift (`drift`).
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass

import numpy as np

from acquire.physics.checks import all_finite
from acquire.physics.laws import student_cdf, student_quantile

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


def sentence_of(first: str, shifts: str, causes: Iterable[LevelCause], alone: str = ".") -> str:
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
