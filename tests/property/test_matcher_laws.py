"""Laws of matching and of a unit's state, on values and stories drawn at random."""

import math

from hypothesis import given
from hypothesis import strategies as st

from acquire.heart.attempt import Attempt, AttemptKind, StepState
from acquire.heart.unit_state import UnitState
from acquire.records import Fit, Outcome, Pair, Purpose
from acquire.steps.estimate import predicted
from acquire.steps.matcher import weigh
from acquire.steps.pairs import PairTable
from acquire.unit_result import worse
from tests.known_progress import find_open, judge, touch
from tests.known_sheets import FATHOM, PLOVER, QUERN, corrected

TABLES = st.sampled_from([PairTable(sheet) for sheet in (PLOVER, QUERN, FATHOM)])
OHM = st.floats(min_value=-0.5, max_value=1e7)
SHARE = st.floats(min_value=1e-4, max_value=0.3)


@st.composite
def touches(draw):
    """A table, a pair that is asked for, and a value of it with its uncertainty."""
    table = draw(TABLES)
    step = draw(st.sampled_from(table.sheet.steps))
    ohm = draw(OHM)
    return table, step, corrected(ohm, draw(SHARE) * abs(ohm) + 1e-4)


@given(touches())
def test_weights_are_probabilities(touch):
    """Each between 0 and 1, together no more than 1, the likeliest first."""
    table, step, value = touch
    weights = [w for _, w in weigh(value, step.pair, table).weights]
    assert all(0.0 <= w <= 1.0 for w in weights)
    assert sum(weights) <= 1.0 + 1e-9
    assert weights == sorted(weights, reverse=True)


@given(touches())
def test_another_pair_is_named_only_where_it_conducts_and_reads_otherwise(touch):
    """Never an open pair, never one that cannot be told from the asked one."""
    table, step, value = touch
    match = weigh(value, step.pair, table)
    if match.fit is Fit.OTHER_PAIR:
        assert match.pair != step.pair
        assert math.isfinite(table.nominal_ohm(match.pair))
        blur = math.hypot(table.spread_ohm(step.pair), value.standard_uncertainty_ohm)
        assert abs(table.nominal_ohm(match.pair) - table.nominal_ohm(step.pair)) > blur
    else:
        assert match.pair == step.pair
    assert match.reads_like or match.fit in (Fit.EXPECTED, Fit.FAULT)


@given(TABLES, st.data())
def test_the_nominal_of_a_step_is_never_refused(table, data):
    """Whatever the meter's uncertainty."""
    step = data.draw(st.sampled_from(table.sheet.steps))
    nominal = table.nominal_ohm(step.pair)
    value = corrected(nominal, data.draw(SHARE) * nominal)
    assert weigh(value, step.pair, table, limits=table.limits_for(step, Purpose.FINAL)).fit is Fit.EXPECTED


@given(touches(), st.sampled_from(Outcome))
def test_a_fault_is_never_explained_away(values, outcome):
    """Whatever the value, the second time it comes on request it is judged."""
    table, _, value = values
    unit = UnitState(table, "P-1")
    match = weigh(value, unit.current.pair, table)
    touch(unit, match, outcome)
    if unit.current.name == table.sheet.steps[0].name:
        assert not unit.refuses(match)


@given(touches())
def test_a_fault_that_reads_like_the_pair_before_it_is_judged_too(values):
    """Taken at most once for the pair before; then it is refused once, then judged."""
    table, _, value = values
    unit = UnitState(table, "P-1")
    judge(unit, u_ohm=0.01)
    before, asked = unit.states[0].step, unit.current
    match = weigh(value, asked.pair, table)
    if unit.repeats(match):
        judge(unit, u_ohm=0.01, step=before)
        assert (unit.current, unit.states[0].attempts) == (asked, 2)
        assert not unit.repeats(match)
    if unit.refuses(match):
        touch(unit, match)
    assert not unit.refuses(match)


@given(
    st.sampled_from(Outcome),
    st.sampled_from(Outcome),
    st.floats(-0.2, 0.2),
    st.floats(1e-4, 10.0),
    st.floats(1e-5, 1.0),
)
def test_no_touch_makes_a_failing_pair_pass(before, now, share, u_ohm, touch_u_ohm):
    """Nor does one that cannot be judged replace anything; a value as good and equal always does."""
    last = StepState(PLOVER.steps[0], 1, before, 200.0, u_ohm, touch_u_ohm)
    held = last.holds(Attempt(AttemptKind.JUDGED, "", 1, 0, now, 200.0 * (1.0 + share), u_ohm, touch_u_ohm))
    failing = (Outcome.FAIL, Outcome.CONDITIONAL_FAIL)
    if now is Outcome.CANNOT_JUDGE or (before in failing and now not in failing):
        assert not held
    elif share == 0.0 or worse(now, before):
        assert held


@given(TABLES, st.lists(st.sampled_from(Outcome), min_size=1, max_size=40))
def test_every_story_comes_to_an_end_with_the_worst_that_counts(table, outcomes):
    """No step is asked for more than three times, and no failing verdict that counts is lost."""
    unit = UnitState(table, "P-1", warm_check=lambda _: False)
    counted = []
    for outcome in outcomes:
        if unit.done or unit.total > len(table.sheet.steps):
            break
        assert unit.state.attempts < 3
        if judge(unit, outcome, u_ohm=0.01):
            counted.append(outcome)
    assert unit.passed == sum(o in (Outcome.PASS, Outcome.CONDITIONAL_PASS) for o in counted)
    if Outcome.FAIL in counted:
        assert unit.outcome is Outcome.FAIL


@given(TABLES, st.lists(st.sampled_from([*Outcome, AttemptKind.UNDONE, None]), max_size=30))
def test_a_state_is_nothing_but_its_attempts(table, story):
    """Folded again they make the same state, whatever was taken back; None is a key."""
    unit = UnitState(table, "P-1")
    for told in story:
        if unit.done:
            break
        if told is None:
            find_open(unit)
        elif told is not AttemptKind.UNDONE:
            judge(unit, told, u_ohm=0.01)
        elif unit.attempts and unit.attempts[-1].is_by_word:
            unit.apply(Attempt(AttemptKind.UNDONE, unit.attempts[-1].step))
    again = UnitState(table, "P-1")
    again.refold(unit.attempts)
    assert repr((again.states, again.prompt())) == repr((unit.states, unit.prompt()))


@given(st.floats(min_value=0.9, max_value=1.1), st.floats(min_value=0.9, max_value=1.1))
def test_the_set_foretells_the_series_pair(slow, fast):
    """R13 = R12 + R23, less the lead that both count, whatever the windings are."""
    table = PairTable(PLOVER)
    r12, r23 = 202.5669 * slow, 46.1673 * fast
    known = {Pair("1", "2"): (r12, 0.001), Pair("2", "3"): (r23, 0.001)}
    ohm, spread = predicted(table, known).pair(Pair("1", "3"))
    assert abs(ohm - (r12 + r23 - 2 * 0.0234)) < 0.05
    assert spread < 0.02
