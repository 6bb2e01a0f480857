"""A held display is suspected where it cannot be seen."""

from __future__ import annotations

from drivers.handheld.dial import FrozenDisplay
from drivers.reading import Flag, Kind, Quantity, Reading


def reading(at_s, value_si=12.3, visible=frozenset()):
    kind = Kind.OVERLOAD if value_si is None else Kind.VALUE
    return Reading("m", Quantity.RESISTANCE, kind, value_si, at_s, at_s, 1, flags_visible=visible)


def told(readings):
    watch = FrozenDisplay()
    return [text for one in readings if (text := watch.take(one))]


def test_a_value_that_never_moves_is_told_once():
    assert told(reading(second * 0.5) for second in range(100)) == [
        "The display has shown the same value for 20 s: is HOLD on?"
    ]


def test_a_value_that_moves_an_open_lead_and_a_slow_meter_are_left_alone():
    assert told(reading(second * 0.5, 12.3 + 0.1 * (second % 7 == 0)) for second in range(100)) == []
    assert told(reading(second * 0.5, None) for second in range(100)) == []
    assert told(reading(second * 5.0) for second in range(15)) == [], "too few conversions to tell"


def test_a_meter_that_shows_hold_is_believed():
    assert told(reading(second * 0.5, visible=frozenset({Flag.HOLD})) for second in range(100)) == []


def test_after_it_moved_it_is_told_anew():
    still = [reading(second * 0.5) for second in range(60)]
    moved = [reading(30.0, 99.0)]
    again = [reading(31 + second * 0.5) for second in range(60)]
    assert len(told(still + moved + again)) == 2
