"""When a key may call a pair open."""

from __future__ import annotations

import pytest

from acquire.heart.contact import BOUNCE_S, LOOK_S, OpenWitness
from acquire.records.bench import Refused
from acquire.records.codes import Refusal
from drivers.reading import Flag, Kind, Quantity, Reading

OHMS = Quantity.RESISTANCE


def shown(monotonic_s, kind=Kind.OVERLOAD, quantity=OHMS, flags=frozenset(), full_ohm=None):
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
        range_full_scale_si=full_ohm,
        raw=b"",
    )


def said(witness, asked_s=0.0):
    """Why the latest press does not count; None where it does."""
    try:
        witness.check(asked_s)
    except Refused as refused:
        return refused.refusal
    return None


def asked_and_seen(*readings, asked_s=0.0, pressed_s, above_ohm=0.0):
    """What is said of a press after these readings."""
    witness = OpenWitness()
    for reading in readings:
        witness.see(reading, OHMS, above_ohm)
    assert witness.pressed(pressed_s)
    return said(witness, asked_s)


def test_a_press_counts_once_overload_was_shown_long_enough():
    """The plain case."""
    assert asked_and_seen(shown(1.0), shown(2.0), pressed_s=2.1) is None


def test_nothing_shown_or_long_ago_is_no_witness():
    """No reading at all since the start; or the meter has fallen silent since."""
    assert asked_and_seen(pressed_s=100.0) is Refusal.KEY_UNWITNESSED
    assert asked_and_seen(shown(1.0), shown(2.0), pressed_s=6.0) is Refusal.KEY_UNWITNESSED


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
    assert asked_and_seen(shown(1.0), shown(2.0), last, pressed_s=3.1) is Refusal.KEY_UNWITNESSED


@pytest.mark.parametrize("full_ohm", [200.0, 2e3, 600e3, 999e3])
def test_an_overload_below_what_an_open_pair_must_exceed_is_no_witness(full_ohm):
    """5 kilohm to the core read overload on 200 ohm; the operator is told which range would show it."""
    witness = OpenWitness()
    assert not witness.see(shown(1.0, full_ohm=full_ohm), OHMS, 1e6)
    assert witness.pressed(2.1)
    with pytest.raises(Refused) as refused:
        witness.check(0.0)
    assert refused.value.refusal is Refusal.RANGE_LOW
    assert refused.value.facts == {"full_ohm": full_ohm, "least_ohm": 1e6}


@pytest.mark.parametrize("full_ohm", [None, 1e6, 60e6])
def test_an_overload_beyond_it_is_one(full_ohm):
    """Also of a meter that does not tell its range, for nothing better can be had of it."""
    readings = [shown(second, full_ohm=full_ohm) for second in (1.0, 2.0)]
    assert asked_and_seen(*readings, pressed_s=2.1, above_ohm=1e6) is None


def test_time_on_a_low_range_does_not_count():
    """A meter that looks for its range shows overload all the way up."""
    readings = [shown(0.4 * n, full_ohm=200.0 * 10**n) for n in range(5)]  # 2 MΩ since 1.6 s only
    assert asked_and_seen(*readings, pressed_s=1.7, above_ohm=1e6) is Refusal.KEY_TOO_SOON


def test_a_conversion_without_a_reading_ends_nothing():
    """Some meters show nothing while they range."""
    assert asked_and_seen(shown(1.0), shown(1.5, Kind.NO_READING), shown(2.0), pressed_s=2.1) is None


def test_overload_from_before_the_request_does_not_count():
    """The probes were in the air then."""
    seen = (shown(1.0), shown(9.0), shown(9.0 + LOOK_S / 2))
    assert asked_and_seen(*seen, asked_s=9.0, pressed_s=9.3) is Refusal.KEY_TOO_SOON


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
    assert said(witness) is Refusal.KEY_UNWITNESSED
