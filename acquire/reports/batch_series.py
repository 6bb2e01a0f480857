"""One row of values of a batch with its statistics: charts, run rules, level changes, capability, groups.

The numbers come from `acquire.stats`. Not for where the values come from (batch_rows) nor for yields and
diagnoses (batch).
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from itertools import pairwise

from acquire.records import Outcome
from acquire.stats.capability import Capability, Limits, capability
from acquire.stats.charts import (
    ChartPair,
    in_subgroups,
    individuals,
    means_and_deviations,
    means_and_ranges,
)
from acquire.stats.drift import ByGroup, by_group, drift
from acquire.stats.drift import sentence_of as of_groups
from acquire.stats.levels import Cause, LevelChange, causes_of, level_changes
from acquire.stats.levels import sentence_of as of_change
from acquire.stats.run_rules import Rule, Signal, signals

GROUPS = ("spool", "day", "meter", "operator", "bench")
"""What may make a difference, in the order in which it is told."""

FEWEST = 8
"""Values from which limits of a chart mean anything; usual practice is twenty, this is where one begins."""

LARGEST_RANGE = 10
"""Subgroups up to this size are charted by ranges, larger ones by standard deviations; usual practice."""


@dataclass(frozen=True, slots=True)
class Point:
    """One value.

    Attributes:
        serial: of the unit.
        utc_s: when it was measured.
        value: in the row's unit.
        u: standard uncertainty; None where unknown.
        outcome: of the step, or of the rule.
        unit: outcome of the whole unit.
        spool, day, meter, operator, bench: what it was made and measured with; empty where unknown.
    """

    serial: str
    utc_s: float
    value: float
    u: float | None
    outcome: Outcome
    unit: Outcome | None
    spool: str
    day: str
    meter: str
    operator: str
    bench: str


@dataclass(frozen=True, slots=True)
class Change:
    """A lasting change of level, with what changed at the same place and a sentence."""

    of: LevelChange
    causes: tuple[Cause, ...]
    sentence: str


@dataclass(frozen=True, slots=True)
class Stage:
    """Neighbours between two changes of level, looked at by themselves.

    Attributes:
        start, end: places of the first and last value, both included.
        chart: their own; None where they are too few.
        signals: what the run rules see on it, places counted from `start`; sentences: the same in words.
    """

    start: int
    end: int
    chart: ChartPair | None
    signals: tuple[Signal, ...]
    sentences: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class Grouped:
    """Values by spool, day, meter, operator or bench."""

    what: str
    of: ByGroup
    sentence: str


@dataclass(frozen=True, slots=True)
class Series:
    """One row with all that is told of it.

    Attributes:
        name: of the step, or of the rule.
        pair: pins, such as "1–2"; the windings of a rule.
        unit: "Ω" or "%".
        nominal: by the sheet; None for a rule.
        lower, upper: limits in force for the latest unit; None where there is none.
        limits_moved: whether units were held against different limits.
        points: in order of time.
        skipped: units without a value (an open pair, a step left out).
        chart: individuals and moving ranges; None for fewer than two values or no spread.
        signals: what the run rules see on it; sentences: the same in words.
        means: chart of means with ranges or standard deviations; None where none was asked for.
        mean_sentences: what the run rules see on that.
        changes: lasting changes of level, in order.
        stages: between them; empty where there is none.
        capability: None without limits or spread.
        groups: by what may make a difference, where it has more than one name.
        drift: one sentence on a slow trend within the stages; empty where none is seen.
        u: root mean square of the standard uncertainties; None where unknown.
    """

    name: str
    pair: str
    unit: str
    nominal: float | None
    lower: float | None
    upper: float | None
    limits_moved: bool
    points: tuple[Point, ...]
    skipped: int
    chart: ChartPair | None
    signals: tuple[Signal, ...]
    sentences: tuple[str, ...]
    means: ChartPair | None
    mean_sentences: tuple[str, ...]
    changes: tuple[Change, ...]
    stages: tuple[Stage, ...]
    capability: Capability | None
    groups: tuple[Grouped, ...]
    drift: str
    u: float | None

    def beyond(self) -> list[int]:
        """Places of values beyond the limits of their level; of the whole row where it has one level."""
        parts = [(stage.start, stage.signals) for stage in self.stages] or [(0, self.signals)]
        hits = [(at, s) for at, seen in parts for s in seen if s.rule is Rule.BEYOND]
        return sorted(at + i for at, s in hits for i in range(s.start, s.end + 1))

    @property
    def spread(self) -> float | None:
        """Standard deviation of all values."""
        return self.capability.sigma_overall if self.capability else None


def row_of(
    about: tuple[str, str, str],
    points: tuple[Point, ...],
    limits: tuple[float | None, float | None],
    *,
    nominal: float | None,
    moved: bool,
    skipped: int,
    subgroup: int | None,
    confidence: float,
) -> Series:
    """Reckon everything of one row.

    Args:
        about: its name, its pins or windings, and the unit of its values.
        points: its values in order of time, one or more.
        limits: lower and upper of the latest unit.
        nominal: by the sheet.
        moved: whether the limits were others before.
        skipped: units without a value.
        subgroup: values in a subgroup; None for single values alone.
        confidence: of the intervals.
    """
    name, pair, unit = about
    values = [point.value for point in points]
    serials = [point.serial for point in points]
    charted = len(values) >= FEWEST and max(values) > min(values)
    chart = individuals(values) if len(values) >= 2 and max(values) > min(values) else None
    seen = signals(chart.level) if chart and charted else ()
    changes = tuple(_changes(points)) if charted else ()
    us = [point.u for point in points if point.u is not None]
    u = math.sqrt(math.fsum(each * each for each in us) / len(us)) if us else None
    means = _means(values, subgroup) if charted else None
    return Series(
        name=name,
        pair=pair,
        unit=unit,
        nominal=nominal,
        lower=limits[0],
        upper=limits[1],
        limits_moved=moved,
        points=points,
        skipped=skipped,
        chart=chart,
        signals=seen,
        sentences=tuple(signal.sentence(serials) for signal in seen),
        means=means,
        mean_sentences=tuple(_of_means(means, serials)) if means else (),
        changes=changes,
        stages=tuple(_stages(values, serials, changes)),
        capability=_capability(values, limits, u, confidence) if chart else None,
        groups=tuple(_groups(points)) if len(points) > 2 else (),
        drift=_drift(values, serials, changes) if charted else "",
        u=u,
    )


def _changes(points: Sequence[Point]) -> Iterator[Change]:
    names = {what: [getattr(point, what) for point in points] for what in GROUPS}
    serials = [point.serial for point in points]
    for each in level_changes([point.value for point in points]):
        causes = causes_of(each, {what: of for what, of in names.items() if any(of)})
        yield Change(each, causes, of_change(each, causes, serials))


def _stages(values: list[float], serials: list[str], changes: Sequence[Change]) -> Iterator[Stage]:
    if not changes:
        return
    edges = [0, *(change.of.at for change in changes), len(values)]
    for start, end in pairwise(edges):
        part = values[start:end]
        chart = individuals(part) if len(part) >= FEWEST and max(part) > min(part) else None
        seen = signals(chart.level) if chart else ()
        told = tuple(each.sentence(serials[start:end]) for each in seen)
        yield Stage(start, end - 1, chart, seen, told)


def _means(values: list[float], subgroup: int | None) -> ChartPair | None:
    if subgroup is None or len(values) < 2 * subgroup:
        return None
    groups = in_subgroups(values, subgroup)
    return means_and_ranges(groups) if subgroup <= LARGEST_RANGE else means_and_deviations(groups)


def _of_means(means: ChartPair, serials: list[str]) -> Iterator[str]:
    spans = [
        f"{serials[i]} to {serials[i + means.size - 1]}"
        for i in range(0, len(serials) - means.size + 1, means.size)
    ]
    names = [f"the subgroup {span}" for span in spans]
    yield from (f"Means: {each.sentence(names)}" for each in signals(means.level))
    yield from (f"Spread: {each.sentence(names)}" for each in signals(means.spread))


def _capability(
    values: list[float], limits: tuple[float | None, float | None], u: float | None, confidence: float
) -> Capability | None:
    if limits == (None, None):
        return None
    return capability(values, Limits(*limits), meter_u=u or None, confidence=confidence)


def _groups(points: Sequence[Point]) -> Iterator[Grouped]:
    values = [point.value for point in points]
    for what in GROUPS:
        names = [getattr(point, what) or "unknown" for point in points]
        if len(set(names)) > 1:
            found = by_group(values, names)
            yield Grouped(what, found, of_groups(found, what))


def _drift(values: list[float], serials: list[str], changes: Sequence[Change]) -> str:
    """A slow trend within the latest level; changes of level are told by themselves."""
    start = changes[-1].of.at if changes else 0
    part = values[start:]
    if len(part) < FEWEST:
        return ""
    found = drift(part)
    if found.of.p >= 0.01:
        return ""
    middle = sorted(part)[len(part) // 2]
    whole = found.of.slope * (len(part) - 1)
    share = f"{abs(whole / middle):.2%}" if middle else f"{abs(whole):.3g}"
    way = "rises" if whole > 0.0 else "falls"
    return f"From {serials[start]} on it {way} slowly, by {share} in {len(part)} units."
