"""The rules of the bench: hint, once more, confirmed open, warm check, skipping, resuming."""

import math
from dataclasses import replace

import pytest

from acquire.errors import InputImpossible
from acquire.records import Ask, Fit, Match, Outcome, Pair, Step, StepKind
from acquire.steps.matcher import weigh
from acquire.steps.pairs import PairTable
from acquire.steps.unit import Order, Ruling, UnitProgress
from acquire.steps.warm import WARM_CHECK
from tests.known_sheets import FATHOM, PLOVER, PLOVER_OPEN, QUERN, corrected


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
        if math.isfinite(ohm):
            progress.admit(fit(Fit.EXPECTED, ohm, progress.current.pair))
        progress.judged(Outcome.PASS, ohm, u_ohm)


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


def at_open_step():
    """A unit of which only the isolation to the core is left."""
    progress = unit(PLOVER_OPEN, brackets=True)
    for step in PLOVER_OPEN.steps[:-1]:
        progress.judged(Outcome.PASS, progress.table.nominal_ohm(step.pair), 0.001)
    assert progress.current.name == "charge to core"
    return progress


def at(match, contact_s):
    """The same match of a touch that began at that time."""
    settled = replace(match.corrected.settled, contact_s=contact_s)
    return replace(match, corrected=replace(match.corrected, settled=settled))


def test_open_step_passes_by_key():
    """A pair that must be open passes on the operator's word, never on an overload."""
    progress = at_open_step()
    assert progress.prompt().text == (
        "Clip on core: touch 6, then 1 for two seconds, then 4; or press Enter while on 1."
    )
    assert progress.confirmed_open() == (Outcome.PASS, True)


def strap():
    """A touch of pin 6, which joins the core by the strap."""
    return fit(Fit.OTHER_PAIR, 0.0133, ("6", "core"))


def trigger():
    """A touch of pin 4, which joins the core by the trigger."""
    return fit(Fit.OTHER_PAIR, 83.2, ("4", "core"))


def test_open_step_passes_between_touches_of_strap_and_trigger():
    """Strap, two seconds without contact, trigger: the clip was sound all along."""
    progress = at_open_step()
    progress.lifted(9.0)
    assert progress.admit(at(strap(), 10.0)) is Ruling.PROVED
    assert progress.prompt().text == "Now touch 1 for two seconds, then 4; the clip stays on core."
    progress.lifted(12.0)
    progress.seen_open()
    assert progress.admit(at(trigger(), 14.1)) is Ruling.OPEN
    assert progress.confirmed_open() == (Outcome.PASS, True)


@pytest.mark.parametrize(("gap_s", "shown"), [(1.9, True), (20.0, False)])
def test_a_gap_too_short_or_without_overload_proves_nothing(gap_s, shown):
    """Passed over the pin; or a ground of 5 kilohm, overload too on a range of 200 ohm."""
    progress = at_open_step()
    assert progress.admit(at(strap(), 10.0)) is Ruling.PROVED
    progress.lifted(12.0)
    if shown:
        progress.seen_open()
    assert progress.admit(at(trigger(), 12.0 + gap_s)) is Ruling.HINT
    assert "Clip on core: touch 6" in progress.prompt().text


@pytest.mark.parametrize("pause_s", [0.5, 2.5, 60.0])
@pytest.mark.parametrize("value", [strap, trigger])
def test_no_pin_proves_itself_open(pause_s, value):
    """A pin that lies on the core, or on the trigger's lead, touched again and again, however slowly."""
    progress = at_open_step()
    now_s, rulings = 10.0, []
    while Ruling.JUDGE not in rulings:
        rulings.append(progress.admit(at(value(), now_s)))
        progress.lifted(now_s + 1.0)
        progress.seen_open()
        now_s += 1.0 + pause_s
    assert Ruling.OPEN not in rulings
    assert len(rulings) <= 5


STRAP = Step("strap", Pair("6", "core"))


def test_a_continuity_that_failed_on_this_unit_proves_nothing():
    """Pins 1 and 6 in each other's place: pin 1 reads like the strap before and after, and is not open."""
    steps = (STRAP, *(s for s in PLOVER_OPEN.steps if s.kind is StepKind.OPEN))
    progress = unit(replace(PLOVER_OPEN, steps=steps), brackets=True)
    assert progress.state.bracket is None
    assert progress.states[1].bracket is not None
    for _ in range(2):
        progress.confirmed_open()
    assert progress.current.kind is StepKind.OPEN
    assert progress.admit(at(strap(), 10.0)) is Ruling.HINT, "reads like the strap: not where it should be"
    assert progress.admit(at(strap(), 15.0)) is Ruling.JUDGE
    assert "press Enter" in progress.prompt().text


def test_what_a_continuity_has_proven_is_asked_again_when_it_fails():
    """The strap is measured last, and is found open."""
    steps = (*(s for s in PLOVER_OPEN.steps if s.kind is StepKind.OPEN), STRAP)
    progress = unit(replace(PLOVER_OPEN, steps=steps), brackets=True)
    progress.admit(at(strap(), 10.0))
    progress.lifted(12.0)
    progress.seen_open()
    assert progress.admit(at(trigger(), 15.0)) is Ruling.OPEN
    progress.confirmed_open()
    for _ in range(2):
        assert progress.current is STRAP
        progress.confirmed_open()
    assert progress.current.kind is StepKind.OPEN
    assert "once more" in progress.prompt().text
    assert "Clip on" not in progress.prompt().text
    assert progress.confirmed_open() == (Outcome.PASS, True), "a key does it"
    while not progress.done:
        progress.confirmed_open()
    assert progress.outcome is Outcome.FAIL


