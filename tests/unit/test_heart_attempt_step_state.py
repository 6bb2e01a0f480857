"""When an attempt at a step counts, and when a pair touched again replaces its value."""

import math
from dataclasses import replace

import pytest

from acquire.heart.attempt import Attempt, AttemptKind, StepState, counts, has_look_alike, touched_afresh
from acquire.records import Outcome, Pair, Step, StepKind, Why
from acquire.records.codes import WARM_CHECK
from acquire.steps.pairs import PairTable
from tests.known_sheets import PLOVER, QUERN

TABLE, STAR = PairTable(PLOVER), PairTable(QUERN)
FAIL, PASS = Outcome.FAIL, Outcome.PASS


def attempt(ohm, outcome=FAIL, *, u_ohm=0.1, touch_u_ohm=0.01):
    return Attempt(AttemptKind.JUDGED, "step", 1, 0, outcome, ohm, u_ohm, touch_u_ohm)


def state(pair=("1", "2"), **more):
    """Before its first attempt."""
    return StepState(Step("step", Pair(*pair)), **more)


LOW_THEN_PASSES = [180.0, (203.0, PASS)]


@pytest.mark.parametrize(
    ("told", "expected"),
    [
        ([260.0, 260.1], [False, True]),  # a fault reads the same again
        ([46.2, 260.0, 260.0], [False, False, True]),  # 46 was 2–3; 260 needs its own witness
        ([260.0, 271.0], [False, True]),  # an unsteady joint agrees with itself within a twentieth
        ([math.inf, 260.0, math.inf], [False, False, True]),
        ([20.0, 40.0, 80.0, 160.0, 320.0], [False] * 4 + [True]),  # nobody is asked for ever
        ([215.0, (203.0, PASS)], [False, True]),  # a dirty pin reads high
        ([*LOW_THEN_PASSES, (203.0, PASS)], [False, False, True]),  # no dirt makes a winding read low
        ([*LOW_THEN_PASSES, 180.1], [False, False, True]),
        ([(203.0, Outcome.CANNOT_JUDGE)], [True]),
    ],
)
def test_failing_values_count_when_two_agree(told, expected):
    """Ohms alone fail, (ohms, outcome) are as they say."""
    at = state()
    values = [attempt(*each) if isinstance(each, tuple) else attempt(each) for each in told]
    assert [counts(at, each, TABLE) for each in values] == expected


def test_a_pass_of_a_pair_with_a_look_alike_is_touched_once_more():
    """V–N failed high, then U–N may have been touched for it; so with a ground of an open pair."""
    star, wanted = state(("V", "N")), StepState(Step("open", Pair("1", "core"), StepKind.OPEN))
    for at, table, ohm, after in ((star, STAR, 0.52, 0.451), (wanted, TABLE, 5100.0, math.inf)):
        told = [attempt(ohm), attempt(after, PASS), attempt(after, PASS)]
        assert [counts(at, each, table) for each in told] == [False, False, True]


@pytest.mark.parametrize(
    ("table", "pair", "found"),
    [
        (STAR, ("V", "N"), True),
        (STAR, ("U", "V"), True),
        (TABLE, ("1", "2"), False),
        (TABLE, ("4", "6"), True),
    ],
)
def test_look_alikes_share_a_pin_and_read_the_same(table, pair, found):
    """4–core reads like 4–6, for the strap is next to nothing."""
    assert has_look_alike(Pair(*pair), table) is found


def test_what_the_operator_insists_on_counts_at_once():
    """And what is asked for again at the end."""
    for at in (state(insisted=True), state(rechecked=1)):
        assert counts(at, attempt(260.0), TABLE)


def done(outcome=PASS, ohm=200.0, **more):
    """A step that has its verdict: 200 Ω, repeatable to 10 mΩ."""
    return StepState(PLOVER.steps[0], 1, outcome, ohm, 0.1, **({"touch_u_ohm": 0.01} | more))


@pytest.mark.parametrize(
    ("before", "now", "holds"),
    [
        (done(), attempt(200.0, PASS), True),
        (done(), attempt(200.19, PASS), True),  # one part in a thousand
        (done(), attempt(200.3, PASS), False),
        (done(touch_u_ohm=0.1), attempt(200.4, PASS, touch_u_ohm=0.1), True),  # three standard deviations
        (done(), attempt(210.0), True),  # worse: asked for once more
        (done(), attempt(205.0, Outcome.CONDITIONAL_PASS), True),
        (done(Outcome.CONDITIONAL_PASS), attempt(205.0, PASS), False),
        (done(rechecked=1), attempt(210.0), False),  # its next failing value would count unasked for
        (done(FAIL), attempt(200.0), True),
        (done(FAIL), attempt(200.0, PASS), False),
        (done(Outcome.CONDITIONAL_FAIL), attempt(200.0, Outcome.CONDITIONAL_PASS), False),
        (done(), attempt(200.0, PASS, u_ohm=0.2), False),  # the range of another pair is too coarse
        (done(), attempt(200.0, Outcome.CANNOT_JUDGE), False),
        (state(), attempt(200.0, PASS), False),
    ],
)
def test_a_pair_touched_again_keeps_its_verdict_or_gets_a_worse_one(before, now, holds):
    """It never makes a failing pair pass: a fault of the asked pair could read so."""
    assert before.holds(now) is holds


def test_what_a_touch_may_replace():
    """A finite value of the unit's own; not an open pair, one insisted on, left out, or the warm check."""
    assert done().repeatable_by_touch
    for other in (
        state(),
        done(FAIL, math.inf),
        done(skipped=True),
        done(insisted=True),
        replace(done(), step=replace(PLOVER.steps[0], name=WARM_CHECK)),
        replace(done(), step=replace(PLOVER.steps[0], kind=StepKind.OPEN)),
    ):
        assert not other.repeatable_by_touch


def test_a_new_attempt_remembers_what_was_learnt():
    """A failing value waits for one that agrees; a passing one does not stand in the way."""
    failed = touched_afresh(done(FAIL, 150.0, rechecked=1, doubted=1))
    assert (failed.outcome, failed.failed, failed.done) == (None, (150.0,), False)
    assert math.isnan(failed.ohm)
    assert (failed.attempts, failed.rechecked, failed.doubted) == (1, 1, 1)
    assert touched_afresh(done()).failed == ()


@pytest.mark.parametrize(
    ("at", "why"),
    [
        (state(), (Why.NONE, 0)),
        (state(out_of_turn=True), (Why.SET_UP, 1)),
        (state(failed=(1.0,)), (Why.FAILED, 1)),
        (state(failed=(1.0, 2.0)), (Why.DISAGREE, 2)),
        (state(failed=(1.0,), passed_once=True), (Why.PASSED_AFTER_FAIL, 1)),
        (state(rechecked=1, doubted=1), (Why.INCONSISTENT, 2)),
        (state(refused_ohm=46.0), (Why.LOOKS_LIKE, 0)),
    ],
)
def test_a_request_says_why_it_comes_again(at, why):
    """For the sentence, and so that no two requests in a row are the same."""
    assert at.why_again() == why
