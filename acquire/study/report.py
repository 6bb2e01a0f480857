"""What a study says: from its record to numbers, whether the bench can judge the step, and remarks. Pure.

Not for how it is printed (`document`), nor for the statistics themselves (`stats`), nor for whether the
meter's accuracy suffices (`verdict.fitness`).
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import asdict, dataclass
from enum import StrEnum
from typing import Any

from acquire.quantity import chance, counted, show
from acquire.stats.capability import CapabilityLimits
from acquire.stats.drift import drift
from acquire.stats.gauge import (
    POOL_ABOVE,
    SIGMAS,
    GaugeStudy,
    StudyTrial,
    VarianceRow,
    VarianceSource,
    gauge_study,
    incomplete,
    ranges_study,
)
from acquire.study.record import Measurement, StudyRecord

ENOUGH_DISTINCT = 5
"""Kinds of parts that should be told apart (AIAG, Measurement Systems Analysis, 4th ed.)."""

ENOUGH_OPERATORS = 3
"""Two tell next to nothing of how much operators differ: one degree of freedom."""

GOOD_BELOW, CONDITIONAL_UP_TO = 0.10, 0.30
"""Gauge over tolerance: below a tenth good, up to three tenths conditional (AIAG, likewise)."""


class Fitness(StrEnum):
    """Whether a bench can judge a step, by the gauge's part of the tolerance."""

    GOOD = "good"
    CONDITIONAL = "conditional"
    UNFIT = "unfit"
    UNTOLD = "cannot tell"


def interval(study: GaugeStudy) -> tuple[float, float, float]:
    """The gauge's share, and the ends of its 95 % interval; of the tolerance where the sheet has limits.

    Else of the study's whole spread, which the gauge is a part of: such a share is never above 1.
    """
    gauge, part = study.gauge, study.components[VarianceSource.PART]
    sigmas = (gauge.sigma, study.gauge_low, study.gauge_high)
    if gauge.tolerance is not None and gauge.sigma > 0.0:
        share, low, high = (sigma * gauge.tolerance / gauge.sigma for sigma in sigmas)
    else:
        share, low, high = (sigma and sigma / math.hypot(sigma, part.sigma) for sigma in sigmas)
    return share, low, high


def fitness(study: GaugeStudy) -> Fitness:
    """Good below 10 %, conditional to 30 %, unfit above (AIAG, Measurement Systems Analysis, 4th ed.).

    What is said must hold for the whole interval of the share, not for its best estimate alone: where that
    reaches from one side of 30 % to the other, nothing can be told. Nor can it where all repeats read alike:
    such a gauge has hidden its spread behind its display.
    """
    _, low, high = interval(study)
    if study.gauge.sigma <= 0.0:
        return Fitness.UNTOLD
    if high <= CONDITIONAL_UP_TO:
        return Fitness.GOOD if high < GOOD_BELOW else Fitness.CONDITIONAL
    return Fitness.UNFIT if low > CONDITIONAL_UP_TO else Fitness.UNTOLD


def verdict_of(study: GaugeStudy, step: str = "this step") -> tuple[str, ...]:
    """Whether this bench can judge the step, what the share is, and what to do, a sentence each."""
    word = fitness(study)
    can = {
        Fitness.GOOD: f"This bench can judge {step}.",
        Fitness.CONDITIONAL: f"This bench can judge {step} with care.",
        Fitness.UNFIT: f"This bench cannot judge {step}.",
        Fitness.UNTOLD: f"This study cannot tell whether the bench can judge {step}.",
    }[word]
    if study.gauge.sigma <= 0.0:
        return can, "All repeats read alike: the display is too coarse for a study, or it was held."
    told = [can, f"{_how_much(study)} AIAG: to 10 % good, to 30 % conditional."]
    if word is Fitness.UNTOLD:
        few = 1 < len(study.operators) < ENOUGH_OPERATORS
        told.append(f"{'A third operator narrows' if few else 'More parts or rounds narrow'} that most.")
    if interval(study)[0] >= GOOD_BELOW:
        told.append(_what_to_do(study))
    if study.distinct is not None and study.distinct < ENOUGH_DISTINCT:
        told.append(
            f"It tells {study.distinct} kinds of parts apart (ndc by {study.method.value}); "
            f"{ENOUGH_DISTINCT} are wanted for charts and capability. Parts that are much alike lower it too."
        )
    return tuple(told)


def _how_much(study: GaugeStudy) -> str:
    """The share with its interval; in ohms where that reaches beyond the whole."""
    share, low, high = interval(study)
    whole = "the study's whole spread" if study.gauge.tolerance is None else "the tolerance"
    known = study.gauge_high > study.gauge.sigma * 1.0001
    if high <= 1.0 or not known:
        sure = f" (95 %: {100.0 * low:.1f} to {100.0 * high:.1f} %)" if known else ""
        return f"The gauge takes {100.0 * share:.1f} % of {whole}{sure}."
    sigma, *ends = (
        show(SIGMAS * s, "Ω", digits=2) for s in (study.gauge.sigma, study.gauge_low, study.gauge_high)
    )
    tolerance = show(SIGMAS * study.gauge.sigma / share, "Ω", digits=3)
    return f"The gauge takes {sigma} (95 %: {' to '.join(ends)}) of a tolerance of {tolerance}."


def _what_to_do(study: GaugeStudy) -> str:
    components = study.components
    reproduce = components.get(VarianceSource.REPRODUCIBILITY)
    if reproduce is None or components[VarianceSource.REPEATABILITY].variance >= reproduce.variance:
        return (
            "Most of it is repeatability: look at the contacts, the lead zero, a finer range, 4 wires, "
            "or the temperature between trials."
        )
    mixed = components.get(VarianceSource.INTERACTION)
    if mixed is not None and mixed.variance > components[VarianceSource.OPERATOR].variance:
        return "Most of it is operators who differ by part: agree where and how each part is touched."
    return (
        "Most of it is between operators: agree how to hold the probes and zero the leads, and practise it."
    )


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
        InputImpossible: fewer than two full rounds (says which measurement is missing first), or as
            `stats.gauge.gauge_study`.
    """
    plan, subject = record.plan, record.subject
    rounds = min((turn.trial - 1 for turn in record.missing), default=plan.trials)
    if rounds < 2:
        turn = record.missing[0]
        raise incomplete(plan.name_of(turn.label), turn.operator, turn.trial - 1, plan.trials)
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
            f"Missing: {counted(len(record.missing), 'measurement')}. Reckoned from the first {rounds} of "
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
