"""Run rules: what the points of a chart do that chance rarely does, each in one plain sentence.

Not for the limits (`charts`), and not for where a level has changed for good (`levels`).
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from enum import StrEnum
from itertools import pairwise
from operator import itemgetter
from typing import NamedTuple

import numpy as np

from acquire.records.codes import RUN_LENGTH
from acquire.stats.charts import Chart


class Rule(StrEnum):
    """What chance rarely does.

    The first four are the zone tests of the Statistical Quality Control Handbook (Western Electric, 1956);
    ISO 8258:1991, which ISO 7870-2 replaced, lists all eight. Both from memory, but for the arithmetic. The
    handbook counts 8 in a row on one side, the standard 9, as here.
    """

    BEYOND = "beyond a limit"
    TWO_OF_THREE = "two of three beyond two sigma"
    FOUR_OF_FIVE = "four of five beyond one sigma"
    RUN = "nine in a row on one side"
    STEADY = "six in a row rising or falling"
    ZIGZAG = "fourteen in a row up and down by turns"
    HUGGING = "fifteen in a row within one sigma"
    AVOIDING = "eight in a row none within one sigma"


ZONE_RULES = (Rule.BEYOND, Rule.TWO_OF_THREE, Rule.FOUR_OF_FIVE, Rule.RUN)
"""The usual four. On points in control the first call comes after 111 points on average, with all eight rules
after 72, with the limits alone after 370 (simulated; tests/unit/test_stats_run_rules.py does it in short)."""


class Signal(NamedTuple):
    """Something on a chart that chance rarely does.

    Attributes:
        rule: which rule called.
        start, end: places of the first and last value or subgroup concerned, counted from 0, both included.
        side: +1 above the centre (or rising), -1 below (or falling), 0 neither.
    """

    rule: Rule
    start: int
    end: int
    side: int

    def sentence(self, names: Sequence[str] | None = None) -> str:
        """The signal in one plain sentence.

        Args:
            names: of the values or subgroups, e.g. serials; None counts them from 1.
        """
        first, last = (names[i] if names else f"No. {i + 1}" for i in (self.start, self.end))
        count = self.end - self.start + 1
        above = "above" if self.side > 0 else "below"
        if self.rule is Rule.BEYOND and count == 1:
            return f"{first} lies {above} its limit."
        if self.rule is Rule.STEADY:
            return f"{first} to {last} {'rise' if self.side > 0 else 'fall'} without a break: a drift."
        return f"{first} to {last} " + _SAID[self.rule].format(above=above, count=count)


_SAID = {
    Rule.BEYOND: "lie {above} their limit, {count} in a row.",
    Rule.RUN: "lie {above} the centre, {count} in a row: the level has moved.",
    Rule.TWO_OF_THREE: "lie far {above} the centre: two of any three by more than two sigma.",
    Rule.FOUR_OF_FIVE: "lie {above} the centre: four of any five by more than one sigma.",
    Rule.ZIGZAG: "go up and down by turns: two sources are mixed, or something is corrected too much.",
    Rule.HUGGING: "lie closer to the centre than chance would have it: the limits are too wide.",
    Rule.AVOIDING: "keep away from the centre on both sides: two sources are mixed.",
}


def signals(chart: Chart, rules: Sequence[Rule] = ZONE_RULES) -> tuple[Signal, ...]:
    """What the rules say of a chart, in order of place.

    A lasting run is one signal, not one for every further point. On charts of spread only the limits count:
    their law is skewed, and moving ranges hang together.
    """
    zones = chart.plotted.symmetrical and chart.sigma > 0.0
    asked = rules if zones else [rule for rule in rules if rule is Rule.BEYOND]
    found = [signal for rule in asked for signal in _FINDERS[rule](chart)]
    if chart.first:
        found = [s._replace(start=s.start + chart.first, end=s.end + chart.first) for s in found]
    return tuple(sorted(found, key=itemgetter(1, 2, 0)))


def _beyond(chart: Chart) -> list[Signal]:
    points = np.asarray(chart.points)
    return _windows(Rule.BEYOND, _sides(points > chart.upper, points < chart.lower), 1, 1)


def _sides(above: np.ndarray, below: np.ndarray) -> np.ndarray:
    sides: np.ndarray = above.astype(int) - below.astype(int)
    return sides


def _zone(rule: Rule, sigmas: float, needed: int, of: int) -> Callable[[Chart], list[Signal]]:
    def find(chart: Chart) -> list[Signal]:
        edge = sigmas * chart.sigma
        off = np.asarray(chart.points) - chart.centre
        return _windows(rule, _sides(off > edge, off < -edge), needed, of)

    return find


def _steady(chart: Chart) -> list[Signal]:
    steps = [(b > a) - (b < a) for a, b in pairwise(chart.points)]
    return [Signal(s.rule, s.start, s.end + 1, s.side) for s in _windows(Rule.STEADY, steps, 5, 5)]


def _zigzag(chart: Chart) -> list[Signal]:
    steps = [(b > a) - (b < a) for a, b in pairwise(chart.points)]
    turns = [int(a * b < 0) for a, b in pairwise(steps)]
    return [Signal(s.rule, s.start, s.end + 2, 0) for s in _windows(Rule.ZIGZAG, turns, 12, 12)]


def _near(rule: Rule, count: int, *, within: bool) -> Callable[[Chart], list[Signal]]:
    def find(chart: Chart) -> list[Signal]:
        marks = [int((abs(p - chart.centre) <= chart.sigma) is within) for p in chart.points]
        return [Signal(s.rule, s.start, s.end, 0) for s in _windows(rule, marks, count, count)]

    return find


_FINDERS: dict[Rule, Callable[[Chart], list[Signal]]] = {
    Rule.BEYOND: _beyond,
    Rule.TWO_OF_THREE: _zone(Rule.TWO_OF_THREE, 2.0, 2, 3),
    Rule.FOUR_OF_FIVE: _zone(Rule.FOUR_OF_FIVE, 1.0, 4, 5),
    Rule.RUN: _zone(Rule.RUN, 0.0, RUN_LENGTH, RUN_LENGTH),
    Rule.STEADY: _steady,
    Rule.ZIGZAG: _zigzag,
    Rule.HUGGING: _near(Rule.HUGGING, 15, within=True),
    Rule.AVOIDING: _near(Rule.AVOIDING, 8, within=False),
}


def _windows(rule: Rule, marks: Sequence[int] | np.ndarray, needed: int, of: int) -> list[Signal]:
    """Where at least `needed` of `of` neighbours carry one mark, overlapping places joined, for each side."""
    found: list[Signal] = []
    every = np.asarray(marks)
    for side in (1, -1):
        hits = every == side
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
