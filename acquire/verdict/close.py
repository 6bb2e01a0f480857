"""The end of a unit: worst outcome, warm or not, and what explains its readings. Single steps are judge's."""

from __future__ import annotations

from acquire.records import Circumstances, Hypothesis, Outcome, UnitResult, UnitStarted
from acquire.steps.unit import UnitProgress
from acquire.verdict.diagnose import best_next_pair, diagnose

WARM = "warm"
"""Name of the hypothesis that holds a unit back instead of failing it."""

SURE_WARM = 0.7
"""Probability from which a failing unit is called warm, not bad; workshop choice."""


def close_unit(
    unit: UnitProgress, started: UnitStarted, place: Circumstances, utc_s: float, given_up: str = ""
) -> UnitResult:
    """Write the record of a finished unit.

    A unit whose first resistance moved during the test, or all of whose windings are off by what one warmer
    temperature explains, is held: it gets no outcome.

    Args:
        unit: with the outcome of every step.
        started: its opening record.
        place: the bench.
        utc_s: now.
        given_up: the reason why the unit ends before its last step, else empty.
    """
    outcome = unit.outcome
    hypotheses: tuple[Hypothesis, ...] = ()
    if outcome is not None and (outcome is not Outcome.PASS or unit.still_warm) and unit.readings():
        hypotheses = diagnose(place.sheet, unit.table, unit.readings())
    warm = unit.still_warm or _looks_warm(outcome, hypotheses)
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
        wait_s=None,
        steps_passed=unit.passed,
        steps_total=unit.total,
        hypotheses=hypotheses[:3],
        next_pair=best_next_pair(place.sheet, unit.table, unit.readings(), hypotheses),
        started_utc_s=started.utc_s,
        utc_s=utc_s,
    )


def _looks_warm(outcome: Outcome | None, hypotheses: tuple[Hypothesis, ...]) -> bool:
    failing = outcome in (Outcome.FAIL, Outcome.CONDITIONAL_FAIL)
    return (
        failing
        and bool(hypotheses)
        and hypotheses[0].fault == WARM
        and hypotheses[0].probability >= SURE_WARM
    )
