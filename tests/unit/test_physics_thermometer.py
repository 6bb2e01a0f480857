"""Where a temperature comes from, and how it ages."""

import math

import pytest

from acquire.errors import InputImpossible
from acquire.physics.pt100 import Class
from acquire.physics.thermometer import Source, platinum, read, typed


def test_a_typed_temperature_is_known_to_a_kelvin():
    room = typed(21.5, utc_s=0.0)
    assert room.u_kelvin == pytest.approx(1.0 / math.sqrt(3))
    assert room.source is Source.TYPED


def test_it_ages():
    room = read(21.5, 0.3, utc_s=1000.0)
    assert room.u_now_kelvin(1000.0) == room.u_kelvin
    assert room.u_now_kelvin(1000.0 + 7200.0) == pytest.approx(math.hypot(room.u_kelvin, 2.0))
    assert room.u_now_kelvin(0.0) == room.u_kelvin


def test_a_platinum_sensor_gives_temperature_and_its_uncertainty():
    room = platinum(107.79, 0.02, utc_s=0.0, sensor=Class.A)
    assert room.celsius == pytest.approx(20.0, abs=0.02)
    assert room.u_kelvin == pytest.approx(math.hypot(0.19 / math.sqrt(3), 0.02 / 0.3897), rel=1e-3)


def test_impossible_temperatures_are_refused():
    for call in (lambda: typed(-280.0, 0.0), lambda: read(20.0, -1.0, 0.0), lambda: platinum(1e6, 0.1, 0.0)):
        with pytest.raises(InputImpossible):
            call()
