"""Touching the pair just judged once more: when that is meant, and when the value holds."""

import math
from dataclasses import replace

import pytest

from acquire.records import Ask, Limits, Outcome, StepKind
from acquire.steps.matcher import weigh
from acquire.steps.pairs import PairTable
from acquire.steps.step_state import StepState
from acquire.steps.touched_again import afresh, holds, inside, repeatable_by_touch
from acquire.steps.unit import Ruling, UnitProgress
from acquire.steps.warm import WARM_CHECK
from tests.known_sheets import FATHOM, PLOVER, corrected

TABLE = PairTable(PLOVER)
FIRST, SECOND = PLOVER.steps[0], PLOVER.steps[1]


def judged(outcome=Outcome.PASS, ohm=200.0, **changes):
    """A step that has its verdict: 200 Ω, repeatable to 10 mΩ."""
    state = StepState(FIRST, attempts=1, outcome=outcome, ohm=ohm, u_ohm=0.1, repeat_u_ohm=0.01)
    return replace(state, **changes)


def holding(last, ohm, outcome=Outcome.PASS, *, u_ohm=0.1):
    return holds(last, outcome, ohm, u_ohm, 0.01)


def test_a_value_holds_where_it_agrees():
    """Within three standard deviations of the difference, or one part in a thousand."""
    assert holding(judged(), 200.0)
    assert holding(judged(), 200.19)
    assert not holding(judged(), 200.3)
    assert holds(judged(repeat_u_ohm=0.1), Outcome.PASS, 200.4, 0.1, 0.1)


def test_a_failing_pair_never_passes_by_touch():
    """However well the values agree; a fault of the asked pair could read so."""
    for before in (Outcome.FAIL, Outcome.CONDITIONAL_FAIL):
        for now in (Outcome.PASS, Outcome.CONDITIONAL_PASS):
            assert not holding(judged(before), 200.0, now)
        assert holding(judged(before), 200.0, Outcome.FAIL)


def test_a_worse_value_holds_without_agreeing():
    """But not where the next failing value would count at once, unasked for."""
    assert holding(judged(), 210.0, Outcome.FAIL)
    assert holding(judged(), 205.0, Outcome.CONDITIONAL_PASS)
    assert not holding(judged(Outcome.CONDITIONAL_PASS), 205.0, Outcome.PASS)
    assert not holding(judged(rechecked=1), 210.0, Outcome.FAIL)


def test_a_worse_setting_of_the_meter_replaces_nothing():
    """The range of another pair may be too coarse, or its quantity nothing for this one."""
    assert not holding(judged(), 200.0, u_ohm=0.2)
    assert not holding(judged(), 200.0, Outcome.CANNOT_JUDGE)


def test_a_pair_that_has_no_verdict_is_not_meant():
    """Nor one that stands open, was left out, was judged on the operator's word, or is the warm check."""
    asked = [SECOND.pair]
    assert repeatable_by_touch(judged(), asked, [], TABLE)
    for other in (
        judged(None, None),
        judged(Outcome.FAIL, math.inf),
        judged(skipped="bent"),
        judged(insisted=True),
        judged(step=replace(FIRST, name=WARM_CHECK)),
        judged(step=replace(FIRST, kind=StepKind.OPEN)),
    ):
        assert not repeatable_by_touch(other, asked, [], TABLE)


def test_the_same_pair_under_another_name_is_not_meant():
    """Such as the warm check: whose value it is would be anybody's guess after a power cut."""
    twin = judged(step=replace(FIRST, name="again"))
    assert not repeatable_by_touch(judged(), [SECOND.pair], [twin], TABLE)
    assert not repeatable_by_touch(judged(), [FIRST.pair], [], TABLE)


def test_look_alikes_are_left_alone():
    """Three equal phases: a touch on one of them proves nothing about which."""
    table = PairTable(FATHOM)
    alike = [
        (a, b)
        for a in FATHOM.steps
        for b in FATHOM.steps
        if a.pair != b.pair
        and a.kind is b.kind is StepKind.RESISTANCE
        and abs(table.nominal_ohm(a.pair) - table.nominal_ohm(b.pair)) < 1e-6
    ]
    assert alike
    for a, b in alike:
        assert not repeatable_by_touch(judged(step=a), [b.pair], [], table)


def test_a_new_attempt_remembers_what_was_learnt():
    """A failing value waits for one that agrees; a passing one does not stand in the way."""
    failed = afresh(judged(Outcome.FAIL, 150.0, attempts=2, rechecked=1, doubted=1))
    assert (failed.outcome, failed.ohm, failed.failed) == (None, None, (150.0,))
    assert (failed.attempts, failed.rechecked, failed.doubted) == (2, 1, 1)
    assert afresh(judged()).failed == ()


@pytest.mark.parametrize(("low", "high", "within"), [(190.0, 210.0, True), (201.0, 210.0, False)])
def test_inside_needs_both_limits(low, high, within):
    assert inside(200.0, Limits(low, high)) is within
    assert not inside(200.0, Limits(None, high))
    assert not inside(200.0, Limits(low, None))


def told(unit, outcome, ohm):
    """The value of the pair judged last, touched again."""
    match = weigh(corrected(TABLE.nominal_ohm(FIRST.pair), 0.01), unit.current.pair, TABLE)
    assert match.pair == FIRST.pair
    ruling = unit.admit(match, again=True)
    assert ruling is Ruling.AGAIN
    assert unit.current == FIRST
    return unit.judged(outcome, ohm, 0.01)


def test_a_failing_value_touched_again_is_asked_for_once_more():
    """One touch unasked for fails nobody: what comes on request decides."""
    unit = UnitProgress(TABLE, "A1")
    assert unit.judged(Outcome.PASS, 202.6, 0.01)
    assert not told(unit, Outcome.FAIL, 150.0)
    prompt = unit.prompt()
    assert (prompt.ask, prompt.pair) == (Ask.TOUCH_AGAIN, FIRST.pair)
    assert unit.judged(Outcome.FAIL, 150.0, 0.01)
    assert unit.current == SECOND
    assert unit.states[0].attempts == 3


def test_a_failing_pair_that_fails_again_fails():
    """Its values agree, so there is nothing to ask."""
    unit = UnitProgress(TABLE, "A1")
    unit.judged(Outcome.FAIL, 150.0, 0.01)
    assert unit.judged(Outcome.FAIL, 150.0, 0.01)
    assert told(unit, Outcome.FAIL, 150.0)
    assert unit.current == SECOND
    assert unit.outcome is Outcome.FAIL


def test_what_is_taken_back_can_be_told_again():
    """A revision of the value that was touched again: the same attempt, once more."""
    unit = UnitProgress(TABLE, "A1")
    unit.judged(Outcome.PASS, 202.6, 0.01)
    assert told(unit, Outcome.PASS, 202.6)
    unit.take_back()
    assert (unit.again, unit.states[0].attempts, unit.current) == (None, 1, SECOND)
    assert told(unit, Outcome.PASS, 202.61)
    assert (unit.states[0].attempts, unit.states[0].ohm) == (2, 202.61)


def test_relays_touch_nothing_again():
    """Behind a fixture every value is the asked pair's."""
    unit = UnitProgress(TABLE, "A1", placed=True)
    unit.judged(Outcome.PASS, 202.6, 0.01)
    assert unit.last is None
