"""The gate before every influence quantity: what is let in, what is put aside, and what confirms it."""

from __future__ import annotations

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from acquire.bench.daemon import recorded, unit_known
from acquire.conditions import CalibrationDue
from acquire.plausible import Doubt, Gate, Plausibility, Seen
from acquire.records import (
    ClockSet,
    Ending,
    LeadZero,
    Notice,
    Purpose,
    Refused,
    TypedResult,
    TypeResult,
    TypeTemperature,
    UnitStarted,
)
from acquire.records.codes import Code
from tests.pure_bench import GOOD, LEAD_OHM, Bench

LAW = Plausibility(0.0, 100.0, near=1.0)


@given(st.lists(st.floats(allow_nan=True, allow_infinity=True), max_size=30), st.floats(allow_nan=True))
def test_no_number_at_all_is_an_exception_and_none_beyond_the_law_is_ever_let_in(values, max_age_s):
    """Not a number, infinity, a value of another planet: a doubt, never a fault."""
    gate = Gate()
    for value in values:
        doubt = gate.look(LAW, Seen(value, 0.0), max_age_s=max_age_s)
        assert (doubt is Doubt.IMPOSSIBLE) == (not 0.0 <= value <= 100.0)
        assert gate.known is None or 0.0 <= gate.known.value <= 100.0


def test_one_touch_reported_often_confirms_itself_never():
    """Another touch does."""
    gate = Gate(Seen(20.0, 0.0))
    assert [gate.look(LAW, Seen(50.0, t, touch=1.0)) for t in range(5)] == [Doubt.JUMPED] * 5
    assert gate.look(LAW, Seen(50.5, 6.0, touch=2.0)) is None
    assert gate.doubted == 5


@pytest.mark.parametrize("typed", [75.0, -35.0, math.nan])
def test_a_typed_temperature_that_the_place_cannot_have_is_refused_on_record(typed):
    """The bench file says what the place can be; the temperature before goes on counting."""
    bench = Bench()
    bench.pipeline.conditions.coldest_celsius = 10.0
    (told,) = bench.command(TypeTemperature(typed, 0.5))
    assert (told.code, told.facts["refusal"]) == (Code.COMMAND_REFUSED, "temperature_impossible")
    assert bench.pipeline.conditions.temperature.celsius == 20.0


def test_a_typed_temperature_far_from_the_last_is_believed_when_typed_once_more():
    """2.5 in place of 22.5 is a slip; 31 twice is a hot day."""
    bench = Bench()
    for slip in (2.5, 31.0):
        (told,) = bench.command(TypeTemperature(slip, 0.5))
        assert (told.facts["refusal"], told.facts["before"]) == ("temperature_jumped", 20.0)
    assert bench.pipeline.conditions.temperature.celsius == 20.0
    (told,) = bench.command(TypeTemperature(31.0, 0.5))
    assert told.code is Code.TEMPERATURE_TYPED
    assert bench.pipeline.conditions.temperature.celsius == 31.0


def test_a_lead_zero_far_from_the_last_waits_for_another_touch():
    """At the bench: the prompt stays until it has come, and no verdict rests on the first."""
    bench = Bench()
    bench.begin()
    bench.pipeline.duties.zeroing = True
    bench.hold(0.5, seconds=20.0)
    assert len(bench.of(LeadZero)) == 1
    assert [n.code for n in bench.of(Notice)].count(Code.LEADS_DOUBTED) == 1
    bench.hold(0.0)
    assert bench.of(LeadZero)[-1].value_ohm == pytest.approx(LEAD_OHM, abs=1e-3)


def test_a_clock_behind_its_own_record_is_told_and_hides_no_calibration():
    """A machine without a battery begins in 1970; what it wrote last year it still has."""
    before = Bench(utc_s=1.7e9)
    before.begin()
    again = Bench(utc_s=0.0)
    (told,) = [e for e in again.pipeline.replay(before.of(LeadZero), again.utc_s) if isinstance(e, Notice)]
    assert (told.code, round(told.facts["by_s"], -3)) == (Code.CLOCK_BEHIND, 1.7e9)
    assert again.pipeline.conditions.lead is None
    again.pipeline.duties.calibration = CalibrationDue("model", 1.6e9, refuse=True)
    with pytest.raises(Refused):
        again.pipeline.duties.permit(again.utc_s)


TYPED = "insulation = 120 Mohm, 500 V, 21 °C, accuracy 5 %"
WINDING = "slow charge = 441 ohm, 21 °C, accuracy 1 %"


