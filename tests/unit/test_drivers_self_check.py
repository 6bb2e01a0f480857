"""The self-check of meters known from memory."""

from __future__ import annotations

import pytest

from drivers.meter import Capabilities
from drivers.reading import Kind, Quantity, Reading
from drivers.self_check import fault_of, needs_self_check, self_check_steps


def reading(value_si=None, kind=Kind.VALUE, quantity=Quantity.RESISTANCE):
    return Reading("m", quantity, kind, value_si, 0.0, 0.0, 1)


SHORT, OPEN, RESISTOR = self_check_steps(470.0)


@pytest.mark.parametrize(
    ("step", "readings"),
    [
        (SHORT, [reading(0.3)] * 3),
        (OPEN, [reading(kind=Kind.OVERLOAD)] * 3),
        (RESISTOR, [reading(999.0), reading(468.0), reading(471.0), reading(470.0)]),
    ],
)
def test_right_contacts_pass(step, readings):
    assert fault_of(step, readings) == ""


@pytest.mark.parametrize(
    ("step", "readings", "words"),
    [
        (SHORT, [reading(0.3)] * 2, "2 of 3 readings"),
        (SHORT, [reading(3.0)] * 3, "within 2 Ω, but it reads 3 Ω"),
        (OPEN, [reading(0.0)] * 3, "must read beyond range, but it reads 0 Ω"),
        (RESISTOR, [reading(4700.0)] * 3, "it reads 4700 Ω"),
        (RESISTOR, [reading(kind=Kind.OVERLOAD)] * 3, "it reads overload"),
        (RESISTOR, [reading(1.0, quantity=Quantity.VOLTAGE_DC)] * 3, "set the dial to ohms"),
    ],
)
def test_wrong_contacts_say_what_is_wrong(step, readings, words):
    assert words in fault_of(step, readings)


def test_only_ohmmeters_known_from_memory_need_it():
    ohms = frozenset({Quantity.RESISTANCE})
    assert needs_self_check(Capabilities(ohms, settable=False, streaming=True, verification="memory"))
    assert not needs_self_check(Capabilities(ohms, settable=False, streaming=True, verification="capture"))
    heat = frozenset({Quantity.TEMPERATURE})
    assert not needs_self_check(Capabilities(heat, settable=False, streaming=True, verification="memory"))


@pytest.mark.parametrize("ohm", [1.0, 0.0, 1e9])
def test_a_resistor_that_proves_nothing_is_refused(ohm):
    with pytest.raises(ValueError, match="take a resistor from 10 ohm"):
        self_check_steps(ohm)