def test_the_matcher_knows_the_strap_when_it_is_wanted():
    """A dirty touch of the strap is taken as such, for the open step asks for it."""
    progress = at_open_step()
    value = corrected(0.03, 0.02)
    match = weigh(value, progress.current.pair, progress.table, open_pairs=progress.open_pairs)
    assert progress.admit(match) is Ruling.PROVED


def test_a_value_in_between_breaks_the_bracket():
    """The charge coil read in between says nothing about pin 1; a finite value of pin 1 is judged."""
    progress = at_open_step()
    progress.admit(at(strap(), 10.0))
    progress.lifted(12.0)
    progress.seen_open()
    assert progress.admit(at(fit(Fit.OTHER_PAIR, 46.2, ("2", "3")), 13.0)) is Ruling.HINT
    progress.lifted(14.0)
    assert progress.admit(at(trigger(), 16.0)) is Ruling.HINT
    assert progress.admit(at(strap(), 20.0)) is Ruling.PROVED
    assert progress.admit(at(fit(Fit.FAULT, 5100.0), 22.0)) is Ruling.JUDGE


def test_a_wrong_probe_at_an_open_step_is_a_hint():
    """1–2 instead of 1 to core reads like the slow charge, and says nothing about isolation."""
    progress = unit(PLOVER_OPEN)
    for step in PLOVER_OPEN.steps[:-1]:
        progress.judged(Outcome.PASS, progress.table.nominal_ohm(step.pair), 0.001)
    assert progress.admit(fit(Fit.OTHER_PAIR, 202.6, ("1", "2"))) is Ruling.HINT
    assert progress.admit(fit(Fit.FAULT, 5100.0)) is Ruling.JUDGE


def test_open_step_without_a_core_needs_the_key():
    """No clip, no bracket."""
    apart = Step("1 to 4", Pair("1", "4"), kind=StepKind.OPEN, open_above_ohm=1e6)
    progress = unit(replace(PLOVER, steps=(apart,)), brackets=True)
    assert progress.prompt().text == "Touch 1–4 (1 to 4), which must be open, and press Enter or the pedal."


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


def test_warm_unit_is_seen_by_the_repeated_first_pair():
    """Half a per cent is more than 1 K of copper; it must come twice where the others side with the first."""
    progress = unit()
    for step in PLOVER.steps:
        progress.judged(Outcome.PASS, progress.table.nominal_ohm(step.pair), 0.01)
    for _ in range(2):
        assert progress.current.name == WARM_CHECK
        progress.judged(Outcome.PASS, progress.table.nominal_ohm(PLOVER.steps[0].pair) * 0.995, 0.01)
    assert progress.done
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


def star_with_first(first, last):
    """A good star of which U–V read `first` at the start and `last` at the warm check."""
    progress = unit(QUERN)
    while progress.current is not None and not progress.still_warm:
        step = progress.current
        ohm = progress.table.nominal_ohm(step.pair)
        if step.name == WARM_CHECK:
            ohm = last
        elif step.name == QUERN.steps[0].name:
            ohm = last if progress.state.doubted else first
        progress.judged(Outcome.PASS, ohm, 0.0025, repeat_u_ohm=0.0003)
    return progress


def test_a_look_alike_at_the_start_does_not_make_a_unit_warm():
    """U–W was touched for U–V and read 1 % more; the other pairs side with the second reading of U–V."""
    progress = star_with_first(0.8914 * 1.01, 0.8914)
    assert progress.states[0].doubted == 1
    assert not progress.still_warm


def test_a_look_alike_at_the_end_does_not_make_a_unit_warm():
    """U-W was touched at the warm check; the others side with the first reading of U–V."""
    progress = unit(QUERN)
    while progress.current is not None:
        step, nominal = progress.current, progress.table.nominal_ohm(progress.current.pair)
        slipped = step.name == WARM_CHECK and not progress.state.doubted
        progress.judged(Outcome.PASS, nominal * (1.01 if slipped else 1.0), 0.0025, repeat_u_ohm=0.0003)
    assert not progress.still_warm


def test_a_first_pair_that_is_open_at_the_end_comes_to_an_end():
    """Its first value was another pair's: the key says so twice, and once more to be sure."""
    progress = unit(QUERN)
    asked = 0
    while progress.current is not None:
        asked += 1
        assert asked < 20, "nobody is asked for ever"
        if progress.current.name == WARM_CHECK:
            progress.confirmed_open()
        else:
            nominal = progress.table.nominal_ohm(progress.current.pair)
            progress.judged(Outcome.PASS, nominal, 0.0025, repeat_u_ohm=0.0003)
    assert progress.outcome is Outcome.FAIL


def test_another_pair_the_second_time_is_another_hint():
    """V-W, then U-V for V-N: nothing was insisted on, though they read within a per cent of each other."""
    progress = unit(QUERN)
    while progress.current.pair != Pair("V", "N"):
        nominal = progress.table.nominal_ohm(progress.current.pair)
        progress.judged(Outcome.PASS, nominal, 0.0025, repeat_u_ohm=0.0003)
    assert progress.admit(fit(Fit.OTHER_PAIR, 0.8914, ("V", "W"))) is Ruling.HINT
    assert progress.admit(fit(Fit.OTHER_PAIR, 0.8870, ("U", "V"))) is Ruling.HINT
    assert progress.admit(fit(Fit.OTHER_PAIR, 0.8871, ("U", "V"))) is Ruling.JUDGE


def test_a_unit_that_cools_is_not_asked_again():
    """The others lie between the first reading and the last."""
    progress = star_with_first(0.8914 * 1.005, 0.8914 * 0.995)
    assert progress.states[0].doubted == 0
    assert progress.still_warm


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
