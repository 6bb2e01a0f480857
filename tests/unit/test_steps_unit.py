"""The rules of the bench: hint, once more, confirmed open, warm check, skipping, resuming."""

import math
from dataclasses import replace

import pytest

from acquire.errors import InputImpossible
from acquire.records import Ask, Fit, Match, Outcome, Pair, StepKind
from acquire.steps.pairs import PairTable
from acquire.steps.unit import WARM_CHECK, Ruling, UnitProgress
from tests.known_sheets import PLOVER, PLOVER_OPEN, corrected


def unit(sheet=PLOVER, **more):
    """A fresh unit."""
    return UnitProgress(PairTable(sheet), "P-0001", **more)


def fit(kind, ohm, pair=("1", "2")):
    """A match as the matcher would give it."""
    return Match(corrected(ohm), kind, Pair(*pair), ())


def finish(progress, factor=1.0, u_ohm=0.001):
    """Pass every step at its nominal times a factor."""
    while not progress.done:
        ohm = progress.table.nominal_ohm(progress.current.pair) * factor
        progress.judged(Outcome.PASS, ohm if math.isfinite(ohm) else math.inf, u_ohm)


def test_steps_come_in_the_sheets_order():
    """Guided: one after the other, then the first once more."""
    progress, seen = unit(), []
    while not progress.done:
        seen.append(progress.current.name)
        progress.judged(Outcome.PASS, progress.table.nominal_ohm(progress.current.pair), 0.001)
    assert seen == [step.name for step in PLOVER.steps] + [WARM_CHECK]
    assert progress.outcome is Outcome.PASS
    assert (progress.passed, progress.total) == (5, 5)
    assert progress.moved() == 0.0
    assert not progress.still_warm


def test_wrong_pair_gets_a_hint_and_no_verdict():
    """And the step is still to be done."""
    progress = unit()
    assert progress.admit(fit(Fit.OTHER_PAIR, 248.7, ("1", "3"))) is Ruling.HINT
    assert progress.outcome is None
    assert progress.prompt().ask is Ask.TOUCH_AGAIN
    assert progress.admit(fit(Fit.EXPECTED, 202.5)) is Ruling.JUDGE


def test_the_same_odd_value_on_request_is_judged_and_counts():
    """A fault that looks like another pair is not explained away."""
    progress = unit()
    progress.admit(fit(Fit.OTHER_PAIR, 248.7, ("1", "3")))
    assert progress.admit(fit(Fit.OTHER_PAIR, 248.6, ("1", "3"))) is Ruling.JUDGE
    assert progress.judged(Outcome.FAIL, 248.6, 0.2)
    assert progress.outcome is Outcome.FAIL


def test_two_different_wrong_pairs_are_two_hints():
    """46 after 249 is another slip, not an insistence."""
    progress = unit()
    assert progress.admit(fit(Fit.OTHER_PAIR, 248.7, ("1", "3"))) is Ruling.HINT
    assert progress.admit(fit(Fit.OTHER_PAIR, 46.2, ("2", "3"))) is Ruling.HINT


def test_failing_value_is_asked_for_once_more():
    """First does not count; the second does, whichever way it goes."""
    for second in (Outcome.PASS, Outcome.FAIL):
        progress = unit()
        progress.admit(fit(Fit.FAULT, 214.6))
        assert not progress.judged(Outcome.FAIL, 214.6, 0.2)
        assert progress.prompt().ask is Ask.TOUCH_AGAIN
        assert progress.attempt == 2
        assert progress.judged(second, 214.6, 0.2)
        assert progress.outcome is second


def test_cannot_judge_is_not_asked_for_again():
    """A second reading does not make the meter better."""
    progress = unit()
    assert progress.judged(Outcome.CANNOT_JUDGE, 0.4, 0.5)


def test_no_contact_is_only_ever_open_when_confirmed_twice():
    """A probe in the air reads the same: after a while the prompt asks for the key."""
    progress = unit(contact_wait_s=8.0)
    assert "No contact" not in progress.prompt(7.9).text
    assert progress.prompt(8.0).text == (
        "No contact seen on 1–2: press Enter or the pedal if both probes are on it."
    )
    assert progress.confirmed_open() == (Outcome.FAIL, False)
    assert progress.confirmed_open() == (Outcome.FAIL, True)
    assert progress.readings() == ((Pair("1", "2"), math.inf, 0.0),)


