"""When an attempt counts: a failing value only when it has come twice, a passing one after it with care.

A wrong probe reads as it likes, a fault reads the same again. So a failing value is asked for until two
touches agree; and where a pass follows a failing value that no dirty pin explains, or the pair has a
look-alike that may have been touched instead, one more touch decides. Not for limits.
"""

from __future__ import annotations

import math

from acquire.records import Outcome
from acquire.records.words import FAILING
from acquire.steps.pairs import PairTable
from acquire.steps.step_state import StepState

SAME_SHARE = 0.05
"""Two failing values of one pair agree when they differ by no more than this share, for bad joints are
unsteady; workshop choice."""

_MOST = 4
"""So many attempts at most are left uncounted; workshop choice."""

_PASSING = (Outcome.PASS, Outcome.CONDITIONAL_PASS)


def counts(state: StepState, outcome: Outcome, ohm: float, u_ohm: float, table: PairTable) -> bool:
    """Whether an attempt counts; one that does not is remembered in the state.

    Args:
        state: of the step, before the attempt.
        outcome: of the attempt.
        ohm: its value; infinite for a confirmed open pair.
        u_ohm: the part of its standard uncertainty that differs from touch to touch.
        table: of the sheet.
    """
    if outcome in FAILING:
        if state.insisted or state.rechecked or len(state.failed) + state.passed_once >= _MOST:
            return True
        agrees = any(_agree(ohm, before, u_ohm) for before in state.failed)
        state.failed = (*state.failed, ohm)
        return agrees
    if not state.failed or outcome not in _PASSING or state.passed_once:
        return True
    read_low = any(before < ohm for before in state.failed)
    if state.rechecked or not (read_low or look_alike(state, table)):
        return True
    state.passed_once = True
    return False


def look_alike(state: StepState, table: PairTable) -> bool:
    """Whether a slip of one probe can lead to another pair that reads alike on a good unit."""
    pair = state.step.pair
    nominal_ohm = table.nominal_ohm(pair)
    if math.isinf(nominal_ohm):
        return True
    return any(
        len({*other} & {*pair}) == 1
        and abs(table.nominal_ohm(other) - nominal_ohm)
        <= 2.0 * math.hypot(table.spread_ohm(other), table.spread_ohm(pair))
        for other in table.pairs()
    )


def _agree(ohm: float, before_ohm: float, u_ohm: float) -> bool:
    if math.isinf(ohm) or math.isinf(before_ohm):
        return ohm == before_ohm
    return abs(ohm - before_ohm) <= max(4.0 * u_ohm, SAME_SHARE * max(abs(before_ohm), abs(ohm)))
