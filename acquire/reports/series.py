"""The rows of a batch, what each step read on every unit or how far windings differ, with their statistics.

Charts, run rules, changes of level, capability, groups: numbers from `acquire.stats`. Not for yields and
diagnoses (batch).
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field, replace
from functools import lru_cache
from itertools import pairwise
from typing import Any, NamedTuple

import msgspec

from acquire.quantity import percent, show
from acquire.records import Outcome
from acquire.reports.document import moment, relative_to
from acquire.reports.visits import Value, Visit, apart
from acquire.stats.capability import Capability, CapabilityLimits, capability
from acquire.stats.charts import ChartPair, RunRule, Signal, individuals, signals, subgroups
from acquire.stats.drift import (
    ByGroup,
    LevelCause,
    LevelChange,
    by_group,
    causes_of,
    change_sentence,
    drift,
    groups_sentence,
    level_changes,
)

GROUPS = ("spool", "day", "meter", "operator", "bench")
"""What may make a difference, in the order in which it is told."""

FEWEST = 8
"""Values from which limits of a chart mean anything; usual practice is twenty, this is where one begins."""

SLOW_BY_CHANCE = 0.01
"""Probability below which a slow trend is told; workshop choice."""


class Counted(NamedTuple):
    """The visit of a unit that counts, what it read by step, and its outcome: worked out once."""

    visit: Visit
    values: dict[str, Value]
    outcome: Outcome


class SeriesPoint(msgspec.Struct, frozen=True, gc=False):
    """One value in its row's unit, with what it was made and measured with; `u` is its standard uncertainty.

    `outcome` is that of the step or rule, `unit` that of the whole unit; names are empty where unknown.
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
class ToldChange:
    """A lasting change of level, its size in words, and what changed at the same place."""

    of: LevelChange
    causes: tuple[LevelCause, ...]
    size: str
    sentence: str


@dataclass(frozen=True, slots=True)
class Stage:
    """Neighbours between two changes of level, looked at by themselves; `start` and `end` are both included.

    `signals` are what the run rules see on its own chart, places counted from `start`.
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
    """One row as it was measured, and all that is told of it.

    Attributes:
        name: of the step, or of the rule; pair: pins such as "1–2", the windings of a rule.
        unit: "Ω" or "%"; nominal: by the sheet, None for a rule.
        lower, upper: limits in force for the latest unit; limits_moved: others had other ones.
        points: in order of time; skipped: units without a value (an open pair, a step left out).
        chart: individuals and moving ranges; None for fewer than two values or no spread.
        signals: what the run rules see on it; sentences: the same in words.
        means: chart of means with ranges or standard deviations, where one was asked for.
        changes: lasting changes of level, in order; stages: between them, empty where there is none.
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
    points: tuple[SeriesPoint, ...]
    skipped: int
    chart: ChartPair | None = None
    signals: tuple[Signal, ...] = ()
    sentences: tuple[str, ...] = ()
    means: ChartPair | None = None
    mean_sentences: tuple[str, ...] = ()
    changes: tuple[ToldChange, ...] = ()
    stages: tuple[Stage, ...] = ()
    capability: Capability | None = None
    groups: tuple[Grouped, ...] = ()
    drift: str = ""
    u: float | None = None

    def beyond(self) -> list[int]:
        """Places of values beyond the limits of their level; of the whole row where it has one level."""
        parts = [(stage.start, stage.signals) for stage in self.stages] or [(0, self.signals)]
        hits = [(at, s) for at, seen in parts for s in seen if s.rule is RunRule.BEYOND]
        return sorted(at + i for at, s in hits for i in range(s.start, s.end + 1))


def series_of(firsts: Sequence[Counted], subgroup: int | None) -> Iterator[Series]:
    """Every row of a batch: steps in the order in which they first came, then rules over two windings.

    Args:
        firsts: the visits that count.
        subgroup: values in a subgroup; None for charts of single values alone.
    """
    for row in (*_steps(firsts), *_rules(firsts)):
        if row.points:
            yield _reckoned(row, subgroup)


@dataclass(slots=True)
class _Step:
    """A step of a batch while its values come: the latest one, all limits, and the points."""

    last: Value
    limits: set[tuple[float | None, float | None]] = field(default_factory=set)
    points: list[SeriesPoint] = field(default_factory=list)


