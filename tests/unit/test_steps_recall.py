"""An interrupted unit stands where it stood: steps left out, values refused, insisted on, asked for again."""

import math
from dataclasses import replace

import pytest

from acquire.records import Code, Fit, Match, Notice, Outcome, Pair, Weight
from acquire.steps.matcher import names_another, weigh
from acquire.steps.pairs import PairTable
from acquire.steps.unit import UnitProgress
from tests.known_records import VERDICT
from tests.known_sheets import PLOVER, corrected

TABLE = PairTable(PLOVER)


def notice(code, pair=None, step="", **facts):
    """As the journal gives it back."""
    return Notice(Weight.WARNING, code, 5.0, "P-1", pair, step, facts)


def verdict(step, ohm, outcome=Outcome.PASS, **more):
    """Of a step of the Plover."""
    known = {"reference_ohm": ohm, "standard_uncertainty_ohm": 0.01, "attempt": 1, "counts": True, "hint": ""}
    return replace(VERDICT, step=step, outcome=outcome, **(known | more))


def resumed(*records):
    """A unit taken up from these."""
    progress = UnitProgress(TABLE, "P-1")
    progress.resume(records)
    return progress


def test_a_step_left_out_stays_left_out():
    """And the unit cannot pass any more, as before the power cut."""
    first = PLOVER.steps[0]
    told = notice(Code.STEP_SKIPPED, first.pair, first.name, reason="pin 1 is bent: no contact")
    progress = resumed(told)
    assert progress.current.name == PLOVER.steps[1].name
    assert progress.states[0].skipped == "pin 1 is bent: no contact"
    assert progress.outcome is Outcome.CANNOT_JUDGE


def test_it_comes_back_as_the_heart_left_it():
    """`skip` at work and its record agree."""
    progress = UnitProgress(TABLE, "P-1")
    step = progress.skip("no such pin")
    assert (
        resumed(notice(Code.STEP_SKIPPED, step.pair, step.name, reason="no such pin")).states[0]
        == progress.states[0]
    )


def test_a_step_measured_after_it_was_left_out_is_measured():
    first = PLOVER.steps[0]
    progress = resumed(
        notice(Code.STEP_SKIPPED, first.pair, first.name, reason="later"), verdict(first.name, 202.6)
    )
    assert (progress.states[0].skipped, progress.states[0].outcome) == ("", Outcome.PASS)


def test_a_value_insisted_on_is_known_as_such():
    """Told that it reads like 1-3, the operator touched 1-2 again and it read the same: so be it."""
    first = PLOVER.steps[0]
    match = weigh(corrected(248.7), first.pair, TABLE)
    assert match.fit is Fit.OTHER_PAIR
    failed = verdict(first.name, 248.6, Outcome.FAIL, hint=match.hint)
    assert resumed(notice(Code.PAIR_OTHER, first.pair, hint=match.hint), failed).states[0].insisted
    assert not resumed(failed).states[0].insisted, "nothing was refused before"


@pytest.mark.parametrize(("ohm", "another"), [(248.7, True), (202.6, False), (1000.0, False), (0.01, True)])
def test_hints_of_another_pair_are_known_by_their_words(ohm, another):
    match = weigh(corrected(ohm), Pair("1", "2"), TABLE)
    assert names_another(match.hint) is another is (match.fit in (Fit.OTHER_PAIR, Fit.AMBIGUOUS))


def test_failing_values_that_wait_for_another_still_wait():
    """The second touch after the power cut must agree with the one before it."""
    first = PLOVER.steps[0]
    progress = resumed(verdict(first.name, 260.0, Outcome.FAIL, counts=False))
    assert progress.states[0].failed == (260.0,)
    progress.admit(Match(corrected(260.1), Fit.FAULT, first.pair, ()))
    assert progress.judged(Outcome.FAIL, 260.1, 0.01)


def test_a_pass_that_waits_for_another_still_waits():
    first = PLOVER.steps[0]
    told = [
        verdict(first.name, 180.0, Outcome.FAIL, counts=False),
        verdict(first.name, 202.6, counts=False, attempt=2),
    ]
    progress = resumed(*told)
    assert progress.states[0].passed_once
    assert progress.attempt == 3


def test_a_confirmed_open_pair_is_infinite():
    first = PLOVER.steps[0]
    progress = resumed(verdict(first.name, None, Outcome.FAIL, counts=False))
    assert progress.states[0].failed == (math.inf,)


def test_other_notices_mean_nothing():
    assert resumed(notice(Code.NOTE, note="dropped once")).current.name == PLOVER.steps[0].name
