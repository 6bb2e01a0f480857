"""The rules of the bench: hint, once more, confirmed open, warm check, skipping, resuming."""

import math
from dataclasses import replace

import pytest
from acquire.steps.unit import Order, Ruling

from acquire.errors import InputImpossible
from acquire.records import Ask, Fit, Outcome, Pair, StepKind
from acquire.steps.warm import WARM_CHECK
from tests.known_progress import finish, fit, unit
from tests.known_sheets import FATHOM, PLOVER, PLOVER_OPEN, QUERN


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


def insisted_on_the_diagonal(progress):
    """The operator stays on 1–3 though 1–2 was asked for, twice."""
    for ohm in (248.7, 248.6):
        ruling = progress.admit(fit(Fit.OTHER_PAIR, ohm, ("1", "3")))
    assert ruling is Ruling.JUDGE
    progress.judged(Outcome.FAIL, 248.6, 0.2)


def finish_good(progress):
    """The rest of a good Plover, up to what is asked again."""
    for ohm in (46.2, 248.7, 83.2):
        progress.judged(Outcome.PASS, ohm, 0.02)


def test_twice_on_the_wrong_pair_does_not_fail_a_good_unit():
    """The other readings say that 1–2 must be 202.5 ohm: it is asked for a third time."""
    progress = unit()
    insisted_on_the_diagonal(progress)
    finish_good(progress)
    assert progress.current.name == "slow charge"
    assert "it does not go with the other values" in progress.prompt().text
    progress.admit(fit(Fit.EXPECTED, 202.5))
    progress.judged(Outcome.PASS, 202.5, 0.02)
    finish(progress)
    assert progress.outcome is Outcome.PASS


def test_in_the_end_it_counts_whatever_it_looks_like():
    """Asked for three times more at the end, since it is 1–3 to the digit; no endless asking."""
    progress = unit()
    insisted_on_the_diagonal(progress)
    finish_good(progress)
    for _ in range(3):
        assert progress.current.name == "slow charge"
        assert progress.admit(fit(Fit.OTHER_PAIR, 248.7, ("1", "3"))) is Ruling.JUDGE
        assert progress.judged(Outcome.FAIL, 248.7, 0.2)
    assert progress.current.name == WARM_CHECK
    assert progress.outcome is Outcome.FAIL


def test_look_alikes_of_the_wrong_pair_one_after_the_other_do_not_fail_a_good_unit():
    """V–W insisted on for V–N, then U–V: each what another pair has read to the digit."""
    progress = unit(QUERN)
    read = {step.pair: progress.table.nominal_ohm(step.pair) for step in QUERN.steps}
    read |= {Pair("U", "V"): 0.8940, Pair("V", "W"): 0.8927}
    while progress.current.pair != Pair("V", "N"):
        progress.judged(Outcome.PASS, read[progress.current.pair], 0.0025, repeat_u_ohm=0.0003)
    for ohm in (0.8926, 0.8925):
        ruling = progress.admit(fit(Fit.OTHER_PAIR, ohm, ("V", "W")))
    assert ruling is Ruling.JUDGE
    progress.judged(Outcome.FAIL, 0.8925, 0.0025, repeat_u_ohm=0.0003)
    while progress.current.pair != Pair("V", "N"):
        if math.isinf(read[progress.current.pair]):
            progress.confirmed_open()
        else:
            progress.judged(Outcome.PASS, read[progress.current.pair], 0.0025, repeat_u_ohm=0.0003)
    assert progress.admit(fit(Fit.FAULT, 0.8935, ("V", "N"))) is Ruling.JUDGE
    progress.judged(Outcome.FAIL, 0.8935, 0.0025, repeat_u_ohm=0.0003)
    assert progress.current.pair == Pair("V", "N")
    assert "a third time" in progress.prompt().text
    progress.judged(Outcome.PASS, 0.4530, 0.0025, repeat_u_ohm=0.0003)
    finish(progress)
    assert progress.outcome is Outcome.PASS


def test_a_fault_that_the_set_confirms_is_not_asked_a_third_time():
    """46 ohm too much in the slow charge: 1–2 looks like a good diagonal, and the diagonal has 46 more."""
    progress = unit(warm_check=False)
    insisted_on_the_diagonal(progress)
    progress.judged(Outcome.PASS, 46.2, 0.02)
    for _ in range(2):
        progress.judged(Outcome.FAIL, 294.8, 0.2)
    progress.judged(Outcome.PASS, 83.2, 0.02)
    assert progress.done
    assert progress.outcome is Outcome.FAIL


def test_open_confirmed_on_the_wrong_pin_is_contradicted_by_the_set():
    """2–3 and 1–3 conduct, so 1–2 cannot be open."""
    progress = unit(warm_check=False)
    progress.confirmed_open()
    progress.confirmed_open()
    finish_good(progress)
    assert progress.current.name == "slow charge"


def test_a_wrong_probe_at_the_warm_check_does_not_fail_a_good_unit():
    """The same pair has just passed, so an open one is asked for again."""
    progress = unit()
    for ohm in (202.5, 46.2, 248.7, 83.2):
        progress.judged(Outcome.PASS, ohm, 0.02)
    assert progress.current.name == WARM_CHECK
    progress.confirmed_open()
    progress.confirmed_open()
    assert progress.current.name == WARM_CHECK
    progress.judged(Outcome.PASS, 202.5, 0.02)
    assert progress.done
    assert progress.outcome is Outcome.PASS