def _steps(firsts: Sequence[Counted]) -> Iterator[Series]:
    rows: dict[str, _Step] = {}
    for visit, values, outcome in firsts:  # each value once, while the processor has it at hand
        spools = {each.winding: each.spool for each in visit.started.spools}
        for step, v in values.items():
            row = rows.get(step) or rows.setdefault(step, _Step(v))
            row.last = v
            row.limits.add((v.lower_ohm, v.upper_ohm))
            if v.reference_ohm is not None:
                row.points.append(SeriesPoint(
                    v.serial, v.utc_s, v.reference_ohm, v.standard_uncertainty_ohm, v.outcome, outcome,
                    spools.get(step, ""), _day(v.utc_s // 86_400.0), v.meter_id, v.operator, v.bench,
                ))  # fmt: skip
    for step, row in rows.items():
        last, points = row.last, tuple(row.points)
        pair, skipped, moved = f"{last.pin_a}–{last.pin_b}", len(firsts) - len(points), len(row.limits) > 1
        limits = last.lower_ohm, last.upper_ohm
        yield Series(step, pair, "Ω", last.nominal_ohm, *limits, moved, points, skipped)


def _rules(firsts: Sequence[Counted]) -> Iterator[Series]:
    """Differences of two windings that must match, in per cent of their mean, the second less the first."""
    found = [
        (each, rule)
        for each in firsts
        for rule in map(apart, each.visit.result.balances if each.visit.result else ())
        if len(rule.windings) == 2 and sum(rule.ohm) > 0.0
    ]
    for name in dict.fromkeys(rule.name for _, rule in found):
        there = [(each, rule) for each, rule in found if rule.name == name]
        points = []
        for (visit, values, outcome), rule in there:
            value = 200.0 * (rule.ohm[1] - rule.ohm[0]) / sum(rule.ohm)
            u = 50.0 * rule.expanded_deviation
            started, meter = visit.started, next((v.meter_id for v in values.values()), "")
            points.append(SeriesPoint(
                started.serial, started.utc_s, value, u, rule.outcome, outcome, _spool(visit,
                rule.windings[0]), _day(started.utc_s // 86_400.0), meter, started.operator,
                started.bench,
            ))  # fmt: skip
        last = there[-1][1]
        limit, moved = 100.0 * last.limit, len({rule.limit for _, rule in there}) > 1
        pair, skipped = f"{last.windings[1]} less {last.windings[0]}", len(firsts) - len(points)
        yield Series(name, pair, "%", None, -limit, limit, moved, tuple(points), skipped)


def _spool(visit: Visit, winding: str) -> str:
    return next((each.spool for each in visit.started.spools if each.winding == winding), "")


@lru_cache(maxsize=512)
def _day(day: float) -> str:
    return moment(86_400.0 * day, "%Y-%m-%d").strip("–")


Columns = dict[str, tuple[Any, ...]]
"""The points of a row by field."""


def _reckoned(row: Series, subgroup: int | None) -> Series:
    columns = zip(*map(msgspec.structs.astuple, row.points), strict=True)
    of_points = dict(zip(SeriesPoint.__struct_fields__, columns, strict=True))
    values, serials = of_points["value"], of_points["serial"]
    spread = max(values) > min(values)
    charted = len(values) >= FEWEST and spread
    chart = individuals(values) if spread else None
    seen = signals(chart.level) if chart and charted else ()
    sigma = chart.sigma if chart else 0.0
    changes = tuple(_changes(row, of_points, sigma)) if charted else ()
    us = [u for u in of_points["u"] if u is not None]
    u = math.sqrt(math.fsum(each * each for each in us) / len(us)) if us else None
    means = subgroups(values, subgroup) if subgroup and charted and len(values) >= 2 * subgroup else None
    limits = row.lower, row.upper
    limited = chart is not None and limits != (None, None)
    of = capability(values, CapabilityLimits(*limits), u or None) if limited else None
    return replace(
        row,
        chart=chart,
        signals=seen,
        sentences=tuple(signal.sentence(serials) for signal in seen),
        means=means,
        mean_sentences=tuple(_of_means(means, serials)) if means else (),
        changes=changes,
        stages=tuple(_stages(values, serials, changes)),
        capability=of,
        groups=tuple(_groups(of_points)) if len(values) > 2 else (),
        drift=_drift(row, sigma, changes) if charted else "",
        u=u,
    )


def _size(shift: float, level: float, sigma: float, unit: str) -> str:
    """How much a level moves: as a share of it, or as it is where it lies near zero."""
    if unit == "%":
        return percent(abs(shift) / 100.0)
    return relative_to(shift, level, sigma) or show(abs(shift), "Ω", digits=2)


def _changes(row: Series, of_points: Columns, sigma: float) -> Iterator[ToldChange]:
    serials = of_points["serial"]
    for each in level_changes(of_points["value"]):
        causes = causes_of(each, {what: of_points[what] for what in GROUPS if any(of_points[what])})
        size = _size(each.shift, each.before, sigma, row.unit)
        told = change_sentence(serials[each.at], f"the level is {size} {each.way}", causes)
        yield ToldChange(each, causes, size, told)


def _stages(
    values: Sequence[float], serials: Sequence[str], changes: Sequence[ToldChange]
) -> Iterator[Stage]:
    if not changes:
        return
    for start, end in pairwise([0, *(change.of.at for change in changes), len(values)]):
        part = values[start:end]
        chart = individuals(part) if len(part) >= FEWEST and max(part) > min(part) else None
        seen = signals(chart.level) if chart else ()
        yield Stage(start, end - 1, chart, seen, tuple(each.sentence(serials[start:end]) for each in seen))


def _of_means(means: ChartPair, serials: Sequence[str]) -> Iterator[str]:
    starts = range(0, len(serials) - means.size + 1, means.size)
    names = [f"the subgroup {serials[i]} to {serials[i + means.size - 1]}" for i in starts]
    yield from (f"Means: {each.sentence(names)}" for each in signals(means.level))
    yield from (f"Spread: {each.sentence(names)}" for each in signals(means.spread))


def _groups(of_points: Columns) -> Iterator[Grouped]:
    for what in GROUPS:
        names = of_points[what]
        if "" in (different := set(names)):
            names = tuple(name or "unknown" for name in names)
        if len(different) > 1:
            found = by_group(of_points["value"], names)
            yield Grouped(what, found, groups_sentence(found, what))


def _drift(row: Series, sigma: float, changes: Sequence[ToldChange]) -> str:
    """A slow trend within the latest level; changes of level are told by themselves."""
    part = row.points[changes[-1].of.at if changes else 0 :]
    if len(part) < FEWEST:
        return ""
    values = [point.value for point in part]
    found = drift(values)
    if found.p >= SLOW_BY_CHANCE:
        return ""
    whole = found.slope * (len(part) - 1)
    size = _size(whole, sorted(values)[len(values) // 2], sigma, row.unit)
    way = "rises" if whole > 0.0 else "falls"
    return f"From {part[0].serial} on it {way} slowly, by {size} in {len(part)} units."
