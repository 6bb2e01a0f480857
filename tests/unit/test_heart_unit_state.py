"""The rules of a unit: other pairs refused, faults counted, the set's word at the end, what is taken back."""

import math
from dataclasses import replace

import pytest

from acquire.heart.attempt import Attempt, AttemptKind
from acquire.records import Ask, Fit, Outcome, Pair, StepKind
from acquire.records.codes import WARM_CHECK, Order, Why
from tests.known_progress import find_open, finish, fit, insisted, judge, touch, unit
from tests.known_sheets import FATHOM, PLOVER, PLOVER_OPEN, QUERN

DIAGONAL = ("1", "3")


def has_moved(state):
    """Whether the first resistance has moved by more than the sheet allows."""
    return abs(state.moved() or 0.0) > state.table.sheet.warm_limit


def asked(state):
    """What is asked for, and why."""
    prompt = state.prompt()
    return prompt.ask, prompt.step, prompt.why


# ---------------------------------------------------------------------- one step after the other


def test_steps_come_in_the_sheets_order():
    """Guided: one after the other, then the first once more."""
    state, seen = unit(), []
    while not state.done:
        seen.append(state.current.name)
        judge(state)
    assert seen == [step.name for step in PLOVER.steps] + [WARM_CHECK]
    assert (state.outcome, state.passed, state.total) == (Outcome.PASS, 5, 5)
    assert (state.moved(), has_moved(state)) == (0.0, False)
    assert state.prompt().ask is Ask.START_UNIT


def test_typed_steps_are_not_asked_for():
    """Their results come from a keyboard or an instrument with hands off."""
    typed = replace(PLOVER.steps[0], name="insulation", kind=StepKind.TYPED)
    assert unit(replace(PLOVER, steps=(typed, *PLOVER.steps))).current.name == "slow charge"


def test_known_readings_are_those_that_passed():
    """A failed or open pair foretells nothing."""
    state = unit()
    judge(state, ohm=202.0, u_ohm=0.1)
    for _ in range(2):
        judge(state, Outcome.FAIL, 60.0, 0.1)
    assert state.known() == {Pair("1", "2"): (202.0, 0.1)}


def test_worst_outcome_counts_for_the_unit():
    """Fail outweighs everything, cannot judge outweighs a conditional pass."""
    state = unit()
    judge(state, Outcome.CONDITIONAL_PASS, 214.0, 0.1)
    assert state.outcome is Outcome.CONDITIONAL_PASS
    judge(state, Outcome.CANNOT_JUDGE, 46.0, 9.0)
    assert state.outcome is Outcome.CANNOT_JUDGE


# ---------------------------------------------------------------------- another pair's value


def test_a_wrong_pair_is_refused_and_the_step_still_to_be_done():
    """The prompt says why it asks again."""
    state = unit()
    assert touch(state, fit(Fit.OTHER_PAIR, 248.7, DIAGONAL)) is None
    assert (state.outcome, asked(state)) == (None, (Ask.TOUCH, "slow charge", Why.LOOKS_LIKE))
    assert touch(state, fit(Fit.EXPECTED, 202.5))


def test_two_different_wrong_pairs_are_refused_both():
    """46 after 249 is another slip, not an insistence."""
    state = unit()
    assert touch(state, fit(Fit.OTHER_PAIR, 248.7, DIAGONAL)) is None
    assert touch(state, fit(Fit.OTHER_PAIR, 46.2, ("2", "3"))) is None


def test_another_pair_the_second_time_is_refused_though_it_reads_alike():
    """V–W, then U–V for V–N: nothing was insisted on, though they read within a per cent of each other."""
    state = unit(QUERN)
    while state.current.pair != Pair("V", "N"):
        judge(state, u_ohm=0.0025, touch_u_ohm=0.0003)
    told = [("V", "W", 0.8914), ("U", "V", 0.8870), ("U", "V", 0.8871)]
    came = [touch(state, fit(Fit.OTHER_PAIR, ohm, (a, b)), Outcome.FAIL) for a, b, ohm in told]
    assert came == [None, None, True]


def test_the_same_odd_value_on_request_is_judged_and_counts():
    """A fault that looks like another pair is not explained away."""
    state = unit()
    assert insisted(state, 248.7, DIAGONAL)
    assert state.outcome is Outcome.FAIL


