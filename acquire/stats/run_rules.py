"""Run rules: what the points of a chart do that chance rarely does, each in one plain sentence.

Not for the limits (`charts`), and not for where a level has changed for good (`levels`).
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from enum import StrEnum
from itertools import pairwise
from operator import attrgetter

import numpy as np

from acquire.records.codes import RUN_LENGTH
from acquire.stats.charts import Chart


class RunRule(StrEnum):
    """What chance rarely does.

    The zone tests of the Statistical Quality Control Handbook (Western Electric, 1956; from memory), which
    counts 8 in a row on one side; ISO 8258:1991, which ISO 7870-2 replaced, 9 as here. On points in control
    the first call comes after 111 points on average, with the limits alone after 370 (simulated;
    tests/unit/test_stats_run_rules.py does it in short).
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
