"""Platinum thermometers through an ohms meter."""

import math

import pytest

from acquire.errors import InputImpossible
from acquire.physics.pt100 import Class, celsius, ohm_per_kelvin, resistance_ohm, u_kelvin


def test_100_ohm_are_0_degrees():
    assert resistance_ohm(0.0) == 100.0
    assert celsius(100.0) == 0.0
    assert celsius(1000.0, r0_ohm=1000.0) == 0.0


@pytest.mark.parametrize("t", [-200.0, -77.7, -0.001, 0.0, 0.001, 23.45, 400.0, 850.0])
@pytest.mark.parametrize("r0", [100.0, 1000.0])
def test_there_and_back(t, r0):
    assert celsius(resistance_ohm(t, r0), r0) == pytest.approx(t, abs=1e-9)


def test_the_slope_is_that_of_the_curve_on_both_sides_of_zero():
    for t in (-150.0, -10.0, 10.0, 300.0):
        slope = (resistance_ohm(t + 1e-3) - resistance_ohm(t - 1e-3)) / 2e-3
        assert ohm_per_kelvin(t) == pytest.approx(slope, rel=1e-6)


def test_leads_of_0_2_ohm_are_half_a_kelvin_with_two_wires():
    assert celsius(resistance_ohm(20.0) + 0.2) - 20.0 == pytest.approx(0.514, abs=1e-3)
    assert celsius(resistance_ohm(20.0, 1000.0) + 0.2, 1000.0) - 20.0 == pytest.approx(0.051, abs=1e-3)


def test_class_limits():
    """A and B: IEC 60751, 0.15 + 0.002 |t| and 0.30 + 0.005 |t| kelvin."""
    assert Class.A.limit_kelvin(100.0) == pytest.approx(0.35)
    assert Class.B.limit_kelvin(-100.0) == pytest.approx(0.80)


def test_uncertainty_joins_class_and_ohms():
    assert u_kelvin(0.0, 0.0) == pytest.approx(0.3 / math.sqrt(3))
    assert u_kelvin(0.0, 0.39083, Class.A) == pytest.approx(math.hypot(0.15 / math.sqrt(3), 1.0))


@pytest.mark.parametrize("ohm", [0.0, 5.0, 1e6, float("inf"), float("nan"), -3.0])
def test_an_open_or_shorted_sensor_is_no_temperature(ohm):
    with pytest.raises(InputImpossible):
        celsius(ohm)


def test_temperatures_outside_the_standard_are_refused():
    for t in (-200.1, 850.1, float("nan")):
        with pytest.raises(InputImpossible):
            resistance_ohm(t)


def test_the_driver_of_platinum_sensors_agrees():
    """The driver keeps a curve of its own, since drivers import nothing of acquire; the two may not part."""
    from drivers.platinum import platinum_celsius, platinum_ohm

    for t in (-180.0, -1.0, 0.0, 20.0, 155.0, 600.0):
        assert platinum_ohm(t) == pytest.approx(resistance_ohm(t), rel=1e-13)
        assert platinum_celsius(resistance_ohm(t)) == pytest.approx(t, abs=1e-6)
