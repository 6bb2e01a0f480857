"""From a settled reading to ohms at the reference temperature with its budget."""

import math
from dataclasses import replace

import pytest

from acquire.errors import InputImpossible
from acquire.physics.budget import effective_degrees_of_freedom
from acquire.physics.copper import CONDUCTORS
from acquire.physics.correct import correct
from acquire.records import LeadZero, Settled, Shape
from drivers.accuracy import RangeAccuracy
from drivers.reading import Flag, Quantity

HAND = RangeAccuracy(fraction_of_reading=0.008, counts=5, resolution_si=0.1, range_full_scale_si=200.0)
BENCH = RangeAccuracy(
    fraction_of_reading=1e-4,
    fraction_of_range=4e-5,
    range_full_scale_si=100.0,
    resolution_si=1e-4,
    test_current_a=1e-3,
)
ZERO = LeadZero(bench="left", meter_id="m", value_ohm=0.2, standard_uncertainty_ohm=0.005, utc_s=0.0)


def settled(ohm, *, type_a=0.0, freedom=9.0, drift=0.0, count=0.1):
    return Settled(
        meter_id="m",
        quantity=Quantity.RESISTANCE,
        value_si=ohm,
        type_a_si=type_a,
        degrees_of_freedom=freedom,
        drift_si=drift,
        quantisation_si=count / math.sqrt(12),
        expanded_si=count,
        conversions=10,
        range_full_scale_si=200.0,
        resolution_si=count,
        contact_s=0.0,
        monotonic_s=1.0,
        utc_s=60.0,
    )


def corrected(value, **changes):
    facts = {
        "four_wire": False,
        "lead": ZERO,
        "now_utc_s": 60.0,
        "winding_celsius": 26.0,
        "winding_u_kelvin": 0.5,
        "reference_celsius": 20.0,
        "conductor": CONDUCTORS["copper"],
        "accuracy": HAND,
    }
    return correct(value, **{**facts, **changes})


def lines(result):
    return {term.name: term.standard_uncertainty_ohm for term in result.terms}


def test_leads_come_off_before_the_temperature_correction():
    result = corrected(settled(207.4))
    assert result.raw_ohm == 207.4
    assert result.lead_ohm == 0.2
    assert result.resistance_ohm == pytest.approx(207.2)
    assert result.reference_ohm == pytest.approx(207.2 * 254.5 / 260.5)
    assert result.material == "copper"


def test_every_line_of_the_budget_is_there_by_name_largest_first():
    result = corrected(settled(207.4, type_a=0.02, drift=0.01))
    assert set(lines(result)) == {
        "repeatability",
        "leftover drift",
        "display resolution",
        "meter accuracy",
        "lead zero",
        "contact",
        "winding temperature",
    }
    sizes = [term.standard_uncertainty_ohm for term in result.terms]
    assert sizes == sorted(sizes, reverse=True)


def test_the_lines_are_at_the_reference_temperature():
    factor = 254.5 / 260.5
    got = lines(corrected(settled(207.4, type_a=0.02)))
    assert got["repeatability"] == pytest.approx(0.02 * factor)
    assert got["meter accuracy"] == pytest.approx((0.008 * 207.4 + 0.5) / math.sqrt(3) * factor)
    assert got["display resolution"] == pytest.approx(0.1 / math.sqrt(12) * factor)
    assert got["winding temperature"] == pytest.approx(207.2 * factor / 260.5 * 0.5)


def test_the_whole_is_the_root_sum_of_squares_of_the_lines():
    result = corrected(settled(207.4, type_a=0.02))
    assert result.standard_uncertainty_ohm == pytest.approx(math.hypot(*lines(result).values()))
    assert result.expanded_ohm == pytest.approx(result.coverage_factor * result.standard_uncertainty_ohm)


def test_a_dominating_meter_accuracy_lowers_the_factor_towards_1_65():
    assert 1.645 < corrected(settled(207.4)).coverage_factor < 1.75


