"""Temperature and lead zero: the latest, as long as it is fresh."""

from __future__ import annotations

import pytest

from acquire.conditions import Conditions, Temperature
from acquire.records import Evidence, LeadZero
from drivers.reading import Kind, Quantity, Reading


def read(quantity=Quantity.TEMPERATURE, value=21.5, kind=Kind.VALUE):
    """A reading of a thermometer."""
    return Reading(
        meter_id="t",
        quantity=quantity,
        kind=kind,
        value_si=value,
        monotonic_s=5.0,
        utc_s=1000.0,
        conversion=1,
        raw=b"",
    )


def test_the_latest_temperature_counts_until_it_is_too_old():
    """Up to its age to the second, then it is as if there were none."""
    conditions = Conditions(temperature_oldest_s=300.0)
    assert conditions.fresh_temperature(0.0) is None
    conditions.read(read(), 0.3)
    assert conditions.fresh_temperature(1000.0) == Temperature(21.5, 0.3, 1000.0, "t")
    assert conditions.fresh_temperature(1300.0).celsius == 21.5
    assert conditions.fresh_temperature(1300.1) is None


def test_a_temperature_typed_in_some_time_ago_is_known_less_well():
    """A standard kelvin an hour as a root sum of squares (workshop choice of physics.thermometer); a clock
    that was set back makes nothing better."""
    conditions = Conditions(temperature=Temperature(21.5, 0.3, 1000.0), temperature_oldest_s=4 * 3600.0)
    assert conditions.fresh_temperature(4600.0).standard_uncertainty_kelvin == pytest.approx(1.044, abs=1e-3)
    assert conditions.fresh_temperature(4600.0).utc_s == 1000.0
    assert conditions.fresh_temperature(900.0).standard_uncertainty_kelvin == 0.3


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
    fresh = Conditions(lead=LeadZero("b", "m", 0.12, 0.003, 1000.0), lead_oldest_s=3600.0)
    assert not fresh.lead_zero_due(4600.0)
    assert fresh.lead_zero_due(4601.0)


def test_the_evidence_tells_where_temperature_and_zero_came_from_and_when():
    """With four wires the leads played no part."""
    conditions = Conditions(lead=LeadZero("b", "m", 0.1, 0.01, 900.0))
    conditions.read(read(), 0.3)
    bare = Evidence((), (), "")
    two = conditions.on_record(bare, four_wire=False)
    assert (two.temperature_source, two.temperature_utc_s, two.lead_zero_utc_s) == ("t", 1000.0, 900.0)
    assert conditions.on_record(bare, four_wire=True).lead_zero_utc_s is None
    assert Conditions().on_record(bare, four_wire=False) == bare
