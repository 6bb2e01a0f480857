"""When an attempt counts: failing values that agree, and passes after a failure."""

import math

import pytest

from acquire.records import Outcome, Pair, Step, StepKind
from acquire.steps.counting import counts, look_alike
from acquire.steps.pairs import PairTable
from acquire.steps.step_state import StepState
from tests.known_sheets import PLOVER, QUERN

TABLE, STAR = PairTable(PLOVER), PairTable(QUERN)


def state(pair=("1", "2"), **more):
    """Before its first attempt."""
    return StepState(Step("step", Pair(*pair)), **more)


def told(at, *attempts, table=TABLE):
    """Whether each attempt counts: ohms alone fail, (ohms, outcome) are as they say."""
    answers = []
    for each in attempts:
        ohm, outcome = each if isinstance(each, tuple) else (each, Outcome.FAIL)
        answers.append(counts(at, outcome, ohm, 0.01, table))
    return answers


def test_a_failing_value_counts_when_it_comes_twice():
    assert told(state(), 260.0, 260.1) == [False, True]


def test_two_failing_values_that_differ_are_a_wrong_probe_or_worse():
    """46 was 2-3, 260 is the fault: it needs its own witness, and has it the third time."""
    assert told(state(), 46.2, 260.0, 260.0) == [False, False, True]


def test_an_unsteady_joint_agrees_with_itself():
    """Within a twentieth."""
    assert told(state(), 260.0, 271.0) == [False, True]


def test_an_open_pair_agrees_with_an_open_pair_only():
    assert told(state(), math.inf, 260.0, math.inf) == [False, False, True]


def test_nobody_is_asked_for_ever():
    """Values that never agree: the fifth counts, whatever it is."""
    assert told(state(), 20.0, 40.0, 80.0, 160.0, 320.0) == [False, False, False, False, True]


def test_a_pass_after_a_high_reading_counts_for_a_dirty_pin_reads_high():
    assert told(state(), 215.0, (203.0, Outcome.PASS)) == [False, True]


def test_a_pass_after_a_low_reading_is_touched_once_more():
    """No dirt makes a winding read low."""
    passed = (203.0, Outcome.PASS)
    assert told(state(), 180.0, passed, passed) == [False, False, True]


def test_after_a_pass_the_same_low_reading_counts_after_all():
    assert told(state(), 180.0, (203.0, Outcome.PASS), 180.1) == [False, False, True]


def test_a_pass_of_a_pair_with_a_look_alike_is_touched_once_more():
    """V-N failed high, then U-N may have been touched for it."""
    passed = (0.451, Outcome.PASS)
    assert told(state(("V", "N")), 0.52, passed, passed, table=STAR) == [False, False, True]


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
    """4-core reads like 4-6, for the strap is next to nothing."""
    assert look_alike(state(pair), table) is found


def test_what_the_operator_insists_on_counts_at_once():
    assert told(state(insisted=True), 260.0) == [True]
    assert told(state(rechecked=1), 260.0) == [True]


def test_a_value_that_cannot_be_judged_counts_at_once():
    assert told(state(), (203.0, Outcome.CANNOT_JUDGE)) == [True]


def test_a_finite_value_of_a_pair_that_must_be_open_needs_a_second_one():
    at = StepState(Step("open", Pair("1", "core"), kind=StepKind.OPEN, open_above_ohm=1e6))
    assert told(at, 5100.0, (math.inf, Outcome.PASS), (math.inf, Outcome.PASS)) == [False, False, True]