def finish_good(state):
    """The rest of a good Plover, up to what is asked again."""
    for ohm in (46.2, 248.7, 83.2):
        judge(state, ohm=ohm, u_ohm=0.02)


def test_twice_on_the_wrong_pair_does_not_fail_a_good_unit():
    """The other readings say that 1–2 must be 202.5 ohm: it is asked for a third time."""
    state = unit()
    insisted(state, 248.7, DIAGONAL)
    finish_good(state)
    assert asked(state) == (Ask.TOUCH_AGAIN, "slow charge", Why.INCONSISTENT)
    touch(state, fit(Fit.EXPECTED, 202.5))
    finish(state)
    assert state.outcome is Outcome.PASS


def test_one_passing_touch_does_not_stand_against_a_value_that_came_twice():
    """Two pins swapped, so that 1–2 always reads like 1–3; one probe astray at the end must not hide it."""
    state = unit(warm_check=False)
    insisted(state, 248.7, DIAGONAL)
    finish_good(state)
    assert touch(state, fit(Fit.EXPECTED, 202.5)) is False
    assert asked(state) == (Ask.TOUCH_AGAIN, "slow charge", Why.PASSED_AFTER_FAIL)
    while not state.done:
        touch(state, fit(Fit.OTHER_PAIR, 248.7, DIAGONAL), Outcome.FAIL)
    assert state.outcome is Outcome.FAIL


def test_in_the_end_it_counts_whatever_it_looks_like():
    """Asked for three times more at the end, since it is 1–3 to the digit; no endless asking."""
    state = unit()
    insisted(state, 248.7, DIAGONAL)
    finish_good(state)
    for _ in range(3):
        assert state.current.name == "slow charge"
        assert touch(state, fit(Fit.OTHER_PAIR, 248.7, DIAGONAL), Outcome.FAIL)
    assert (state.current.name, state.outcome) == (WARM_CHECK, Outcome.FAIL)


def test_look_alikes_of_the_wrong_pair_one_after_the_other_do_not_fail_a_good_unit():
    """V–W insisted on for V–N, then U–V: each what another pair has read to the digit."""
    state, digits = unit(QUERN), {"u_ohm": 0.0025, "touch_u_ohm": 0.0003}
    read = {Pair("U", "V"): 0.8940, Pair("V", "W"): 0.8927}
    while state.current.pair != Pair("V", "N"):
        judge(state, ohm=read.get(state.current.pair), **digits)
    assert touch(state, fit(Fit.OTHER_PAIR, 0.8926, ("V", "W"))) is None
    other = Attempt(
        AttemptKind.JUDGED, "V to neutral", 9, 0, Outcome.FAIL, 0.8925, 0.0025, 0.0003, fit=Fit.OTHER_PAIR
    )
    state.apply(other)
    while state.current.pair != Pair("V", "N"):
        judge(state, ohm=read.get(state.current.pair), **digits)
    judge(state, Outcome.FAIL, 0.8935, **digits)
    prompt = state.prompt()
    assert (prompt.pair, prompt.why, prompt.times) == (("V", "N"), Why.INCONSISTENT, 2)
    judge(state, ohm=0.4530, **digits)
    finish(state)
    assert state.outcome is Outcome.PASS


def test_a_fault_that_the_set_confirms_is_not_asked_a_third_time():
    """46 ohm too much in the slow charge: 1–2 looks like a good diagonal, and the diagonal has 46 more."""
    state = unit(warm_check=False)
    insisted(state, 248.7, DIAGONAL)
    judge(state, ohm=46.2, u_ohm=0.02)
    for _ in range(2):
        judge(state, Outcome.FAIL, 294.8, 0.2)
    judge(state, ohm=83.2, u_ohm=0.02)
    assert (state.done, state.outcome) == (True, Outcome.FAIL)


def test_a_value_that_is_another_pairs_to_the_digit_is_asked_for_three_times():
    """A ground that reads exactly like the strap is not impossible, but a wrong probe is likelier."""
    state = unit(PLOVER_OPEN, warm_check=False)
    for _ in PLOVER_OPEN.steps[:-1]:
        judge(state)
    came = []
    while not state.done:
        came.append(touch(state, fit(Fit.OTHER_PAIR, 83.1733, ("4", "core")), Outcome.FAIL))
    assert came[0] is None
    assert len(came) == 5
    assert state.outcome is Outcome.FAIL


# ---------------------------------------------------------------------- failing values, open pairs


