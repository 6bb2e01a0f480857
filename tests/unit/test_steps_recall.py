"""An interrupted unit stands where it stood: steps left out, values refused, insisted on, asked for again."""

import math
from dataclasses import replace

from acquire.records import Fit, Match, Notice, Outcome, Weight
from acquire.steps.matcher import weigh
from acquire.steps.pairs import PairTable
from acquire.steps.recall import LEFT_OUT, left_out
from acquire.steps.unit import UnitProgress
from tests.known_records import VERDICT
from tests.known_sheets import PLOVER, corrected

TABLE = PairTable(PLOVER)


def notice(code, text="", pair=None):
    """As the journal gives it back."""
    return Notice(Weight.WARNING, code, text, 5.0, "P-1", pair)


def verdict(step, ohm, outcome=Outcome.PASS, **more):
    """Of a step of the Plover."""
    known = {"reference_ohm": ohm, "standard_uncertainty_ohm": 0.01, "attempt": 1, "counts": True}
    return replace(VERDICT, step=step, outcome=outcome, **(known | more))


def resumed(*records):
    """A unit taken up from these."""
    progress = UnitProgress(TABLE, "P-1")
    progress.resume(records)
    return progress


def test_a_step_left_out_stays_left_out():
    """And the unit cannot pass any more, as before the power cut."""
    first = PLOVER.steps[0]
    said = notice(LEFT_OUT, left_out(first.name, "pin 1 is bent: no contact"), first.pair)
    progress = resumed(said)
    assert progress.current.name == PLOVER.steps[1].name
    assert progress.states[0].skipped == "pin 1 is bent: no contact"
    assert progress.outcome is Outcome.CANNOT_JUDGE


def test_the_text_is_the_one_that_the_heart_writes():
    """`skip` at work and its record agree on the words."""
    progress = UnitProgress(TABLE, "P-1")
    step = progress.skip("no such pin")
    assert resumed(notice(LEFT_OUT, left_out(step.name, "no such pin"))).states[0] == progress.states[0]


def test_a_step_measured_after_it_was_left_out_is_measured():
    first = PLOVER.steps[0]
    progress = resumed(notice(LEFT_OUT, left_out(first.name, "later")), verdict(first.name, 202.6))
    assert (progress.states[0].skipped, progress.states[0].outcome) == ("", Outcome.PASS)


def test_a_value_insisted_on_is_known_as_such():
    """Told that it reads like 1-3, the operator touched 1-2 again and it read the same: so be it."""
    first = PLOVER.steps[0]
    match = weigh(corrected(248.7), first.pair, TABLE)
    assert match.fit is Fit.OTHER_PAIR
    failed = verdict(first.name, 248.6, Outcome.FAIL, fit=match.fit, reads_like=match.reads_like)
    assert resumed(notice("pair.other", "", first.pair), failed).states[0].insisted
    assert not resumed(failed).states[0].insisted, "nothing was refused before"


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
    assert resumed(notice("note", "dropped once")).current.name == PLOVER.steps[0].name
