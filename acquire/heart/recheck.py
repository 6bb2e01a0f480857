"""Values that the other readings of the unit speak against, or that look like another pair's.

A wrong probe must neither fail a unit nor pass one, and a fault must not be explained away. When a step has
failed and the rest of the set contradicts it (R13 = R12 + R23), or it was judged only because the operator
insisted, or an open pair stands alone on the word of a key, it is asked for once more at the end; what comes
then counts. So is the one among passing values that goes least with the rest: a look-alike may have been
touched. Not for limits.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence

from acquire.choices import FAILING, PASSING
from acquire.heart.attempt import StepState
from acquire.records import Outcome, Pair, StepKind
from acquire.records.codes import WARM_CHECK
from acquire.steps.agreement import balances, oddest
from acquire.steps.estimate import estimate
from acquire.steps.pairs import PairTable

_FORETOLD = 0.3
"""The set knows a pair when it leaves less than this share of the pair's own spread; workshop choice."""

_MOST, _MOST_SAME = 2, 3
"""How often a step is asked for again at the end, at most: where its value is strange, and where it is to the
digit what the pair that it looks like has read on this unit."""

_APART = 4.0
"""Standard deviations from which a reading contradicts the set; workshop choice."""

_ODD = 3.5
"""The same for the oddest among passing values: another touch is cheap, and 1 good unit in 2000 has one by
chance for each pair that the others know."""

_TO_THE_DIGIT, _UNLIKE = 3.0, 0.1
"""Standard deviations of a repeated touch within which two values are one; share of it by which two pairs of
a good unit differ so much that this is no coincidence. Workshop choices."""

_SIDES = 1.0 / 3.0
"""Share of its distance within which another value is on the side of the others. Workshop choice."""

_MOST_DOUBTS = 2
"""How many passing values of one unit are asked for again, at most."""


def doubtful(states: Sequence[StepState], table: PairTable) -> StepState | None:
    """The step that deserves another look: the first failing one, else the oddest of those that passed.

    Each step once; more often where a value is another pair's to the digit, or where the set contradicts one
    that also reads like another pair or is open.

    Args:
        states: of all steps of the unit, in order.
        table: of its sheet.
    """
    for state in states:
        if state.outcome not in FAILING:
            continue
        most = _most(state, states)
        if state.rechecked < _MOST and _read_elsewhere(state, states, table):
            return state
        if state.step.kind is StepKind.OPEN:
            if state.insisted and state.rechecked < most:
                return state
            continue
        if state.rechecked >= most:
            continue
        if _away(state, table, [s for s in states if s.outcome in PASSING]) > _APART:
            return state
        if math.isinf(state.ohm) and not state.rechecked and not _open_elsewhere(state, states, table):
            return state
        if state.insisted and not state.rechecked and not _away(state, table, states) <= _APART:
            return state
    return _misread_first(states, table) or _oddest_pass(states, table)


def too_coarse(states: Sequence[StepState], table: PairTable) -> StepState | None:
    """A step taken out of turn, known well enough for its own limits but not for a balance or matching.

    Args:
        states: of all steps of the unit, in order.
        table: of its sheet.
    """
    borrowed = [s for s in states if not s.own_setup and s.outcome in PASSING]
    if not borrowed:
        return None
    readings = [state.reading for state in states if state.outcome is not None]
    unclear = {
        name
        for balanced in balances(table, readings)
        if balanced.outcome is Outcome.CANNOT_JUDGE
        for name in balanced.windings
    }
    named = ((s, {branch.name for branch in table.windings(s.step.pair)}) for s in borrowed)
    return next((s for s, windings in named if windings & unclear), None)


def _misread_first(states: Sequence[StepState], table: PairTable) -> StepState | None:
    """The first resistance or its repetition, where they differ and the others side with one of them.

    A look-alike touched at the start or the end would make the unit seem to have cooled.
    """
    both = _repeated(states)
    moved = movement(states)
    if not both or not moved or abs(moved) <= table.sheet.warm_limit:
        return None
    first, check = both
    others = [s.reading for s in states if s.outcome in PASSING and s.step.pair != first.step.pair]
    mean, sd = estimate(table, others).reading(first.reading)
    away = sorted(((abs(s.ohm - mean), s) for s in (first, check)), key=lambda a: a[0])
    (near, _), (far, odd) = away
    asked_again = odd.doubted or odd.rechecked
    return odd if not asked_again and far > _APART * sd and near < _SIDES * far else None


def _read_elsewhere(state: StepState, states: Sequence[StepState], table: PairTable) -> bool:
    """Whether a pair with a pin in common, unlike on a good unit, has read this odd value to the digit.

    Then the probes may have stayed on that pair, or gone back to it, though its value is no good unit's.
    """
    ohm, pair = state.ohm, state.step.pair
    if not math.isfinite(ohm):
        return False
    return any(
        math.isfinite(other.ohm)
        and len({*other.step.pair} & {*pair}) == 1
        and abs(other.ohm - ohm) <= _TO_THE_DIGIT * math.hypot(other.touch_u_ohm, state.touch_u_ohm)
        and abs(table.nominal_ohm(other.step.pair) - table.nominal_ohm(pair)) > _UNLIKE * abs(ohm)
        for other in states
        if other is not state
    )


