"""Signs on the display are told once, until they end and come back."""

from __future__ import annotations

import pytest

from acquire.heart.standstill import SIGNS, ReadingWatch
from drivers.reading import Flag, Kind, Quantity, Reading


def read(flags=(), quantity=Quantity.RESISTANCE, kind=Kind.VALUE):
    """A reading with signs."""
    return Reading(
        meter_id="m",
        quantity=quantity,
        kind=kind,
        value_si=1.0 if kind is Kind.VALUE else None,
        monotonic_s=1.0,
        utc_s=2.0,
        conversion=1,
        flags=frozenset(flags),
        raw=b"",
    )


@pytest.mark.parametrize("flag", SIGNS)
def test_a_sign_is_told_once_until_it_comes_back(flag):
    """Not with every reading."""
    watch = ReadingWatch()
    told = [watch.notices(read(flags), Quantity.RESISTANCE) for flags in ([flag], [flag], [], [flag])]
    assert [[n.code for n in each] for each in told] == [[SIGNS[flag]], [], [], [SIGNS[flag]]]


def test_two_signs_at_once_are_both_told():
    """Each with its own sentence."""
    notices = ReadingWatch().notices(read([Flag.HOLD, Flag.LOW_BATTERY]), Quantity.RESISTANCE)
    assert {n.code for n in notices} == {"meter.hold", "meter.battery"}


@pytest.mark.parametrize("wanted", [Quantity.RESISTANCE, Quantity.RESISTANCE_4W])
def test_a_meter_off_ohms_is_named(wanted):
    """Volts in place of ohms; a display that shows nothing yet is no wrong function."""
    notices = ReadingWatch().notices(read(quantity=Quantity.VOLTAGE_DC), wanted)
    assert [n.facts for n in notices] == [{"quantity": "voltage_dc"}]
    assert not ReadingWatch().notices(read(quantity=Quantity.VOLTAGE_DC, kind=Kind.NO_READING), wanted)
    assert not ReadingWatch().notices(read(), wanted)
