"""The end of a unit that is warm: held, and told how long to rest."""

import math

import pytest

from acquire.physics.warm import TAU_S
from acquire.records import (
    Circumstances,
    Ending,
    FindingKind,
    Outcome,
    Purpose,
    UnitStarted,
)
from acquire.records.codes import WARM_CHECK
from acquire.verdict.close import close_unit
from tests.known_progress import judge, unit
from tests.known_sheets import PLOVER

PLACE = Circumstances(
    bench="left",
    purpose=Purpose.FINAL,
    sheet=PLOVER,
    meter_id="m",
    meter_model="bench-50000",
    meter_hash="",
    bench_hash="",
    software="",
)
STARTED = UnitStarted("left", "P-1", PLOVER.name, "plover", Purpose.FINAL, "", "", utc_s=0.0)


def read_as(ohms):
    """A unit whose pairs read so, all passing, asked again or not."""
    state = unit(PLOVER)
    while not state.done:
        pair = state.current.pair
        ohm = ohms.get(tuple(pair), state.table.nominal_ohm(pair))
        judge(state, Outcome.PASS, ohm, 5e-4 * ohm, touch_u_ohm=1e-4 * ohm)
    return state


def test_readings_that_pass_and_contradict_each_other_are_remarked():
    """1-2 and 2-3 each 2 % high, 1-3 as it should be: one of the three is not what it is called."""
    progress = read_as({("1", "2"): 202.567 * 1.02, ("2", "3"): 46.1673 * 1.02})
    assert sum(state.doubted for state in progress.states) == 1, "the oddest was asked for once more"
    result = close_unit(progress, STARTED, PLACE, utc_s=60.0)
    assert result.outcome is Outcome.PASS
    (found,) = result.found
    assert found.kind is FindingKind.CONTRADICTION
    assert abs(found.ohm - found.predicted_ohm) >= 4.0 * found.u_ohm


def test_readings_that_go_together_are_not_remarked():
    """All three 2 % high: R13 = R12 + R23 holds."""
    high = {pair: ohm * 1.02 for pair, ohm in (("12", 202.567), ("23", 46.1673), ("13", 248.6874))}
    progress = read_as({tuple(pair): ohm for pair, ohm in high.items()})
    assert not any(state.doubted for state in progress.states)
    assert close_unit(progress, STARTED, PLACE, utc_s=60.0).found == ()


def worked(factor, last_factor=None, outcome=Outcome.PASS):
    """A whole unit, every pair at its nominal times a factor; the warm check at another."""
    state = unit(PLOVER)
    while not state.done:
        step = state.current
        warm = factor if step.name != WARM_CHECK else last_factor or factor
        ohm = state.table.nominal_ohm(step.pair) * warm
        judge(state, outcome, ohm, 0.001 * ohm, touch_u_ohm=1e-4 * ohm)
    return state


def test_a_unit_at_rest_is_not_held():
    result = close_unit(worked(1.0), STARTED, PLACE, utc_s=120.0)
    assert (result.ending, result.wait_s, result.outcome) == (Ending.DONE, None, Outcome.PASS)


def test_a_unit_that_moved_is_held_and_told_how_long_to_rest():
    """10 % warm, cooling with the usual time constant: the rest needs some 95 minutes."""
    after = 1.0 + 0.10 * math.exp(-120.0 / TAU_S)
    result = close_unit(worked(1.10, after), STARTED, PLACE, utc_s=120.0)
    assert result.outcome is None
    assert result.ending is Ending.WARM
    expected_s = TAU_S * math.log(0.10 * math.exp(-120.0 / TAU_S) / PLOVER.warm_limit)
    assert result.wait_s == pytest.approx(expected_s, rel=0.1)


def test_a_unit_warm_all_through_is_told_how_long_to_rest():
    result = close_unit(worked(1.12, outcome=Outcome.FAIL), STARTED, PLACE, utc_s=120.0)
    assert result.outcome is None
    assert result.wait_s == pytest.approx(TAU_S * math.log(0.12 / PLOVER.warm_limit), rel=0.05)
