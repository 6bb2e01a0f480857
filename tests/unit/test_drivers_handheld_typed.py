"""Readings of a display as people type them, and as a machine writes what it heard."""

from __future__ import annotations

import pytest

from drivers.handheld.typed import TypedMeter, Unclear


@pytest.mark.parametrize(
    ("heard", "ohm", "count_ohm"),
    [
        ("20.6 ohms", 20.6, 0.1),
        ("20 point 6 Ohm", 20.6, 0.1),
        ("0.44 kilo ohms", 440.0, 10.0),
        ("2.5 kilohms", 2500.0, 100.0),
        ("3 megohms", 3e6, 1e6),
        ("441", 441.0, 1.0),
    ],
)
def test_what_a_machine_writes_of_a_spoken_reading_is_understood(heard, ohm, count_ohm):
    """With the worth of the last digit that was said."""
    decoded = TypedMeter.understood(heard)
    assert decoded.value_si == pytest.approx(ohm)
    assert decoded.resolution_si == pytest.approx(count_ohm)


@pytest.mark.parametrize("heard", ["5 milliohms", "1,234 ohms", "1"])
def test_what_may_mean_two_things_is_asked_about_however_it_was_said(heard):
    with pytest.raises(Unclear):
        TypedMeter.understood(heard)