def test_failing_value_is_asked_for_once_more():
    """First does not count; the second does, whichever way it goes."""
    for second in (Outcome.PASS, Outcome.FAIL):
        state = unit()
        assert not touch(state, fit(Fit.FAULT, 214.6), Outcome.FAIL)
        assert asked(state) == (Ask.TOUCH_AGAIN, "slow charge", Why.FAILED)
        assert touch(state, fit(Fit.FAULT, 214.6), second)
        assert state.outcome is second


def test_cannot_judge_is_not_asked_for_again():
    """A second reading does not make the meter better."""
    assert judge(unit(), Outcome.CANNOT_JUDGE, 0.4, 0.5)


def test_no_contact_is_only_ever_open_when_confirmed_twice():
    """A probe in the air reads the same: after a while the prompt asks for the key."""
    state = unit()
    assert state.prompt(2.9).why is Why.NONE
    assert state.prompt(3.0).why is Why.SILENT
    assert not find_open(state)
    assert find_open(state)
    assert [r[:3] for r in state.readings()] == [(Pair("1", "2"), math.inf, 0.0)]


def test_open_confirmed_on_the_wrong_pin_is_contradicted_by_the_set():
    """2–3 and 1–3 conduct, so 1–2 cannot be open."""
    state = unit(warm_check=False)
    assert [find_open(state), find_open(state)] == [False, True]
    finish_good(state)
    assert state.current.name == "slow charge"


def test_a_wrong_probe_at_the_warm_check_does_not_fail_a_good_unit():
    """The same pair has just passed, so an open one is asked for again."""
    state = unit()
    judge(state, ohm=202.5, u_ohm=0.02)
    finish_good(state)
    for _ in range(2):
        assert state.current.name == WARM_CHECK
        find_open(state)
    assert state.current.name == WARM_CHECK
    judge(state, ohm=202.5, u_ohm=0.02)
    assert (state.done, state.outcome) == (True, Outcome.PASS)


def test_an_open_pair_that_stands_alone_is_asked_for_at_the_end():
    """Nothing else runs through the trigger, so only the key speaks against it; once more, then it counts."""
    state = unit(warm_check=False)
    for ohm in (202.5, 46.2, 248.7):
        judge(state, ohm=ohm, u_ohm=0.02)
    assert [find_open(state), find_open(state)] == [False, True]
    assert state.current.name == "trigger"
    assert find_open(state)
    assert state.done


def test_a_break_that_two_pairs_show_is_not_asked_for_again():
    """1–2 and 1–3 open: the slow charge or pin 1."""
    state = unit(warm_check=False)
    for ohm in (math.inf, 46.2, math.inf, 83.2):
        while not judge(state, Outcome.FAIL if math.isinf(ohm) else Outcome.PASS, ohm, 0.02):
            pass
    assert state.done


# ---------------------------------------------------------------------- free order, fixtures


def test_free_order_takes_a_value_for_the_step_it_fits():
    """The diagonal first, though 1–2 was prompted."""
    state = unit(order=Order.FREE)
    assert state.prompt().why is Why.FREE
    assert state.open_pairs == (Pair("2", "3"), Pair("1", "3"), Pair("4", "core"))
    assert touch(state, fit(Fit.OTHER_PAIR, 248.7, DIAGONAL))
    assert state.states[2].done
    assert state.current.name == "slow charge"


def test_free_order_stays_with_a_step_that_failed_once():
    """The repetition is of the same pair."""
    state = unit(order=Order.FREE)
    assert not touch(state, fit(Fit.OTHER_PAIR, 262.0, DIAGONAL), Outcome.FAIL)
    assert state.prompt().pair == Pair("1", "3")


def test_free_order_sets_the_meter_before_it_gives_up():
    """4–core read on the wrong range while 1–2 was asked for: once more, before it counts."""
    state = unit(order=Order.FREE)
    assert not touch(state, fit(Fit.OTHER_PAIR, 83.2, ("4", "core")), Outcome.CANNOT_JUDGE)
    assert asked(state) == (Ask.TOUCH_AGAIN, "trigger", Why.SET_UP)
    assert state.asks_set_up
    assert judge(state, Outcome.CANNOT_JUDGE, 83.2, 9.0)


