"""When a key may call a pair open."""

from __future__ import annotations

import pytest

from acquire.steps.open_witness import BOUNCE_S, LOOK_S, OpenWitness
from drivers.reading import Flag, Kind, Quantity, Reading

OHMS = Quantity.RESISTANCE


def shown(monotonic_s, kind=Kind.OVERLOAD, quantity=OHMS, flags=frozenset()):
    """A reading that matters by its kind alone."""
    value = 100.0 if kind is Kind.VALUE else None
    return Reading(
        meter_id="m",
        quantity=quantity,
        kind=kind,
        value_si=value,
        monotonic_s=monotonic_s,
        utc_s=monotonic_s,
        conversion=1,
        flags=flags,
        raw=b"",
    )


def asked_and_seen(*readings, asked_s=0.0, pressed_s):
    """What is said of a press after these readings."""
    witness = OpenWitness()
    for reading in readings:
        witness.see(reading, OHMS)
    assert witness.pressed(pressed_s)
    return witness.refusal(asked_s)


def test_a_press_counts_once_overload_was_shown_long_enough():
    """The plain case."""
    assert asked_and_seen(shown(1.0), shown(2.0), pressed_s=2.1) == ""


def test_nothing_shown_is_no_witness():
    """No reading at all since the start."""
    assert "no overload" in asked_and_seen(pressed_s=100.0)


def test_old_overload_is_no_witness():
    """The meter has fallen silent since."""
    assert "no overload" in asked_and_seen(shown(1.0), shown(2.0), pressed_s=6.0)


@pytest.mark.parametrize(
    "last",
    [
        shown(3.0, Kind.VALUE),
        shown(3.0, quantity=Quantity.VOLTAGE_DC),
        shown(3.0, Kind.NEGATIVE_OVERLOAD),
        shown(3.0, flags=frozenset({Flag.HOLD})),
    ],
)
def test_anything_else_on_the_display_ends_the_witness(last):
    """A value, another function, the wrong sign, a held display."""
    assert asked_and_seen(shown(1.0), shown(2.0), last, pressed_s=3.1)


def test_a_conversion_without_a_reading_ends_nothing():
    """Some meters show nothing while they range."""
    assert asked_and_seen(shown(1.0), shown(1.5, Kind.NO_READING), shown(2.0), pressed_s=2.1) == ""


def test_overload_from_before_the_request_does_not_count():
    """The probes were in the air then."""
    assert "too soon" in asked_and_seen(
        shown(1.0), shown(9.0), shown(9.0 + LOOK_S / 2), asked_s=9.0, pressed_s=9.3
    )


def test_presses_close_together_are_one():
    """Each repeats the one before, however long the key is held."""
    witness = OpenWitness()
    assert witness.pressed(1.0)
    assert not any(witness.pressed(1.0 + n * BOUNCE_S / 2) for n in range(1, 20))
    assert witness.pressed(100.0)


def test_a_lost_link_takes_the_witness_away():
    """What was shown before the cable came out is worth nothing."""
    witness = OpenWitness()
    witness.see(shown(1.0), OHMS)
    witness.see(shown(2.0), OHMS)
    witness.forget()
    witness.pressed(2.1)
    assert witness.refusal(0.0)
