"""Steps of an interrupted unit as its record left them: what counted, was left out, was insisted on.

Not for reading the record (journal) nor for what comes next (unit).
"""

from __future__ import annotations

import math
from collections.abc import Sequence

from acquire.records import Fit, Notice, Pair, Verdict
from acquire.records.words import FAILING
from acquire.steps.step_state import StepState

LEFT_OUT = "step.skipped"
"""Code of the notice that a step was left out; its text is that of `left_out`."""

HINTS = frozenset({"pair.other", "pair.unclear"})
"""Codes of the notices that a value was refused as another pair's."""


def left_out(step: str, reason: str) -> str:
    """What a record says of a step that is left out."""
    return f"{step} was left out: {reason}"


def recall(states: Sequence[StepState], record: Verdict | Notice, refused: set[str]) -> None:
    """Take one record of an interrupted unit.

    Args:
        states: of its steps; the one that the record is about is changed.
        record: in the order in which they were written.
        refused: names of the steps whose last value was refused; kept from record to record.
    """
    if not isinstance(record, Notice):
        state = next((s for s in states if s.step.name == record.step), None)
        if state is not None:
            _recall_verdict(state, record, was_refused=state.step.name in refused)
            refused.discard(state.step.name)
    elif record.code in HINTS:
        refused.update(_names_of(states, record.pair))
    elif record.code == LEFT_OUT:
        for state in states:
            said = left_out(state.step.name, "")
            if record.text.startswith(said):
                state.skipped, state.outcome = record.text.removeprefix(said), None


def _recall_verdict(state: StepState, verdict: Verdict, *, was_refused: bool) -> None:
    ohm = math.inf if verdict.reference_ohm is None else verdict.reference_ohm
    state.attempts, state.skipped = verdict.attempt, ""
    state.insisted = was_refused and _reads_like_another(verdict)
    if not verdict.counts:
        if verdict.outcome in FAILING:
            state.failed = (*state.failed, ohm)
        else:
            state.passed_once = bool(state.failed)
        return
    state.failed, state.passed_once = (), False
    state.outcome, state.ohm = verdict.outcome, ohm
    state.u_ohm = state.repeat_u_ohm = verdict.standard_uncertainty_ohm or 0.0


def _reads_like_another(verdict: Verdict) -> bool:
    """Whether its value may be another pair's than its own."""
    if verdict.fit is Fit.OTHER_PAIR:
        return verdict.reads_like[0] != Pair(verdict.pin_a, verdict.pin_b)
    return verdict.fit is Fit.AMBIGUOUS


def _names_of(states: Sequence[StepState], pair: Pair | None) -> list[str]:
    return [state.step.name for state in states if state.step.pair == pair]
