"""Gauge study: how much of the spread is the meter's, the operators', the parts'.

Crossed design: every operator measures every part equally often. By analysis of variance, with or without the
interaction of operators and parts, or by averages and ranges. Not for the plan of a study, its measuring and
the words of its verdict (`study`), and not for accuracy: a gauge that is off by one amount for all passes.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from enum import StrEnum

import numpy as np

from acquire.errors import InputImpossible
from acquire.physics.checks import finite, probability
from acquire.physics.laws import chi_square_quantile, fisher_tail
from acquire.stats import CONFIDENCE
from acquire.stats.capability import CapabilityLimits
from acquire.stats.charts import LARGEST, d2_of_groups, factors


def incomplete(part: str, operator: str, found: int, wanted: int) -> InputImpossible:
    """The error of a crossed study that lacks measurements; which of its cells has how many of them."""
    what = f"Part {part} by {operator} was measured {found} of {wanted} times."
    return InputImpossible(what, "Measure the rest, or leave this part or operator out of the study.")


@dataclass(frozen=True, slots=True)
class StudyTrial:
    """One measurement of a study; values are finite, in one unit for all."""

    part: str
    operator: str
    value: float


class VarianceSource(StrEnum):
    """Where spread comes from, each sum below what it is the sum of.

    The gauge is repeatability and reproducibility together.
    """

    REPEATABILITY = "repeatability"
    OPERATOR = "operator"
    INTERACTION = "operator with part"
    REPRODUCIBILITY = "reproducibility"
    GAUGE = "gauge"
    PART = "part to part"
    TOTAL = "total"


@dataclass(frozen=True, slots=True)
class VarianceRow:
    """One row of a table of variance.

    Attributes:
        source: what it is.
        square: sum of squares.
        freedom: degrees of freedom.
        f, p: against the row that it is tested with; None for repeatability and total, or without spread.
    """

    source: VarianceSource
    square: float
    freedom: int
    f: float | None = None
    p: float | None = None

    @property
    def mean_square(self) -> float:
        """Sum of squares over degrees of freedom."""
        return self.square / self.freedom


@dataclass(frozen=True, slots=True)
class Layout:
    """The values of a complete crossed study, parts x operators x trials, with the names as they came."""

    parts: tuple[str, ...]
    operators: tuple[str, ...]
    values: np.ndarray


def layout_of(trials: Sequence[StudyTrial]) -> Layout:
    """The measurements in order, if none is missing.

    Raises:
        InputImpossible: fewer than two parts or trials, a part that an operator measured less often than
            others, or a value that is no finite number.
    """
    parts = tuple(dict.fromkeys(trial.part for trial in trials))
    operators = tuple(dict.fromkeys(trial.operator for trial in trials))
    if len(parts) < 2:
        raise InputImpossible("A gauge study needs two parts or more.", "Measure more parts.")
    cells: dict[tuple[str, str], list[float]] = {(p, o): [] for p in parts for o in operators}
    for trial in trials:
        cells[trial.part, trial.operator].append(finite(trial.value, "a measurement of the study"))
    wanted = max(len(values) for values in cells.values())
    for (part, operator), values in cells.items():
        if len(values) < wanted:
            raise incomplete(part, operator, len(values), wanted)
    if wanted < 2:
        raise InputImpossible(
            "Each part must be measured twice or more by each operator.", "Run the study with two trials."
        )
    return Layout(parts, operators, np.array([[cells[p, o] for o in operators] for p in parts]))


def table_of(layout: Layout) -> tuple[VarianceRow, ...]:
    """Sums of squares about the means; parts and operators are tested against their interaction.

    Source: NIST/SEMATECH e-Handbook, 7.4.3.7 (two-way crossed). With one operator a one-way table.
    """
    values = layout.values
    parts, operators, trials = values.shape
    cells = _mean(values, 2)
    by_part, by_operator = _mean(cells, 1), _mean(cells, 0)
    grand = _mean(by_part, 0)
    part = VarianceRow(VarianceSource.PART, operators * trials * _square(by_part - grand), parts - 1)
    repeat = _square(values - cells[:, :, None])
    repeatability = VarianceRow(VarianceSource.REPEATABILITY, repeat, parts * operators * (trials - 1))
    whole = VarianceRow(VarianceSource.TOTAL, _square(values - grand), values.size - 1)
    if operators == 1:
        return _tested(part, repeatability), repeatability, whole
    operator = VarianceRow(
        VarianceSource.OPERATOR, parts * trials * _square(by_operator - grand), operators - 1
    )
    mixed = trials * _square(cells - by_part[:, None] - by_operator[None, :] + grand)
    interaction = VarianceRow(VarianceSource.INTERACTION, mixed, (parts - 1) * (operators - 1))
    tested = _tested(part, interaction), _tested(operator, interaction), _tested(interaction, repeatability)
    return *tested, repeatability, whole


def pooled_table(table: Sequence[VarianceRow]) -> tuple[VarianceRow, ...]:
    """The same table with the interaction put into the repeatability."""
    rows = {row.source: row for row in table}
    mixed, repeat = rows[VarianceSource.INTERACTION], rows[VarianceSource.REPEATABILITY]
    pooled = VarianceRow(
        VarianceSource.REPEATABILITY, mixed.square + repeat.square, mixed.freedom + repeat.freedom
    )
    tested = (_tested(rows[source], pooled) for source in (VarianceSource.PART, VarianceSource.OPERATOR))
    return *tested, pooled, rows[VarianceSource.TOTAL]


def variances_of(
    table: Sequence[VarianceRow], layout: Layout
) -> tuple[dict[VarianceSource, float], tuple[VarianceSource, ...]]:
    """Variance of repeatability, operator, interaction and part, and which came out below zero.

    From the expected mean squares of the two-way random model; what is below zero is set to zero.
    """
    mean_square = {row.source: row.mean_square for row in table}
    parts, operators, trials = layout.values.shape
    repeat = mean_square[VarianceSource.REPEATABILITY]
    against = mean_square.get(VarianceSource.INTERACTION, repeat)
    raw = {VarianceSource.PART: (mean_square[VarianceSource.PART] - against) / (operators * trials)}
    if VarianceSource.OPERATOR in mean_square:
        raw[VarianceSource.OPERATOR] = (mean_square[VarianceSource.OPERATOR] - against) / (parts * trials)
    if VarianceSource.INTERACTION in mean_square:
        raw[VarianceSource.INTERACTION] = (against - repeat) / trials
    below = tuple(source for source, variance in raw.items() if variance < 0.0)
    return {VarianceSource.REPEATABILITY: repeat} | {s: max(0.0, v) for s, v in raw.items()}, below


def gauge_interval(table: Sequence[VarianceRow], layout: Layout) -> tuple[float, float]:
    """Interval of the gauge's variance, by Graybill and Wang for a sum of mean squares.

    The gauge's variance is a sum of mean squares with positive weights; each adds its own chi-square bounds
    in quadrature. Source: Burdick, Borror and Montgomery, J. Quality Technology 35 (2003) 342 (from memory;
    held against simulation in the tests).
    """
    rows = {row.source: row for row in table}
    parts, _, trials = layout.values.shape
    weights = {VarianceSource.REPEATABILITY: 1.0}
    if VarianceSource.INTERACTION in rows:
        weights = {
            VarianceSource.INTERACTION: (parts - 1) / (parts * trials),
            VarianceSource.REPEATABILITY: 1.0 - 1.0 / trials,
        }
    elif VarianceSource.OPERATOR in rows:
        weights = {VarianceSource.REPEATABILITY: 1.0 - 1.0 / (parts * trials)}
    if VarianceSource.OPERATOR in rows:
        weights[VarianceSource.OPERATOR] = 1.0 / (parts * trials)
    tail = 0.5 * (1.0 - CONFIDENCE)
    middle = below = above = 0.0
    for source, weight in weights.items():
        freedom, term = rows[source].freedom, weight * rows[source].mean_square
        middle += term
        below += (term * (1.0 - freedom / chi_square_quantile(1.0 - tail, freedom))) ** 2
        above += (term * (freedom / chi_square_quantile(tail, freedom) - 1.0)) ** 2
    return max(0.0, middle - math.sqrt(below)), middle + math.sqrt(above)


def _mean(values: np.ndarray, axis: int) -> np.ndarray:
    """Mean along an axis, about the first value: exact where all are alike, so that no spread is made up."""
    first = np.take(values, 0, axis)
    return np.asarray(first + (values - np.expand_dims(first, axis)).mean(axis=axis))


def _tested(row: VarianceRow, against: VarianceRow) -> VarianceRow:
    if against.mean_square <= 0.0:
        return row
    f = row.mean_square / against.mean_square
    return replace(row, f=f, p=fisher_tail(f, row.freedom, against.freedom))


def _square(off: np.ndarray) -> float:
    return math.fsum((off * off).ravel())


DISTINCT = 1.41
"""Parts that can be told apart: 1.41 · part / gauge standard deviations (AIAG, Measurement Systems Analysis,
4th ed.; the square root of two, as printed)."""

SIGMAS = 6.0
"""Standard deviations that the tolerance is compared with; older books take 5.15."""

POOL_ABOVE = 0.25
"""Probability above which the interaction is put into the repeatability (AIAG, as above; some use 0.05)."""

MANY_GROUPS = 15
"""Mean ranges of more subgroups than this use d2 itself (AIAG's tables do so; from memory)."""


class Method(StrEnum):
    """How the spread was taken apart."""

    CROSSED = "analysis of variance with interaction"
    WITHOUT_INTERACTION = "analysis of variance without interaction"
    ONE_OPERATOR = "analysis of variance, one operator"
    RANGES = "averages and ranges"


@dataclass(frozen=True, slots=True)
class Component:
    """One part of the spread.

    Attributes:
        variance, sigma: of it, in the unit of the values squared and plain.
        contribution: share of the total variance, 0 to 1.
        study: share of the total standard deviation, 0 to 1.
        tolerance: `SIGMAS` times sigma over the tolerance; None without one. One-sided: half of them over the
            distance from the mean to the limit.
    """

    variance: float
    sigma: float
    contribution: float
    study: float
    tolerance: float | None


@dataclass(frozen=True, slots=True)
class GaugeStudy:
    """What a study says.

    Attributes:
        method: how.
        parts, operators: names, in the order they came.
        mean: of all values.
        table: of variance, before pooling; empty for averages and ranges.
        pooled: table after the interaction went into the repeatability; empty where it did not.
        components: by source, in its order.
        distinct: ndc, kinds of parts that can be told apart, by this method; None where the gauge shows no
            spread at all.
        gauge_low, gauge_high: 95 % interval of the gauge's sigma; equal to it for averages and ranges.
        remarks: what a reader must know, a sentence each.
    """

    method: Method
    parts: tuple[str, ...]
    operators: tuple[str, ...]
    mean: float
    table: tuple[VarianceRow, ...]
    pooled: tuple[VarianceRow, ...]
    components: dict[VarianceSource, Component]
    distinct: int | None
    gauge_low: float
    gauge_high: float
    remarks: tuple[str, ...]

    @property
    def gauge(self) -> Component:
        """Repeatability and reproducibility together."""
        return self.components[VarianceSource.GAUGE]


def gauge_study(
    trials: Sequence[StudyTrial],
    limits: CapabilityLimits | None = None,
    *,
    pool_above: float = POOL_ABOVE,
) -> GaugeStudy:
    """A crossed study by analysis of variance.

    Components by the expected mean squares of the two-way random model, negative ones set to zero (AIAG,
    Measurement Systems Analysis, 4th ed., appendix A; D. C. Montgomery, Design and Analysis of Experiments,
    on random factors).

    Args:
        trials: every operator measures every part equally often, twice or more; two or more parts. With one
            operator the study says nothing of reproducibility.
        limits: of the sheet, for shares of the tolerance.
        pool_above: an interaction with a probability above this goes into the repeatability; 1 never pools.

    Raises:
        InputImpossible: too few parts or trials, a part that an operator measured less often than others, or
            a value that is no finite number.
    """
    if pool_above < 1.0:
        probability(pool_above, "the probability above which the interaction is pooled")
    layout = layout_of(trials)
    table = table_of(layout)
    crossed = next((row for row in table if row.source is VarianceSource.INTERACTION), None)
    chance = crossed is not None and crossed.p is not None and crossed.p > pool_above
    pooled = pooled_table(table) if crossed is not None and chance else ()
    variances, below = variances_of(pooled or table, layout)
    remarks = [_zeroed(source) for source in below]
    method = Method.CROSSED
    if crossed is None:
        method = Method.ONE_OPERATOR
    elif pooled:
        method = Method.WITHOUT_INTERACTION
        remarks.append(
            f"Operators do not differ by part beyond chance (p = {crossed.p:.2g}, above {pool_above:g}): "
            "their interaction was put into the repeatability."
        )
    low, high = gauge_interval(pooled or table, layout)
    return _study(
        layout, variances, limits, remarks, method=method, gauge=(low, high), tables=(table, pooled)
    )


def ranges_study(trials: Sequence[StudyTrial], limits: CapabilityLimits | None = None) -> GaugeStudy:
    """A crossed study by averages and ranges: quick to check by hand, blind to interaction.

    Repeatability is the mean range over d2; operators the range of their means over d2*, less what
    repeatability makes of it; parts the range of their means over d2*. Source: AIAG, Measurement Systems
    Analysis, 4th ed.; its K1, K2 and K3 are 1/d2* (`charts.d2_of_groups`).

    Args:
        trials: as `gauge_study`; at most 25 parts, operators and trials.
        limits: as `gauge_study`.

    Raises:
        InputImpossible: as `gauge_study`, or more than 25 of something.
    """
    layout = layout_of(trials)
    parts, operators, repeats = layout.values.shape
    if max(parts, operators, repeats) > LARGEST:
        raise InputImpossible(
            f"Averages and ranges are tabled for at most {LARGEST} parts, operators and trials.",
            "Use the analysis of variance.",
        )
    groups = parts * operators
    d2 = factors(repeats).d2 if groups > MANY_GROUPS else d2_of_groups(repeats, groups)
    ranges = layout.values.max(axis=2) - layout.values.min(axis=2)
    repeat = (float(ranges.mean()) / d2) ** 2
    variances = {
        VarianceSource.REPEATABILITY: repeat,
        VarianceSource.PART: _of_range(layout.values.mean(axis=(1, 2)).tolist()),
    }
    remarks = []
    if operators > 1:
        left = _of_range(layout.values.mean(axis=(0, 2)).tolist()) - repeat / (parts * repeats)
        variances[VarianceSource.OPERATOR] = max(0.0, left)
        remarks += [_zeroed(VarianceSource.OPERATOR)] if left < 0.0 else []
    gauge = repeat + variances.get(VarianceSource.OPERATOR, 0.0)
    return _study(layout, variances, limits, remarks, method=Method.RANGES, gauge=(gauge, gauge))


def _study(
    layout: Layout,
    variances: Mapping[VarianceSource, float],
    limits: CapabilityLimits | None,
    remarks: Sequence[str],
    *,
    method: Method,
    gauge: tuple[float, float],
    tables: tuple[tuple[VarianceRow, ...], tuple[VarianceRow, ...]] = ((), ()),
) -> GaugeStudy:
    mean = float(layout.values.mean())
    found = dict(variances)
    found.setdefault(VarianceSource.PART, 0.0)
    reproduce = [found[s] for s in (VarianceSource.OPERATOR, VarianceSource.INTERACTION) if s in found]
    if reproduce:
        found[VarianceSource.REPRODUCIBILITY] = math.fsum(reproduce)
    found[VarianceSource.GAUGE] = found[VarianceSource.REPEATABILITY] + found.get(
        VarianceSource.REPRODUCIBILITY, 0.0
    )
    found[VarianceSource.TOTAL] = found[VarianceSource.GAUGE] + found[VarianceSource.PART]
    per_sigma = _per_sigma(limits, mean)
    gauge_sigma, part_sigma = math.sqrt(found[VarianceSource.GAUGE]), math.sqrt(found[VarianceSource.PART])
    more = list(remarks)
    if len(layout.operators) == 1:
        more.append("One operator only: the study says nothing of how much operators differ.")
    if limits is not None and per_sigma is None:
        more.append(
            "The mean of the parts lies beyond the only limit, so there is no tolerance to compare with."
        )
    return GaugeStudy(
        method=method,
        parts=layout.parts,
        operators=layout.operators,
        mean=mean,
        table=tables[0],
        pooled=tables[1],
        components={
            source: _component(found[source], found[VarianceSource.TOTAL], per_sigma)
            for source in VarianceSource
            if source in found
        },
        distinct=math.floor(DISTINCT * part_sigma / gauge_sigma) if gauge_sigma > 0.0 else None,
        gauge_low=min(gauge_sigma, math.sqrt(gauge[0])),
        gauge_high=max(gauge_sigma, math.sqrt(gauge[1])),
        remarks=tuple(more),
    )


def _component(variance: float, total: float, per_sigma: float | None) -> Component:
    sigma = math.sqrt(variance)
    return Component(
        variance=variance,
        sigma=sigma,
        contribution=variance / total if total > 0.0 else 0.0,
        study=sigma / math.sqrt(total) if total > 0.0 else 0.0,
        tolerance=None if per_sigma is None else sigma * per_sigma,
    )


def _per_sigma(limits: CapabilityLimits | None, mean: float) -> float | None:
    """Share of the tolerance that one unit of standard deviation takes; None without a tolerance."""
    if limits is None:
        return None
    if limits.width is not None:
        return SIGMAS / limits.width
    far = min(limits.distances(mean))
    return 0.5 * SIGMAS / far if far > 0.0 else None


def _of_range(means: Sequence[float]) -> float:
    """Variance of means by their range."""
    return ((max(means) - min(means)) / d2_of_groups(len(means), 1)) ** 2


def _zeroed(source: VarianceSource) -> str:
    return (
        f"The variance of {source.value} came out below zero and was set to zero: "
        f"it is too small for this study to see."
    )