def test_free_order_takes_what_a_matching_needs_once_more():
    """1 % between both secondaries: a value with two wires passes its own limits, and cannot tell that."""
    state = unit(FATHOM, order=Order.FREE)
    first = state.current
    for step in FATHOM.steps[2:]:
        assert judge(state, u_ohm=0.02, step=step)
        assert state.current == first
    for _ in range(2):
        judge(state, u_ohm=0.1)
    again = []
    while state.current.name != WARM_CHECK:
        again.append(asked(state)[1:])
        judge(state, u_ohm=0.0004)
    assert again == [("S1", Why.SET_UP), ("S2", Why.SET_UP)]


def test_relays_bring_the_asked_pair_whatever_it_reads():
    """Behind a fixture no value is a wrong probe's, and none touches the pair before again."""
    state = unit(placed=True)
    assert not touch(state, fit(Fit.OTHER_PAIR, 248.7, DIAGONAL), Outcome.FAIL)
    judge(state)
    judge(state)
    assert not state.states[0].insisted
    assert state.last is None


# ---------------------------------------------------------------------- the pair judged last, touched again


def test_a_failing_value_touched_again_is_asked_for_once_more():
    """One touch unasked for fails nobody: what comes on request decides."""
    state = unit()
    first, second = PLOVER.steps[:2]
    assert judge(state, ohm=202.6, u_ohm=0.01)
    assert state.last.step == first
    assert not judge(state, Outcome.FAIL, 150.0, 0.01, step=first)
    assert asked(state) == (Ask.TOUCH_AGAIN, first.name, Why.FAILED)
    assert judge(state, Outcome.FAIL, 150.0, 0.01)
    assert (state.current, state.states[0].attempts) == (second, 3)


def test_a_failing_pair_that_fails_again_fails():
    """Its values agree, so there is nothing to ask."""
    state = unit()
    first, second = PLOVER.steps[:2]
    for _ in range(2):
        judge(state, Outcome.FAIL, 150.0, 0.01)
    assert judge(state, Outcome.FAIL, 150.0, 0.01, step=first)
    assert (state.current, state.outcome, state.again) == (second, Outcome.FAIL, first.pair)
    assert state.prompt().facts == {"after": tuple(first.pair)}


def test_the_pair_judged_last_is_not_meant_where_another_reads_alike():
    """Three equal phases: a touch on one proves nothing about which. Nor is an open or odd one meant."""
    star, state, alone = unit(QUERN), unit(), unit()
    judge(star)
    assert star.last is None
    insisted(state, 248.7, DIAGONAL)
    assert state.last is None
    for _ in range(2):
        find_open(alone)
    assert alone.last is None


# ---------------------------------------------------------------------- words, and what is taken back


def again(state, step):
    state.apply(Attempt(AttemptKind.AGAIN, step.name))


def test_measure_again_forgets_a_step():
    """By name or the latest; the warm check goes with it and comes back."""
    state = unit()
    assert state.latest() is None
    finish(state)
    again(state, PLOVER.steps[3])
    assert (state.current.name, state.total) == ("trigger", 4)
    finish(state)
    assert state.done
    assert state.latest().step.name == WARM_CHECK
    with pytest.raises(KeyError):
        state.named("nonsense")


def test_the_latest_step_is_the_one_that_a_refused_value_reads_like():
    """Told "that reads like 1–2", whoever says again means 1–2."""
    state = unit()
    judge(state)
    touch(state, fit(Fit.OTHER_PAIR, 202.6, ("1", "2")))
    assert state.latest().step == PLOVER.steps[0]


def test_a_skipped_step_spoils_the_pass():
    """No reading is ever a silent pass; measured after all, it counts as any other."""
    state = unit()
    first = PLOVER.steps[0]
    state.apply(Attempt(AttemptKind.SKIPPED, first.name))
    assert state.ends_skipped
    finish(state)
    assert state.outcome is Outcome.CANNOT_JUDGE
    again(state, first)
    finish(state)
    assert state.outcome is Outcome.PASS


def test_a_value_that_moved_on_is_judged_anew_as_the_same_touch():
    """A higher revision takes the place of what the touch came to, also of a refusal."""
    for before in (AttemptKind.JUDGED, AttemptKind.REFUSED):
        state, name = unit(), PLOVER.steps[0].name
        state.apply(Attempt(before, name, 1, 0, Outcome.FAIL, 150.0, 0.1, 0.1))
        assert state.apply(Attempt(AttemptKind.JUDGED, name, 1, 1, Outcome.PASS, 202.0, 0.1, 0.1))
        assert (state.states[0].attempts, state.states[0].failed, len(state.attempts)) == (1, (), 1)


