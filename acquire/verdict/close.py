"""The end of a unit: worst outcome, warm or not, and what explains its readings. Single steps are judge's."""

from __future__ import annotations

import math
from collections.abc import Sequence

from acquire.physics.warm import Deviation, Sample, common_shift, fit_cooling, wait_for
from acquire.records import Circumstances, Hypothesis, Outcome, UnitResult, UnitStarted
from acquire.records.words import WORST_LAST
from acquire.steps.balance import balances
from acquire.steps.unit import UnitProgress
from acquire.verdict.diagnose import best_next_pair, diagnose

WARM = "warm"
"""Name of the hypothesis that holds a unit back instead of failing it."""

SURE_WARM = 0.7
"""Probability from which a failing unit is called warm, not bad; workshop choice."""


def close_unit(
    unit: UnitProgress,
    started: UnitStarted,
    place: Circumstances,
    utc_s: float,
    given_up: str = "",
    *,
    samples: Sequence[Sample] = (),
    rested: bool = False,
) -> UnitResult:
    """Write the record of a finished unit.

    A unit whose first resistance moved during the test, or that fails because all of its windings are off by
    what one warmer temperature explains, is held: it gets no outcome. Rules over several windings (balance,
    matching) are judged here, on the windings' own values.

    Args:
        unit: with the outcome of every step.
        started: its opening record.
        place: the bench.
        utc_s: now.
        given_up: the reason why the unit ends before its last step, else empty.
        samples: values of one pair at several times, oldest first, for how long a warm unit must wait.
        rested: True for a unit that was held before and has waited: a shift that has stayed is its own.
    """
    readings = unit.readings()
    balanced = balances(unit.table, unit.touch_readings())
    outcomes = [each for each in (unit.outcome, *(rule.outcome for rule in balanced)) if each is not None]
    outcome = max(outcomes, key=WORST_LAST.index, default=None)
    hypotheses: tuple[Hypothesis, ...] = ()
    if outcome is not None and (outcome is not Outcome.PASS or unit.still_warm) and readings:
        hypotheses = diagnose(place.sheet, unit.table, readings, purpose=place.purpose)
    warm = unit.still_warm or (not rested and _looks_warm(outcome, hypotheses))
    held = given_up or ("the unit is warm" if warm else "")
    return UnitResult(
        bench=place.bench,
        serial=unit.serial,
        sheet=place.sheet.name,
        sheet_hash=place.sheet.content_hash,
        purpose=place.purpose,
        batch=started.batch,
        operator=started.operator,
        outcome=None if held else outcome,
        held=held,
        wait_s=_wait_s(unit, samples) if warm and not given_up else None,
        steps_passed=unit.passed,
        steps_total=unit.total,
        hypotheses=hypotheses[:3],
        next_pair=best_next_pair(place.sheet, unit.table, readings, hypotheses),
        started_utc_s=started.utc_s,
        utc_s=utc_s,
        findings=tuple(each.sentence for each in balanced if each.outcome is not Outcome.PASS),
    )


def _wait_s(unit: UnitProgress, samples: Sequence[Sample]) -> float | None:
    """How long a warm unit must rest: by its own cooling where two touches show it, else by its excess."""
    limit = unit.table.sheet.warm_limit
    if unit.still_warm and len(samples) > 1:
        return fit_cooling(samples, limit).wait_s
    deviations = [
        Deviation(ohm / nominal - 1.0, math.hypot(u_ohm, unit.table.spread_ohm(pair)) / nominal)
        for pair, ohm, u_ohm in unit.readings()
        if math.isfinite(ohm) and math.isfinite(nominal := unit.table.nominal_ohm(pair))
    ]
    return wait_for(common_shift(deviations).fraction, limit) if deviations else None


def _looks_warm(outcome: Outcome | None, hypotheses: tuple[Hypothesis, ...]) -> bool:
    failing = outcome in (Outcome.FAIL, Outcome.CONDITIONAL_FAIL)
    return (
        failing
        and bool(hypotheses)
        and hypotheses[0].fault == WARM
        and hypotheses[0].probability >= SURE_WARM
    )


def _rest_s(unit: UnitProgress, elapsed_s: float) -> float | None:
    """How long a warm unit should rest before it is tried again, seconds; None when nothing tells.

    From the movement of its first resistance, where there is one; else from the percentage that all its pairs
    have in common. Both with the time constant that parts of this size usually have (`acquire.physics.warm`).

    Args:
        unit: with its readings.
        elapsed_s: from the start of the unit to its end, near enough the time between the two looks.
    """
    sheet, moved = unit.table.sheet, unit.moved() or 0.0
    if abs(moved) > sheet.warm_limit and elapsed_s > 0.0:
        looks = (Sample(0.0, 1.0, sheet.warm_limit), Sample(elapsed_s, 1.0 + moved, sheet.warm_limit))
        return fit_cooling(looks, sheet.warm_limit).wait_s
    deviations = []
    for pair, ohm, u_ohm in unit.readings():
        nominal_ohm = unit.table.nominal_ohm(pair)
        if math.isfinite(ohm) and math.isfinite(nominal_ohm) and nominal_ohm > 0.0:
            u_fraction = math.hypot(u_ohm, unit.table.spread_ohm(pair)) / nominal_ohm
            deviations.append(Deviation(ohm / nominal_ohm - 1.0, max(u_fraction, 1e-6)))
    return wait_for(common_shift(deviations).fraction, sheet.warm_limit) if deviations else None
