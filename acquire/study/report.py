"""What a study says: from its record to numbers, verdict and remarks. Pure.

Not for how it is printed (`document`) nor for the statistics themselves (`stats`).
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import asdict, dataclass
from typing import Any

from acquire.quantity import chance, counted
from acquire.stats.capability import CapabilityLimits
from acquire.stats.crossed import StudyIncomplete, StudyTrial, VarianceRow
from acquire.stats.drift import drift
from acquire.stats.fitness import Fitness, fitness, verdict_of
from acquire.stats.gauge import POOL_ABOVE, GaugeStudy, gauge_study, ranges_study
from acquire.study.record import Measurement, StudyRecord

DRIFT_BY_CHANCE = 0.01
"""Probability below which a drift over the study is told; workshop choice."""

FEWEST_FOR_DRIFT = 8
"""Measurements from which one is looked for."""


@dataclass(frozen=True, slots=True)
class StudyPoint:
    """One measurement that was reckoned with, at the reference temperature; `label`: the part's tag."""

    part: str
    label: str
    operator: str
    trial: int
    ohm: float
    utc_s: float


@dataclass(frozen=True, slots=True)
class StudyReport:
    """All that a report shows.

    Attributes:
        record: of the study.
        points: measurements reckoned with, in the order they were made.
        rounds: full rounds among them.
        study: by analysis of variance.
        by_ranges: the same by averages and ranges.
        fitness: whether the bench can judge the step.
        verdict: the same in sentences.
        remarks: what a reader must know besides.
        budget_ohm: mean expanded uncertainty of the values by their budgets.
    """

    record: StudyRecord
    points: tuple[StudyPoint, ...]
    rounds: int
    study: GaugeStudy
    by_ranges: GaugeStudy
    fitness: Fitness
    verdict: tuple[str, ...]
    remarks: tuple[str, ...]
    budget_ohm: float


def report_of(record: StudyRecord, *, pool_above: float = POOL_ABOVE) -> StudyReport:
    """Reckon a study.

    An unfinished one is reckoned by its full rounds, if there are two.

    Args:
        record: as far as it has come.
        pool_above: see `stats.gauge.gauge_study`.

    Raises:
        StudyIncomplete: fewer than two full rounds; says which measurement is missing first.
        InputImpossible: as `stats.gauge.gauge_study`.
    """
    plan, subject = record.plan, record.subject
    rounds = _full_rounds(record)
    if rounds < 2:
        turn = record.missing[0]
        raise StudyIncomplete(plan.name_of(turn.label), turn.operator, turn.trial - 1, plan.trials)
    used = [
        (turn, record.taken[turn.number])
        for turn in plan.turns
        if turn.trial <= rounds and turn.number in record.taken
    ]
    used.sort(key=lambda each: each[1].utc_s)
    points = tuple(
        StudyPoint(plan.name_of(t.label), t.label, t.operator, t.trial, m.reference_ohm, m.utc_s)
        for t, m in used
    )
    trials = _in_order_of_the_plan(points, record)
    limits = _limits(record)
    study = gauge_study(trials, limits, pool_above=pool_above)
    pins = f"{subject.pin_a}–{subject.pin_b}"
    budget_ohm = math.fsum(m.expanded_ohm for _, m in used) / len(used)
    return StudyReport(
        record=record,
        points=points,
        rounds=rounds,
        study=study,
        by_ranges=ranges_study(trials, limits),
        fitness=fitness(study),
        verdict=verdict_of(study, f"{subject.step} ({pins}) of {subject.sheet}"),
        remarks=(
            *_of_the_record(record, rounds),
            *study.remarks,
            *_of_drift(points),
            *_of_the_budget(budget_ohm, study, [m for _, m in used]),
        ),
        budget_ohm=budget_ohm,
    )


def _full_rounds(record: StudyRecord) -> int:
    """Rounds from the first on in which nothing is missing."""
    return min((turn.trial - 1 for turn in record.missing), default=record.plan.trials)


def _in_order_of_the_plan(points: Sequence[StudyPoint], record: StudyRecord) -> list[StudyTrial]:
    """Parts and operators as they were named, not as chance had it."""
    parts = {part.label: place for place, part in enumerate(record.plan.parts)}
    operators = {name: place for place, name in enumerate(record.plan.operators)}
    ordered = sorted(points, key=lambda p: (parts[p.label], operators[p.operator], p.trial))
    return [StudyTrial(point.part, point.operator, point.ohm) for point in ordered]


