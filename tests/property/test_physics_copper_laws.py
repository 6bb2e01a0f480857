"""Laws of the temperature correction, for any winding, temperature and metal."""

from hypothesis import given
from hypothesis import strategies as st

from acquire.physics.copper import (
    CONDUCTORS,
    conductor_from_alpha,
    fraction_per_kelvin,
    to_reference,
    winding_celsius,
)

ohms = st.floats(1e-4, 1e7)
celsius = st.floats(-40.0, 155.0)
metals = st.sampled_from(list(CONDUCTORS.values())) | st.floats(0.003, 0.006).map(conductor_from_alpha)


@given(ohms, celsius, celsius, metals)
def test_there_and_back_is_the_same_resistance(ohm, hot, reference, metal):
    there = to_reference(ohm, hot, reference, metal)
    assert abs(to_reference(there, reference, hot, metal) / ohm - 1.0) < 1e-14


@given(ohms, celsius, celsius, celsius, metals)
def test_a_detour_over_a_third_temperature_changes_nothing(ohm, a, b, c, metal):
    detour = to_reference(to_reference(ohm, a, b, metal), b, c, metal)
    assert abs(detour / to_reference(ohm, a, c, metal) - 1.0) < 1e-13


@given(ohms, celsius, celsius, metals)
def test_the_winding_gives_back_the_temperature_it_was_put_to(ohm, hot, reference, metal):
    now = to_reference(ohm, reference, hot, metal)
    assert abs(winding_celsius(now, ohm, reference, metal) - hot) < 1e-9


@given(ohms, celsius, celsius, metals, st.floats(1e-3, 1e3))
def test_twice_the_resistance_is_twice_the_corrected_one(ohm, hot, reference, metal, scale):
    once = to_reference(ohm, hot, reference, metal)
    assert abs(to_reference(scale * ohm, hot, reference, metal) / (scale * once) - 1.0) < 1e-14


@given(ohms, celsius, st.floats(0.01, 50.0), celsius, metals)
def test_the_hotter_the_winding_was_the_less_it_is_at_reference(ohm, cold, more, reference, metal):
    assert to_reference(ohm, cold + more, reference, metal) < to_reference(ohm, cold, reference, metal)


@given(ohms, celsius, celsius, metals)
def test_the_stated_sensitivity_is_the_slope(ohm, at, reference, metal):
    step = 1e-3
    below, above = (to_reference(ohm, at + d, reference, metal) for d in (-step, step))
    slope = (above - below) / (2 * step)
    stated = -to_reference(ohm, at, reference, metal) * fraction_per_kelvin(at, metal)
    assert abs(slope / stated - 1.0) < 1e-5
