"""What an accuracy statement is worth at one reading."""

import math

import pytest

from acquire.errors import InputImpossible
from acquire.physics.accuracy import (
    accuracy_terms,
    half_width_si,
    kelvin_outside,
    outside_window_si,
    thermal_emf_ohm,
)
from acquire.records import Shape
from drivers.accuracy import RangeAccuracy

HAND = RangeAccuracy(fraction_of_reading=0.008, counts=5, resolution_si=0.1, limit_per_kelvin=0.1)
BENCH = RangeAccuracy(
    fraction_of_reading=1e-4,
    fraction_of_range=4e-5,
    range_full_scale_si=100.0,
    resolution_si=1e-4,
    reading_per_kelvin=6e-6,
    range_per_kelvin=5e-6,
    test_current_a=1e-3,
)


def test_a_hand_meter_is_worth_more_than_half_an_ohm_on_a_low_winding():
    assert half_width_si(HAND, 0.3) == pytest.approx(0.5024)


def test_percent_of_range_counts_the_full_scale_not_the_reading():
    assert half_width_si(BENCH, 50.0) == pytest.approx(50e-4 + 4e-3)


def test_the_sign_of_the_reading_does_not_matter():
    assert half_width_si(HAND, -20.0) == half_width_si(HAND, 20.0)


@pytest.mark.parametrize(
    ("ambient", "kelvin"), [(17.0, 1.0), (18.0, 0.0), (23.0, 0.0), (28.0, 0.0), (31.5, 3.5)]
)
def test_only_kelvin_outside_the_window_count(ambient, kelvin):
    assert kelvin_outside(HAND, ambient) == pytest.approx(kelvin)


def test_the_three_ways_of_stating_a_temperature_coefficient():
    assert outside_window_si(HAND, 100.0, 30.0) == pytest.approx(2 * 0.1 * 1.3)
    assert outside_window_si(BENCH, 50.0, 30.0) == pytest.approx(2 * (6e-6 * 50 + 5e-6 * 100))
    assert outside_window_si(BENCH, 50.0, 20.0) == 0.0


def test_terms_are_rectangular_and_carry_the_sensitivity():
    (term,) = accuracy_terms(HAND, 100.0, sensitivity=0.98)
    assert term.name == "meter accuracy"
    assert term.shape is Shape.RECTANGULAR
    assert term.standard_uncertainty_ohm == pytest.approx(0.98 * 1.3 / math.sqrt(3))


def test_a_cold_room_adds_a_line_of_its_own():
    names = [term.name for term in accuracy_terms(HAND, 100.0, ambient_celsius=8.0)]
    assert names == ["meter accuracy", "meter temperature"]
    assert len(accuracy_terms(HAND, 100.0, ambient_celsius=20.0)) == 1


def test_ten_microvolt_at_a_milliampere_read_as_ten_milliohm():
    assert thermal_emf_ohm(BENCH, 10e-6) == pytest.approx(0.010)


def test_thermal_voltage_costs_nothing_where_the_current_is_unknown():
    assert thermal_emf_ohm(HAND, 10e-6) == 0.0


def test_impossible_statements_are_refused():
    with pytest.raises(InputImpossible, match="fraction of reading"):
        half_width_si(RangeAccuracy(-0.01, 0.1), 1.0)
    with pytest.raises(InputImpossible, match="counts"):
        half_width_si(RangeAccuracy(0.01, 0.1, counts=-1), 1.0)
    with pytest.raises(InputImpossible, match="absolute zero"):
        kelvin_outside(HAND, -400.0)
    with pytest.raises(InputImpossible, match="coefficient"):
        outside_window_si(RangeAccuracy(0.01, 0.1, limit_per_kelvin=-1), 1.0, 40.0)
    with pytest.raises(InputImpossible, match="reading is nan"):
        half_width_si(HAND, float("nan"))