@pytest.mark.parametrize(
    ("line", "unit", "before"),
    [
        (TYPED.replace("21", "225"), "°C", 20.0),  # 22.5 without its point: 40 °C would be a factor of 370000
        (TYPED.replace("21", "2.5"), "°C", 20.0),
        (TYPED.replace("500 V", "5000 V"), "V", 500.0),
        (WINDING.replace("441 ohm", "441 kohm"), "ohm", None),
        ("L 1 = 1.6 H, 1 kHz, against 1.6 mH, within 3 %, accuracy 1 %", "H", 1.6e-3),
    ],
)
def test_a_typed_result_far_from_what_is_likely_counts_when_typed_once_more(line, unit, before):
    """What was refused is on record; no result of the unit rests on it before it has come twice."""
    bench = Bench()
    bench.begin()
    (told,) = bench.command(TypeResult(line))
    assert (told.code, told.facts["refusal"]) == (Code.COMMAND_REFUSED, "result_doubted")
    assert told.facts["unit"] == unit
    assert before is None or told.facts["before"] == pytest.approx(before)
    assert bench.pipeline.duties.visit.typed == []
    (result,) = bench.command(TypeResult(line))
    assert isinstance(result, TypedResult)


@pytest.mark.parametrize(
    ("line", "unit"),
    [
        (TYPED.replace("120 Mohm", "500 Tohm"), "ohm"),
        (TYPED.replace("500 V", "0 V"), "V"),
        (TYPED.replace("accuracy 5", "accuracy 0"), "1"),
        ("L 1 = 900000 H, 1 kHz", "H"),
        ("L 1 = 1.6 mH, " + "9" * 40 + " Hz", "Hz"),
        ("Q = " + "9" * 40 + ", 1 kHz", ""),
    ],
)
def test_a_number_that_no_instrument_shows_is_never_a_typed_result(line, unit):
    """However often it is typed."""
    bench = Bench()
    bench.begin()
    for _ in range(3):
        (told,) = bench.command(TypeResult(line))
        assert (told.code, told.facts["refusal"]) == (Code.COMMAND_REFUSED, "result_impossible")
        assert told.facts["unit"] == unit
    assert bench.pipeline.duties.visit.typed == []


@pytest.mark.parametrize(
    "line", [TYPED, WINDING.replace("441", "101"), "surge = none, pass", TYPED.replace("120", "0")]
)
def test_a_likely_typed_result_counts_at_once(line):
    """So do a short, words, and an insulation that fails."""
    bench = Bench()
    bench.begin()
    assert isinstance(bench.command(TypeResult(line))[0], TypedResult)


def set_clock(bench, by_s):
    """Somebody, or a time server, sets the machine's clock; the daemon has seen it."""
    bench.utc_off_s += by_s
    return bench.command(ClockSet(by_s))


@pytest.mark.parametrize("by_s", [7200.0, -7200.0, 1e9])
def test_a_clock_that_was_set_rests_no_warm_unit(by_s):
    """Held a minute ago: with a clock two hours ahead it would count as cold, and pass at its warm values."""
    bench = Bench()
    bench.begin()
    assert bench.work_through({pair: ohm * 1.12 for pair, ohm in GOOD.items()}).ending is Ending.WARM
    (told,) = set_clock(bench, by_s)
    assert (told.code.value, told.facts) == (
        "clock.set_forward" if by_s > 0 else "clock.set_back",
        {"by_s": abs(by_s)},
    )
    bench.begin()
    assert bench.of(UnitStarted)[-1].rested_s == pytest.approx(0.0, abs=5.0)


@pytest.mark.parametrize("by_s", [3600.0, -3600.0])
@pytest.mark.parametrize("restart", [False, True], ids=["goes on", "after a restart"])
def test_a_clock_that_was_set_parts_no_touches_of_a_unit(by_s, restart):
    """How a unit cools is told by its touches: those before are moved with the clock, also by the record."""
    bench = Bench()
    bench.begin()
    for _ in range(2):
        bench.hold(GOOD[tuple(bench.prompt.pair)])
    before = bench.now_s
    set_clock(bench, by_s)
    bench.hold(GOOD[tuple(bench.prompt.pair)])
    unit = bench.pipeline.unit
    if restart:
        again = Bench(utc_s=bench.utc_off_s)
        again.now_s = bench.now_s
        again.pipeline.replay([record for record, _ in recorded(bench.events)], bench.utc_s)
        unit = again.pipeline.unit
    times_s = [look.at_s for look in unit.looks()]
    assert times_s == sorted(times_s)
    assert len(times_s) == 3
    assert times_s[-1] - times_s[0] < bench.now_s - before + 30.0
    assert times_s[-1] <= bench.utc_s


async def test_the_record_too_knows_how_long_a_held_unit_has_rested(journal):
    """Each start asks it, also after a restart with the wrong clock."""
    bench = Bench()
    bench.begin()
    held = bench.work_through({pair: ohm * 1.12 for pair, ohm in GOOD.items()})
    for by_s in (7200.0, -60.0):
        set_clock(bench, by_s)
    await journal.append(recorded(bench.events))
    known = unit_known(journal.path, held.serial, Purpose.INCOMING)
    assert known.held_utc_s == pytest.approx(held.utc_s + 7140.0)