def test_four_wires_need_no_zero_and_have_no_contact_line():
    result = corrected(settled(0.44, count=1e-4), four_wire=True, accuracy=BENCH)
    assert result.lead_ohm == 0.0
    assert result.resistance_ohm == result.raw_ohm
    assert not {"lead zero", "lead zero missing", "contact"} & set(lines(result))


def test_two_wires_without_a_zero_say_so_and_cost_half_an_ohm():
    result = corrected(settled(0.6, count=1e-4), lead=None, accuracy=BENCH)
    assert result.lead_ohm == 0.0
    assert result.terms[0].name == "lead zero missing"
    assert result.terms[0].shape is Shape.RECTANGULAR
    assert result.expanded_ohm > 0.45


def test_an_old_zero_is_worth_less_than_a_fresh_one():
    fresh, old = (lines(corrected(settled(5.0), now_utc_s=age))["lead zero"] for age in (60.0, 8 * 3600.0))
    assert old > 2 * fresh


def test_thermal_voltage_counts_on_low_ohms_unless_the_meter_cancels_it():
    low = settled(0.44, count=1e-4)
    plain = lines(corrected(low, four_wire=True, accuracy=BENCH))
    seen = replace(low, flags=frozenset({Flag.OFFSET_COMPENSATED}))
    cancelled = lines(corrected(seen, four_wire=True, accuracy=BENCH))
    assert plain["thermal EMF"] == pytest.approx(1e-3 / math.sqrt(3) * 254.5 / 260.5)
    assert "thermal EMF" not in cancelled


def test_a_meter_outside_its_window_has_a_line_for_it():
    drifting = replace(HAND, limit_per_kelvin=0.1)
    assert "meter temperature" in lines(corrected(settled(200.0), accuracy=drifting, ambient_celsius=8.0))
    assert "meter temperature" not in lines(
        corrected(settled(200.0), accuracy=drifting, ambient_celsius=22.0)
    )


def test_few_readings_reach_the_effective_degrees_of_freedom():
    noisy = corrected(settled(0.44, type_a=0.01, freedom=4.0, count=1e-4), four_wire=True, accuracy=BENCH)
    assert effective_degrees_of_freedom(noisy.terms) == pytest.approx(4.54, abs=0.01)
    assert noisy.coverage_factor == pytest.approx(2.72, abs=0.06)


def test_a_single_reading_counts_as_one_degree_of_freedom_not_as_none():
    assert corrected(settled(200.0, type_a=0.0, freedom=0.0)).expanded_ohm > 0.0


@pytest.mark.parametrize(
    "changes",
    [
        {"winding_celsius": -300.0},
        {"winding_u_kelvin": -1.0},
        {"winding_u_kelvin": float("nan")},
        {"contact_ohm": -0.1},
        {"accuracy": replace(HAND, counts=-5)},
        {"lead": replace(ZERO, standard_uncertainty_ohm=float("nan"))},
    ],
)
def test_impossible_input_is_refused_with_a_sentence(changes):
    with pytest.raises(InputImpossible) as caught:
        corrected(settled(200.0), **changes)
    assert caught.value.what.endswith(".")


def test_the_propagation_agrees_with_the_uncertainties_library():
    """Second opinion: lebigot's `uncertainties`, linear propagation through the whole formula."""
    from uncertainties import ufloat

    value = settled(207.4, type_a=0.05, drift=0.03)
    raw = (
        sum(ufloat(0, u) for u in (0.05, 0.03, 0.1 / math.sqrt(12), (0.008 * 207.4 + 0.5) / math.sqrt(3)))
        + 207.4
    )
    lead, contact, celsius = ufloat(0.2, 0.005), ufloat(0, 0.01), ufloat(26.0, 0.5)
    expected = (raw - lead - contact) * 254.5 / (234.5 + celsius)
    result = corrected(value, now_utc_s=0.0)
    assert result.reference_ohm == pytest.approx(expected.n, rel=1e-12)
    assert result.standard_uncertainty_ohm == pytest.approx(expected.s, rel=1e-9)
