"""Touching the pair just judged once more measures it again: when that is meant, and when the value holds.

A faulty pair can read what the pair before it has read, and so can a wrong probe. So a touch means the pair
before only where no pair that is asked for reads nearly so; its value replaces the earlier one only where
both agree or the new one is worse; it never makes a failing pair pass; and it is believed once between two
verdicts of other pairs, so that an asked pair that reads like the one before is judged after all. Not for
the order to measure again (unit), which may do all that.
"""

from __future__ import annotations

import math
from collections.abc import Iterable

from acquire.records import Fit, Limits, Match, Outcome, Pair, StepKind
from acquire.records.words import FAILING
from acquire.steps.pairs import PairTable
from acquire.steps.step_state import StepState
from acquire.steps.warm import WARM_CHECK
from acquire.unit_result import worse

_SAME = 0.01
"""Two values of one pair this close, as a fraction, are the same value measured twice; workshop choice."""

_DIGIT = 1e-3
"""The same where nothing but a repetition to the digit will do."""

AGREE, AGREE_SHARE = 3.0, 1e-3
"""Two touches of one pair agree within so many standard deviations of their difference, or this share of the
value: hands warm a winding between two touches. Workshop choices."""

AS_GOOD = 1.5
"""The meter may be set for another pair; a value this much less certain does not replace the earlier one.
Workshop choice."""

ALIKE = 2.0
"""Standard deviations between good units within which two pairs are look-alikes; as in `counting`."""


def repeatable_by_touch(
    last: StepState, asked: Iterable[Pair], others: Iterable[StepState], table: PairTable
) -> bool:
    """Whether a value may be meant for the step judged last, whatever the value is.

    Args:
        last: that step.
        asked: pairs that a value may rightly belong to now.
        others: all other steps of the unit.
        table: of its sheet.
    """
    pair = last.step.pair
    if last.step.kind is not StepKind.RESISTANCE or last.step.name == WARM_CHECK:
        return False
    if last.outcome is None or last.ohm is None or math.isinf(last.ohm) or last.insisted or last.skipped:
        return False
    if any(other.step.pair == pair and (other.attempts or other.done) for other in others):
        return False
    return not any(_alike(pair, other, table) for other in asked)


def holds(last: StepState, outcome: Outcome, ohm: float, u_ohm: float, repeat_u_ohm: float) -> bool:
    """Whether a value touched again replaces the one that counts so far.

    Args:
        last: the step, with the value that counts so far.
        outcome: of the new value.
        ohm: it, at the reference temperature.
        u_ohm: its standard uncertainty.
        repeat_u_ohm: the part of it that differs from touch to touch.
    """
    before = last.outcome
    if before is None or last.ohm is None or outcome is Outcome.CANNOT_JUDGE:
        return False
    if u_ohm > AS_GOOD * last.u_ohm or (before in FAILING and outcome not in FAILING):
        return False
    reach_ohm = max(AGREE * math.hypot(repeat_u_ohm, last.repeat_u_ohm), AGREE_SHARE * abs(last.ohm))
    is_worse = worse(outcome, before)
    if is_worse and outcome in FAILING and last.rechecked:
        return False  # its next failing value counts at once, and that is too much for one touch unasked for
    return is_worse or abs(ohm - last.ohm) <= reach_ohm


def same_again(state: StepState, match: Match) -> bool:
    """Whether the refused value has come again; to the digit where it looks like another pair now."""
    if state.refused_ohm is None:
        return False
    corrected, before_ohm = match.corrected, state.refused_ohm
    moved_on = match.fit is Fit.OTHER_PAIR and state.looks_like not in (None, match.pair)
    digit_ohm = 2.0 * corrected.settled.expanded_si + _DIGIT * abs(before_ohm)
    close_ohm = max(2.0 * corrected.expanded_ohm, _SAME * abs(before_ohm))
    return abs(corrected.reference_ohm - before_ohm) <= (digit_ohm if moved_on else close_ohm)


def afresh(last: StepState) -> StepState:
    """The step before the new attempt: nothing counts, what was learnt of it stays."""
    failed = (last.ohm,) if last.outcome in FAILING and last.ohm is not None else ()
    return StepState(
        last.step,
        attempts=last.attempts,
        failed=failed,
        own_setup=last.own_setup,
        rechecked=last.rechecked,
        doubted=last.doubted,
    )


def inside(ohm: float, limits: Limits) -> bool:
    """Whether a value lies within limits that are known on both sides."""
    low, high = limits.lower_ohm, limits.upper_ohm
    return low is not None and high is not None and low <= ohm <= high


def _alike(pair: Pair, other: Pair, table: PairTable) -> bool:
    """Whether two pairs read nearly the same on good units."""
    apart_ohm = abs(table.nominal_ohm(pair) - table.nominal_ohm(other))
    spread_ohm = math.hypot(table.spread_ohm(pair), table.spread_ohm(other))
    return pair == other or apart_ohm <= ALIKE * spread_ohm