@pytest.mark.parametrize("deed", [AttemptKind.AGAIN, AttemptKind.SKIPPED, AttemptKind.JUDGED])
def test_a_word_or_key_taken_back_leaves_the_state_as_it_was(deed):
    """The whole state, with the touches before it."""
    state, name = unit(), PLOVER.steps[1].name
    judge(state)
    judge(state, Outcome.FAIL, 60.0)
    before = repr((state.states, state.attempts, state.prompt()))
    state.apply(Attempt(deed, name, 0, 0, Outcome.FAIL, math.inf))
    assert state.attempts[-1].is_by_word
    state.apply(Attempt(AttemptKind.UNDONE, name))
    assert repr((state.states, state.attempts, state.prompt())) == before


# ---------------------------------------------------------------------- the first pair once more


def test_warm_unit_is_seen_by_the_repeated_first_pair():
    """Half a per cent is more than 1 K of copper; it must come twice where the others side with the first."""
    state = unit()
    for _ in PLOVER.steps:
        judge(state, u_ohm=0.01)
    for _ in range(2):
        assert state.current.name == WARM_CHECK
        judge(state, ohm=state.states[0].ohm * 0.995, u_ohm=0.01)
    assert state.done
    assert state.moved() == pytest.approx(-0.005)
    assert has_moved(state)


def test_warm_check_is_left_out_where_it_could_see_nothing():
    """When touches scatter by more than the limit, or the failing unit is not worth it."""
    for state, outcome, u_ohm in ((unit(), Outcome.PASS, 5.0), (unit(warm_check=False), Outcome.FAIL, 0.01)):
        while not state.done:
            judge(state, outcome, u_ohm=u_ohm)
        assert (state.total, state.moved()) == (len(PLOVER.steps), None)


@pytest.mark.parametrize(("rate_per_s", "asked_for"), [(-1e-3, True), (-1e-5, False)])
def test_a_unit_that_cools_so_fast_that_each_value_is_coarse_is_read_once_more(rate_per_s, asked_for):
    """All low and 39 K warm it passed: its own drift had made every touch too coarse for a limit of 0.4 %."""
    state = unit()
    for number, step in enumerate(PLOVER.steps):
        ohm = state.table.nominal_ohm(step.pair)
        state.apply(
            Attempt(
                AttemptKind.JUDGED, step.name, number + 1, 0, Outcome.PASS, ohm, 2e-3 * ohm, 2e-3 * ohm,
                utc_s=7.0 * number, rate_per_s=rate_per_s, u_rate_per_s=1e-3,
            )
        )  # fmt: skip
    assert (state.current is not None and state.current.name == WARM_CHECK) is asked_for


def test_nothing_has_moved_while_the_first_value_is_asked_for_again():
    """Else "moved by nan %" stands on the record."""
    state = unit()
    finish(state)
    state.states[0].ask_again()
    assert state.moved() is None


@pytest.mark.parametrize(
    ("first", "after", "last", "doubted", "warm"),
    [(1.01, 1.0, 1.0, 1, False), (1.0, 1.0, 1.01, 0, False), (1.005, 0.995, 0.995, 0, True)],
)
def test_a_look_alike_at_one_end_does_not_make_a_unit_warm(first, after, last, doubted, warm):
    """U–W touched for U–V: the others side with one of its readings; a unit that cools lies in between."""
    state = unit(QUERN)
    while not state.done:
        step, ohm = state.current, state.table.nominal_ohm(state.current.pair)
        if step.name == WARM_CHECK:
            ohm *= 1.0 if state.state.doubted and not warm else last
        elif step == QUERN.steps[0]:
            ohm *= after if state.state.doubted else first
        judge(state, ohm=ohm, u_ohm=0.0028 * ohm, touch_u_ohm=0.0003)
    assert (state.states[0].doubted, has_moved(state)) == (doubted, warm)


def test_a_first_pair_that_is_open_at_the_end_comes_to_an_end():
    """Its first value was another pair's: the key says so twice, and once more to be sure."""
    state, times = unit(QUERN), 0
    while not state.done:
        times += 1
        assert times < 20, "nobody is asked for ever"
        find_open(state) if state.current.name == WARM_CHECK else judge(state, u_ohm=0.0025, touch_u_ohm=3e-4)
    assert state.outcome is Outcome.FAIL