def test_open_step_passes_by_key():
    """A pair that must be open passes on the operator's word, never on an overload."""
    progress = unit(PLOVER_OPEN)
    for step in PLOVER_OPEN.steps[:-1]:
        progress.judged(Outcome.PASS, progress.table.nominal_ohm(step.pair), 0.001)
    assert progress.current.name == "charge to core"
    assert "must be open" in progress.prompt().text
    assert progress.confirmed_open() == (Outcome.PASS, True)


def test_warm_unit_is_seen_by_the_repeated_first_pair():
    """Half a per cent of movement during the test is more than 1 K of copper."""
    progress = unit()
    for step in PLOVER.steps:
        progress.judged(Outcome.PASS, progress.table.nominal_ohm(step.pair), 0.01)
    progress.judged(Outcome.PASS, progress.table.nominal_ohm(PLOVER.steps[0].pair) * 0.995, 0.01)
    assert progress.moved() == pytest.approx(-0.005)
    assert progress.still_warm


def test_warm_check_is_left_out_where_it_could_see_nothing():
    """When touches scatter by more than the limit, repeating one proves nothing."""
    progress = unit()
    for step in PLOVER.steps:
        progress.judged(Outcome.PASS, progress.table.nominal_ohm(step.pair), 5.0)
    assert progress.done
    assert progress.moved() is None
    progress = unit(warm_check=False)
    finish(progress)
    assert progress.total == len(PLOVER.steps)


def test_taking_back_undoes_the_last_touch():
    """A value that moved on without a lift-off is judged anew as the same attempt."""
    progress = unit()
    progress.admit(fit(Fit.EXPECTED, 202.0))
    progress.judged(Outcome.PASS, 202.0, 0.1)
    progress.take_back()
    assert (progress.current.name, progress.attempt) == ("slow charge", 1)
    finish(progress)
    progress.take_back()
    assert progress.current.name == WARM_CHECK


def test_measure_again_forgets_a_step():
    """By name or the latest; the warm check goes with it and comes back."""
    progress = unit()
    with pytest.raises(InputImpossible, match="Nothing was measured yet"):
        progress.measure_again()
    finish(progress)
    assert progress.measure_again("trigger").name == "trigger"
    assert (progress.current.name, progress.attempt) == ("trigger", 2)
    finish(progress)
    assert progress.done
    assert progress.measure_again().name == WARM_CHECK
    with pytest.raises(InputImpossible, match='no step "nonsense"'):
        progress.measure_again("nonsense")


def test_a_skipped_step_needs_a_reason_and_spoils_the_pass():
    """No reading is ever a silent pass."""
    progress = unit()
    with pytest.raises(InputImpossible, match="only with a reason"):
        progress.skip(" ")
    assert progress.skip("pin broken off").name == "slow charge"
    finish(progress)
    assert progress.outcome is Outcome.CANNOT_JUDGE


def test_finished_unit_takes_nothing_more():
    """The prompt asks for the next unit."""
    progress = unit()
    finish(progress)
    assert progress.prompt().ask is Ask.START_UNIT
    assert progress.attempt == 0
    for act in (progress.confirmed_open, lambda: progress.judged(Outcome.PASS, 1.0)):
        with pytest.raises(InputImpossible, match="All steps of P-0001 are done"):
            act()


def test_known_readings_are_those_that_passed():
    """A failed or open pair foretells nothing."""
    progress = unit()
    progress.judged(Outcome.PASS, 202.0, 0.1)
    progress.judged(Outcome.FAIL, 60.0, 0.1)
    progress.judged(Outcome.FAIL, 60.0, 0.1)
    assert progress.known() == {Pair("1", "2"): (202.0, 0.1)}


def test_worst_outcome_counts_for_the_unit():
    """Fail outweighs everything, cannot judge outweighs a conditional pass."""
    progress = unit()
    progress.judged(Outcome.CONDITIONAL_PASS, 214.0, 0.1)
    assert progress.outcome is Outcome.CONDITIONAL_PASS
    progress.judged(Outcome.CANNOT_JUDGE, 46.0, 9.0)
    assert progress.outcome is Outcome.CANNOT_JUDGE


def test_typed_steps_are_not_asked_for():
    """Their results come from a keyboard or an instrument with hands off."""
    typed = replace(PLOVER.steps[0], name="insulation", kind=StepKind.TYPED)
    progress = unit(replace(PLOVER, steps=(typed, *PLOVER.steps)))
    assert progress.current.name == "slow charge"