def test_an_open_pair_that_stands_alone_is_asked_for_at_the_end():
    """Nothing else runs through the trigger, so only the key speaks against it; once more, then it counts."""
    progress = unit(warm_check=False)
    for ohm in (202.5, 46.2, 248.7):
        progress.judged(Outcome.PASS, ohm, 0.02)
    progress.confirmed_open()
    progress.confirmed_open()
    assert progress.current.name == "trigger"
    assert progress.confirmed_open() == (Outcome.FAIL, True)
    assert progress.done


def test_a_break_that_two_pairs_show_is_not_asked_for_again():
    """1–2 and 1–3 open: the slow charge or pin 1."""
    progress = unit(warm_check=False)
    for ohm in (math.inf, 46.2, math.inf, 83.2):
        while True:
            outcome = Outcome.FAIL if math.isinf(ohm) else Outcome.PASS
            if progress.judged(outcome, ohm, 0.02):
                break
    assert progress.done


def test_free_order_takes_a_value_for_the_step_it_fits():
    """The diagonal first, though 1–2 was prompted."""
    progress = unit(order=Order.FREE)
    assert progress.prompt().text == "Touch 1–2 (slow charge), or any pair still open."
    assert progress.open_pairs == (Pair("2", "3"), Pair("1", "3"), Pair("4", "core"))
    assert progress.admit(fit(Fit.OTHER_PAIR, 248.7, ("1", "3"))) is Ruling.JUDGE
    assert progress.current.name == "both charge windings"
    progress.judged(Outcome.PASS, 248.7, 0.02)
    assert progress.current.name == "slow charge"


def test_free_order_sets_the_meter_before_it_gives_up():
    """5–6 read with two wires while 1–2 was asked for: touched once more with four, before it counts."""
    progress = unit(order=Order.FREE)
    progress.admit(fit(Fit.OTHER_PAIR, 83.2, ("4", "core")))
    assert not progress.judged(Outcome.CANNOT_JUDGE, 83.2, 9.0)
    assert progress.prompt().text == "Touch 4–core (trigger) once more: the meter is set for it now."
    assert progress.judged(Outcome.CANNOT_JUDGE, 83.2, 9.0)


def test_a_value_that_is_another_pairs_to_the_digit_is_asked_for_three_times():
    """A ground that reads exactly like the strap is not impossible, but a wrong probe is likelier."""
    progress = unit(PLOVER_OPEN, warm_check=False)
    for step in PLOVER_OPEN.steps[:-1]:
        progress.judged(Outcome.PASS, progress.table.nominal_ohm(step.pair), 0.001)
    progress.admit(fit(Fit.OTHER_PAIR, 83.17, ("4", "core")))
    asked = 0
    while not progress.done:
        progress.admit(fit(Fit.OTHER_PAIR, 83.17, ("4", "core")))
        progress.judged(Outcome.FAIL, 83.1733, 0.01)
        asked += 1
    assert asked == 4
    assert progress.outcome is Outcome.FAIL


def test_free_order_stays_with_a_step_that_failed_once():
    """The repetition is of the same pair."""
    progress = unit(order=Order.FREE)
    progress.admit(fit(Fit.OTHER_PAIR, 262.0, ("1", "3")))
    progress.judged(Outcome.FAIL, 262.0, 0.2)
    assert progress.prompt().pair == Pair("1", "3")


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
    assert progress.touch_readings() == ((Pair("1", "2"), 202.0, 0.1), (Pair("2", "3"), 60.0, 0.1))


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


def test_another_pair_the_second_time_is_another_hint():
    """V-W, then U-V for V-N: nothing was insisted on, though they read within a per cent of each other."""
    progress = unit(QUERN)
    while progress.current.pair != Pair("V", "N"):
        nominal = progress.table.nominal_ohm(progress.current.pair)
        progress.judged(Outcome.PASS, nominal, 0.0025, repeat_u_ohm=0.0003)
    assert progress.admit(fit(Fit.OTHER_PAIR, 0.8914, ("V", "W"))) is Ruling.HINT
    assert progress.admit(fit(Fit.OTHER_PAIR, 0.8870, ("U", "V"))) is Ruling.HINT
    assert progress.admit(fit(Fit.OTHER_PAIR, 0.8871, ("U", "V"))) is Ruling.JUDGE


def test_free_order_takes_what_a_matching_needs_once_more():
    """1 % between both secondaries: a value with two wires passes its own limits, and cannot tell that."""
    progress = unit(FATHOM, order=Order.FREE, warm_check=False)
    first = progress.current.pair
    for pair in (("5", "6"), ("7", "8")):
        ohm = progress.table.nominal_ohm(Pair(*pair))
        assert progress.admit(fit(Fit.OTHER_PAIR, ohm, pair)) is Ruling.JUDGE
        assert progress.judged(Outcome.PASS, ohm, 0.02)
        assert progress.current.pair == first
    for _ in range(2):
        progress.judged(Outcome.PASS, progress.table.nominal_ohm(progress.current.pair), 0.1)
    asked = []
    while progress.current is not None:
        asked.append(tuple(progress.current.pair))
        assert "the meter is set for it now" in progress.prompt().text
        progress.judged(Outcome.PASS, progress.table.nominal_ohm(progress.current.pair), 0.0004)
    assert asked == [("5", "6"), ("7", "8")]
