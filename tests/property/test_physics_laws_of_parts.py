"""Laws of wire, windings, platinum thermometers, three-phase circuits, leads and accuracy statements."""

import math

from hypothesis import given
from hypothesis import strategies as st

from acquire.physics.accuracy import half_width_si, outside_window_si
from acquire.physics.insulation import RULES, to_reference
from acquire.physics.leads import uncertainty_ohm
from acquire.physics.winding import (
    Design,
    expect,
    from_mass_and_ohm,
    mass_g,
    turns_from_ohm,
    wire_of_diameter,
)
from acquire.physics.wire import awg_diameter_mm, diameter_from_ohm_per_m, metric_spread, ohm_per_m
from acquire.records import LeadZero
from drivers.accuracy import RangeAccuracy

diameters = st.floats(0.02, 3.0)


@given(diameters)
def test_diameter_to_ohms_and_back(diameter_mm):
    assert math.isclose(diameter_from_ohm_per_m(ohm_per_m(diameter_mm)), diameter_mm, rel_tol=1e-12)


@given(diameters, st.floats(1.001, 5.0))
def test_thicker_wire_has_less_resistance_by_the_square(diameter_mm, times):
    assert math.isclose(ohm_per_m(diameter_mm) / ohm_per_m(diameter_mm * times), times**2, rel_tol=1e-9)


@given(st.integers(-3, 43))
def test_a_higher_gauge_is_thinner(gauge):
    assert awg_diameter_mm(gauge + 1) < awg_diameter_mm(gauge)


@given(diameters)
def test_spread_is_a_sane_fraction_and_wider_above_than_below(diameter_mm):
    spread = metric_spread(diameter_mm)
    assert 0.0 < spread.below <= spread.above < 0.2


@given(
    st.floats(1.0, 20_000.0), st.floats(0.01, 1.0), st.floats(0.0, 5.0), diameters, st.floats(-20.0, 120.0)
)
def test_turns_to_ohms_and_back(turns, mean_turn_m, extra_m, diameter_mm, at):
    design, wire = Design(turns, mean_turn_m, extra_m), wire_of_diameter(diameter_mm)
    ohm = expect(design, wire, reference_celsius=at).reference_ohm
    back, expanded = turns_from_ohm(ohm, design, wire, reference_celsius=at)
    assert math.isclose(back, turns, rel_tol=1e-9, abs_tol=1e-6)
    assert expanded > 0.0


@given(st.floats(0.1, 5000.0), diameters)
def test_weight_and_ohms_to_length_and_diameter_and_back(length_m, diameter_mm):
    ohm = ohm_per_m(diameter_mm) * length_m
    got = from_mass_and_ohm(mass_g(length_m, diameter_mm), ohm)
    assert math.isclose(got[0], length_m, rel_tol=1e-9)
    assert math.isclose(got[1], diameter_mm, rel_tol=1e-9)


@given(st.floats(1e3, 1e12), st.floats(-10.0, 110.0), st.floats(0.1, 40.0))
def test_insulation_is_worth_more_the_hotter_it_was_measured(ohm, at, hotter):
    rule = RULES["thermoplastic"]
    assert to_reference(ohm, at + hotter, rule) > to_reference(ohm, at, rule)


@given(st.floats(0.0, 0.5), st.floats(0.0, 1e7), st.floats(0.0, 1e7))
def test_a_lead_zero_never_gets_better_with_age(u, age, more):
    zero = LeadZero("b", "m", 0.2, u, 0.0)
    assert uncertainty_ohm(zero, age + more) >= uncertainty_ohm(zero, age) >= u


statements = st.builds(
    RangeAccuracy,
    fraction_of_reading=st.floats(0.0, 0.1),
    resolution_si=st.floats(1e-6, 10.0),
    counts=st.floats(0.0, 50.0),
    fraction_of_range=st.floats(0.0, 0.01),
    range_full_scale_si=st.floats(1.0, 1e6),
    limit_per_kelvin=st.floats(0.0, 1.0),
)


@given(statements, st.floats(0.0, 1e6), st.floats(0.0, 1e6))
def test_a_larger_reading_is_never_known_better(statement, reading, more):
    assert half_width_si(statement, reading + more) >= half_width_si(statement, reading)


@given(statements, st.floats(0.0, 1e6), st.floats(28.0, 60.0), st.floats(0.0, 20.0))
def test_a_hotter_room_is_never_better(statement, reading, room, hotter):
    assert outside_window_si(statement, reading, room + hotter) >= outside_window_si(statement, reading, room)
