"""Gauge study: how much of the spread is the meter's, the operators', the parts'.

Crossed design: every operator measures every part equally often. By analysis of variance, with or without the
interaction of operators and parts, or by averages and ranges. Not for the words of a verdict (`fitness`), not
for the plan of a study or its measuring (`study`), and not for accuracy: a gauge that is off by one amount
for all passes here.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from enum import StrEnum

from acquire.errors import InputImpossible
from acquire.physics.checks import probability
from acquire.stats.capability import CapabilityLimits
from acquire.stats.constants import LARGEST, d2_of_groups, factors
from acquire.stats.crossed import (
    Layout,
    StudyTrial,
    VarianceRow,
    VarianceSource,
    gauge_interval,
    layout_of,
    pooled_table,
    table_of,
    variances_of,
)

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
        StudyIncomplete: a part that an operator measured less often than others.
        InputImpossible: too few parts or trials, or a value that is no finite number.
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
    Analysis, 4th ed.; its K1, K2 and K3 are 1/d2* (`constants.d2_of_groups`).

    Args:
        trials: as `gauge_study`; at most 25 parts, operators and trials.
        limits: as `gauge_study`.

    Raises:
        StudyIncomplete: as `gauge_study`.
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
        more.append("One operator only: the study does not show how much operators differ.")
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
