"""The first pair repeated at the end: which units are warm, and which only slipped."""

import pytest

from acquire.records import Outcome
from acquire.steps.warm import WARM_CHECK
from tests.known_progress import finish, unit
from tests.known_sheets import PLOVER, QUERN


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


def test_a_unit_that_cools_is_not_asked_again():
    """The others lie between the first reading and the last."""
    progress = star_with_first(0.8914 * 1.005, 0.8914 * 0.995)
    assert progress.states[0].doubted == 0
    assert progress.still_warm