def _oddest_pass(states: Sequence[StepState], table: PairTable) -> StepState | None:
    """The passing step that goes least with the other passing values, once each."""
    warm_checked = any(state.step.name == WARM_CHECK for state in states)  # then a unit may have moved
    if warm_checked or sum(state.doubted for state in states) >= _MOST_DOUBTS:
        return None
    passing = [s for s in states if s.outcome in PASSING and math.isfinite(s.ohm)]
    odd = oddest(table, list({s.step.pair: s.reading for s in passing}.values()))
    if odd is None or odd.away < _ODD:
        return None
    return next((s for s in passing if s.step.pair == odd.pair and not s.doubted), None)


def _most(state: StepState, states: Sequence[StepState]) -> int:
    """How often this step may be asked for again."""
    if not state.insisted:
        return _MOST if math.isinf(state.ohm) else 1
    same = any(
        other.step.pair == state.looks_like
        and abs(other.ohm - state.ohm) <= 3.0 * math.hypot(other.touch_u_ohm, state.touch_u_ohm)
        for other in states
        if other is not state
    )
    return _MOST_SAME if same else _MOST


def known_readings(
    states: Sequence[StepState], but: StepState | None, *, passing: bool
) -> dict[Pair, tuple[float, float]]:
    """Finite readings that count, pair -> (ohm, standard uncertainty).

    Args:
        states: of all steps.
        but: a step to leave out.
        passing: True for those that passed only.
    """
    return {
        state.step.pair: (state.ohm, state.u_ohm)
        for state in states
        if state is not but
        and state.outcome is not None
        and math.isfinite(state.ohm)
        and (not passing or state.outcome in PASSING)
    }


def _open_elsewhere(state: StepState, states: Sequence[StepState], table: PairTable) -> bool:
    """Whether another pair that shares a branch with this one was found open too: one break explains both."""
    own = table.path(state.step.pair).shares
    return any(
        other is not state
        and other.step.conducts
        and math.isinf(other.ohm)
        and any(a > 0.0 and b > 0.0 for a, b in zip(own, table.path(other.step.pair).shares, strict=True))
        for other in states
    )


def _away(state: StepState, table: PairTable, others: Sequence[StepState]) -> float:
    """How far a value lies from what others predict for its pair, in standard uncertainties.

    NaN where they say little more than the sheet, or there is no value.
    """
    known = estimate(table, [s.reading for s in others if s is not state and s.outcome is not None])
    mean, sd = known.pair(state.step.pair)
    if math.isinf(mean) or sd > _FORETOLD * table.spread_ohm(state.step.pair):
        return math.nan
    if not math.isfinite(state.ohm):
        return math.inf
    predicted, u_ohm = known.reading(state.reading)
    return abs(state.ohm - predicted) / max(u_ohm, 1e-12)


def repeatable(states: Sequence[StepState], limit: float, drifted: Mapping[str, float]) -> StepState | None:
    """The first resistance whose repetition can show a movement as small as the limit.

    Where none is known so well, the first whose repetition can show what it must have moved if it went on as
    it did under the probes: a unit that cools fast makes all its values too coarse for the limit.

    Args:
        states: of the unit's steps.
        limit: fraction by which a repeated value may move.
        drifted: name of a step -> fraction that it has moved since, by its drift under the probes.
    """
    finite = [s for s in states if s.step.conducts and s.step.name != WARM_CHECK and math.isfinite(s.ohm)]
    for moved in ({}, drifted):
        for state in finite:
            shown = max(limit, moved.get(state.step.name, 0.0))
            if shown * abs(state.ohm) > 2.0 * math.sqrt(2.0) * state.touch_u_ohm:
                return state
    return None


def _repeated(states: Sequence[StepState]) -> tuple[StepState, StepState] | None:
    """The resistance that was read once more, and its repetition; None before that."""
    check = next((s for s in states if s.step.name == WARM_CHECK), None)
    first = next((s for s in states if check and s is not check and s.step.pair == check.step.pair), None)
    return None if check is None or first is None else (first, check)


def movement(states: Sequence[StepState]) -> float | None:
    """How far the repeated resistance has moved during the test, as a fraction of its first value.

    Returns:
        None before the warm check, where either is open, and while either is asked for once more; 0.0 where
        the two touches differ by no more than their scatter allows.
    """
    both = _repeated(states)
    if both is None or not math.isfinite(both[0].ohm + both[1].ohm):
        return None
    first, check = both
    change = check.ohm - first.ohm
    if abs(change) <= 2.0 * math.hypot(check.touch_u_ohm, first.touch_u_ohm):
        return 0.0
    return change / first.ohm