def _limits(record: StudyRecord) -> CapabilityLimits | None:
    subject = record.subject
    ends = [
        end if end is not None and math.isfinite(end) else None
        for end in (subject.lower_ohm, subject.upper_ohm)
    ]
    return None if ends == [None, None] else CapabilityLimits(*ends)


def _of_the_record(record: StudyRecord, rounds: int) -> list[str]:
    told = []
    if rounds < record.plan.trials:
        told.append(
            f"Missing: {counted(len(record.missing), 'measurement')}. Computed from the first {rounds} of "
            f"{record.plan.trials} rounds."
        )
    if record.torn:
        told.append("The last line of the record is torn, as by a power cut, and was skipped.")
    if record.taken_back:
        told.append(f"Taken back or revised, not counted: {counted(record.taken_back, 'measurement')}.")
    return told


def _of_drift(points: Sequence[StudyPoint]) -> list[str]:
    """Do values move with time, whoever measures? Warm parts, warm leads, a warming meter."""
    if len(points) < FEWEST_FOR_DRIFT or len({p.utc_s for p in points}) < len(points):
        return []
    rows: dict[str, list[float]] = {}
    for point in points:
        rows.setdefault(point.part, []).append(point.ohm)
    means = {part: math.fsum(row) / len(row) for part, row in rows.items()}
    hours = [(point.utc_s - points[0].utc_s) / 3600.0 for point in points]
    found = drift([point.ohm - means[point.part] for point in points], hours)
    if found.p >= DRIFT_BY_CHANCE or found.slope == 0.0:
        return []
    over = found.slope * hours[-1]
    return [
        (
            f"Over the study all values {'rose' if over > 0 else 'fell'} by about {abs(over):.2g} Ω, whoever "
            f"measured ({chance(found.p)}): look at the temperature of parts, leads and meter."
        )
    ]


def _of_the_budget(budget_ohm: float, study: GaugeStudy, used: Sequence[Measurement]) -> list[str]:
    told = [
        (
            f"By its budget each value is known to ± {budget_ohm:.2g} Ω (95 %). A study sees only what "
            f"changes from touch to touch; what is off by the same amount every time it cannot see."
        )
    ]
    u_ohm = math.sqrt(math.fsum(m.standard_uncertainty_ohm**2 for m in used) / len(used))
    if study.gauge.sigma > u_ohm > 0.0:
        told.append(
            f"The gauge spreads more (sigma {study.gauge.sigma:.2g} Ω) than the budget allows for "
            f"({u_ohm:.2g} Ω): something at this bench is worse than its files say."
        )
    return told


def as_plain(report: StudyReport) -> dict[str, Any]:
    """The report for programs; `null` where there is nothing."""
    study, record = report.study, report.record
    return {
        "subject": asdict(record.subject),
        "parts": len(study.parts),
        "operators": list(study.operators),
        "rounds": report.rounds,
        "missing": len(record.missing),
        "fitness": report.fitness.value,
        "verdict": list(report.verdict),
        "remarks": list(report.remarks),
        "budget_expanded_ohm": report.budget_ohm,
        "analysis_of_variance": _method(study),
        "averages_and_ranges": _method(report.by_ranges),
        "values": [asdict(point) for point in report.points],
    }


def _method(study: GaugeStudy) -> dict[str, Any]:
    return {
        "method": study.method.value,
        "table": [_row(row) for row in study.table],
        "pooled_table": [_row(row) for row in study.pooled],
        "components": {
            source.value: {
                "variance_ohm2": part.variance,
                "sigma_ohm": part.sigma,
                "contribution": part.contribution,
                "of_study": part.study,
                "of_tolerance": part.tolerance,
            }
            for source, part in study.components.items()
        },
        "gauge_sigma_interval_ohm": [study.gauge_low, study.gauge_high],
        "ndc": study.distinct,
    }


def _row(row: VarianceRow) -> dict[str, Any]:
    return {
        "source": row.source.value,
        "sum_of_squares_ohm2": row.square,
        "degrees_of_freedom": row.freedom,
        "mean_square_ohm2": row.mean_square,
        "f": row.f,
        "p": row.p,
    }
