"""Temperature and lead zero: the latest, as long as it is fresh."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from acquire.conditions import Conditions, Temperature
from acquire.physics.check_standard import Resistor
from acquire.records import Code, Evidence, LeadZero
from acquire.steps.checking import CheckDuty
from drivers.reading import Kind, Quantity, Reading


def read(quantity=Quantity.TEMPERATURE, value=21.5, kind=Kind.VALUE, utc_s=1000.0, source="t"):
    """A reading of a thermometer."""
    return Reading(
        meter_id=source,
        quantity=quantity,
        kind=kind,
        value_si=value,
        monotonic_s=5.0,
        utc_s=utc_s,
        conversion=1,
        raw=b"",
    )


def after(*celsius, every_s=2.0, **limits):
    """Conditions that have read these, and the notices."""
    conditions = Conditions(**limits)
    told = [
        notice
        for index, value in enumerate(celsius)
        for notice in conditions.read(read(value=value, utc_s=1000.0 + index * every_s), 0.3)
    ]
    return conditions, told


@pytest.mark.parametrize("impossible", [-60.0, 150.0, -273.15, -300.0, 1e9])
def test_what_the_air_of_the_place_cannot_be_is_not_used(impossible):
    """An open sensor, a thermometer in the oven: told once, and the last good temperature stays."""
    conditions, told = after(22.4, 22.5, *[impossible] * 40)
    assert conditions.temperature.celsius == 22.5
    assert [notice.code for notice in told] == [Code.TEMPERATURE_IMPOSSIBLE]
    assert conditions.gates["t"].doubted == 40
    assert after(22.4, 22.5, coldest_celsius=23.0)[0].temperature is None


def test_a_line_that_loses_a_digit_changes_nothing_and_a_door_that_opens_does():
    """One reading in twelve ten times too small; then the air falls by 8 K and stays there."""
    conditions, told = after(*([22.4] * 11 + [2.4]) * 20)
    assert conditions.temperature.celsius == 22.4
    assert [(notice.code, notice.facts["celsius"]) for notice in told] == [(Code.TEMPERATURE_JUMPED, 2.4)]
    for index in range(15):
        conditions.read(read(value=14.4, utc_s=1480.0 + 2.0 * index), 0.3)
        assert conditions.temperature.celsius == 22.4
    conditions.read(read(value=14.4, utc_s=1510.0), 0.3)
    assert conditions.temperature.celsius == 14.4


def test_the_first_temperature_needs_a_second_that_agrees():
    """Else a bench that is started on a torn line begins with it."""
    assert after(2.4)[0].temperature is None
    assert after(2.4, 22.4)[0].temperature is None
    assert after(2.4, 22.4, 22.4)[0].temperature.celsius == 22.4


def both(conditions, first, second, *, times=3, utc_s=1000.0):
    """Two thermometers read in turn; gives the notices."""
    return [
        notice
        for index in range(times)
        for source, celsius in (("t", first), ("u", second))
        for notice in conditions.read(read(value=celsius, utc_s=utc_s + 2.0 * index, source=source), 0.3)
    ]


def test_two_thermometers_that_agree_count_as_their_mean():
    """Limits of error of 0.5 K each (0.3 K by the root of three): they may lie 1 K apart."""
    conditions = Conditions()
    assert both(conditions, 22.0, 22.8) == []
    assert (conditions.temperature.celsius, conditions.temperature.source) == (pytest.approx(22.4), "u, t")


def test_two_thermometers_that_disagree_are_not_used_and_told_once():
    """Nobody knows which is wrong: the last mean grows old, then verdicts wait."""
    conditions = Conditions(temperature_max_age_s=300.0)
    both(conditions, 22.0, 22.4)
    (told,) = both(conditions, 22.0, 24.0, times=100, utc_s=1100.0)
    assert (told.code, told.facts["other_celsius"]) == (Code.TEMPERATURE_APART, 22.0)
    assert conditions.temperature.celsius == pytest.approx(22.2)
    assert conditions.fresh_temperature(1500.0) is None


def test_of_two_thermometers_the_one_that_still_reads_counts_alone():
    """The other has been away for longer than a temperature counts; its silence is a notice of its own."""
    conditions = Conditions(temperature_max_age_s=300.0)
    both(conditions, 22.0, 22.4)
    for index in range(4):
        conditions.read(read(value=23.8, utc_s=1400.0 + 2 * index), 0.3)
    assert (conditions.temperature.celsius, conditions.temperature.source) == (23.8, "t")


@given(
    st.lists(st.sampled_from(["as read", "digit lost", "digit doubled", "nothing"]), max_size=14),
    st.floats(15.0, 35.0),
)
def test_no_torn_line_ever_moves_a_temperature(accidents, celsius):
    """Nothing but half a minute of readings that agree does; these lines take 28 s."""
    line = f"{celsius:.1f}"
    torn = {
        "as read": line,
        "digit lost": line[1:],
        "digit doubled": line[0] + line,
        "nothing": "0",
    }
    conditions, _ = after(celsius, celsius, *(float(torn[each]) for each in accidents))
    assert conditions.temperature.celsius == pytest.approx(celsius, abs=0.06)


def test_the_latest_temperature_counts_until_it_is_too_old():
    """Up to its age to the second, then it is as if there were none."""
    conditions = Conditions(temperature_max_age_s=300.0)
    assert conditions.fresh_temperature(0.0) is None
    conditions.read(read(), 0.3)
    conditions.read(read(), 0.3)
    assert conditions.fresh_temperature(1000.0) == Temperature(21.5, 0.3, 1000.0, "t")
    assert conditions.fresh_temperature(1300.0).celsius == 21.5
    assert conditions.fresh_temperature(1300.1) is None


def test_a_temperature_typed_in_some_time_ago_is_known_less_well():
    """A standard kelvin an hour as a root sum of squares (workshop choice)."""
    conditions = Conditions(temperature=Temperature(21.5, 0.3, 1000.0), temperature_max_age_s=4 * 3600.0)
    assert conditions.fresh_temperature(4600.0).standard_uncertainty_kelvin == pytest.approx(1.044, abs=1e-3)
    assert conditions.fresh_temperature(4600.0).utc_s == 1000.0


@given(st.floats(61.0, 1e9), st.floats(0.0, 1e6))
def test_what_is_of_a_time_yet_to_come_counts_no_longer(ahead_s, max_age_s):
    """A restart after the clock was set back: nobody knows the age of temperature, zero and check."""
    zero = LeadZero("b", "m", 0.12, 0.003, 1e9 + ahead_s)
    conditions = Conditions(
        temperature_max_age_s=max_age_s,
        lead_max_age_s=max_age_s,
        temperature=Temperature(21.5, 0.3, 1e9 + ahead_s),
        lead=zero,
    )
    assert conditions.fresh_temperature(1e9) is None
    assert conditions.lead_zero_due(1e9)
    assert CheckDuty(Resistor("R1", 100.0, 0.1), every_s=max_age_s, last_utc_s=1e9 + ahead_s).due(1e9)


@pytest.mark.parametrize("reading", [read(Quantity.RESISTANCE, 100.0), read(value=None, kind=Kind.OVERLOAD)])
def test_what_is_no_temperature_changes_nothing(reading):
    """A thermometer set to ohms, a broken probe."""
    conditions = Conditions()
    conditions.read(reading, 0.3)
    assert conditions.temperature is None


def test_the_lead_zero_is_due_when_missing_or_old_and_only_where_it_is_wanted():
    """Never on a bench with four wires only."""
    assert Conditions().lead_zero_due(0.0)
    assert not Conditions(lead_wanted=False).lead_zero_due(0.0)
    fresh = Conditions(lead=LeadZero("b", "m", 0.12, 0.003, 1000.0), lead_max_age_s=3600.0)
    assert not fresh.lead_zero_due(4600.0)
    assert fresh.lead_zero_due(4601.0)


def test_the_evidence_tells_where_temperature_and_zero_came_from_and_when():
    """With four wires the leads played no part."""
    conditions = Conditions(lead=LeadZero("b", "m", 0.1, 0.01, 900.0))
    conditions.read(read(), 0.3)
    conditions.read(read(), 0.3)
    bare = Evidence((), (), "")
    two = conditions.on_record(bare, four_wire=False)
    assert (two.temperature_source, two.temperature_utc_s, two.lead_zero_utc_s) == ("t", 1000.0, 900.0)
    assert conditions.on_record(bare, four_wire=True).lead_zero_utc_s is None
    assert Conditions().on_record(bare, four_wire=False) == bare


def test_a_thermometer_that_flickers_from_the_start_is_told():
    """Its readings never agree, so it never counts; where two vote, nothing else would say so."""
    conditions, told = after(*[22.0, 2.5] * 20)
    assert conditions.temperature is None
    assert [(notice.code, notice.facts["before"]) for notice in told] == [(Code.TEMPERATURE_JUMPED, 22.0)]
    assert after(22.0, 22.1)[1] == []
