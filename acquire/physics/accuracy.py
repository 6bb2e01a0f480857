"""What a meter's accuracy statement is worth at one reading. Not for files: `drivers.models` reads them.

A statement is a limit: half-width = (% of reading) · |reading| + (% of range) · full scale + counts · count,
plus a temperature coefficient outside the window it holds in. As a law of probability it is taken as
rectangular (JCGM 100:2008, 4.3.7).
"""

from __future__ import annotations

import math

from acquire.choices import Shape
from acquire.physics.checks import at_least_zero, finite, temperature
from acquire.records.verdict import Term
from drivers.accuracy import RangeAccuracy


def half_width_si(accuracy: RangeAccuracy, reading_si: float) -> float:
    """The limit at a reading inside the temperature window, in the reading's unit.

    For example 1 % + 3 counts of 0.1 V at 120.0 V is 1.5 V.

    Args:
        accuracy: the statement of the range in use.
        reading_si: what the meter shows, before any lead is subtracted.

    Raises:
        InputImpossible: a part of the statement is negative, or the reading is no finite number.
    """
    finite(reading_si, "the reading")
    at_least_zero(accuracy.fraction_of_reading, "the meter's accuracy as a fraction of reading")
    at_least_zero(accuracy.fraction_of_range, "the meter's accuracy as a fraction of range")
    at_least_zero(accuracy.counts, "the meter's accuracy in counts")
    at_least_zero(accuracy.resolution_si, "the resolution of the range")
    return (
        accuracy.fraction_of_reading * abs(reading_si)
        + accuracy.fraction_of_range * accuracy.range_full_scale_si
        + accuracy.counts * accuracy.resolution_si
    )


def kelvin_outside(accuracy: RangeAccuracy, ambient_celsius: float) -> float:
    """How many kelvin the room lies outside the window of the statement; 0 inside.

    Raises:
        InputImpossible: the temperature is below absolute zero.
    """
    temperature(ambient_celsius, "the room temperature in degrees Celsius")
    low, high = accuracy.window_celsius
    return max(0.0, low - ambient_celsius, ambient_celsius - high)


def outside_window_si(accuracy: RangeAccuracy, reading_si: float, ambient_celsius: float) -> float:
    """What the temperature coefficient adds to the limit, in the reading's unit; 0 inside the window.

    Raises:
        InputImpossible: a coefficient is negative or the temperature impossible.
    """
    for coefficient in (accuracy.reading_per_kelvin, accuracy.range_per_kelvin, accuracy.limit_per_kelvin):
        at_least_zero(coefficient, "the meter's temperature coefficient per kelvin")
    per_kelvin = (
        accuracy.reading_per_kelvin * abs(reading_si)
        + accuracy.range_per_kelvin * accuracy.range_full_scale_si
        + accuracy.limit_per_kelvin * half_width_si(accuracy, reading_si)
    )
    return per_kelvin * kelvin_outside(accuracy, ambient_celsius)


def accuracy_terms(
    accuracy: RangeAccuracy,
    reading_ohm: float,
    *,
    ambient_celsius: float | None = None,
    sensitivity: float = 1.0,
    quantity: str = "",
) -> list[Term]:
    """The lines that the meter's own accuracy takes in a budget, each rectangular.

    "meter accuracy" is always there; "meter temperature" joins it when the room is known to lie outside the
    window. An unknown room temperature counts as inside. Values on one range share the range's gain (what is
    stated of the reading) and its offset (the rest); what the sum of both limits has beyond two independent
    ones is each value's own, such as the curve of the converter.

    Args:
        accuracy: the statement of the range in use.
        reading_ohm: what the meter shows, ohms.
        ambient_celsius: temperature of the meter, None when unknown.
        sensitivity: change of the result per ohm of reading.
        quantity: what the meter measures; a range of two wires shares nothing with one of four.

    Raises:
        InputImpossible: as `half_width_si` and `outside_window_si`.
    """
    scale = abs(sensitivity) / math.sqrt(3.0)
    half_width = half_width_si(accuracy, reading_ohm)
    of_reading = accuracy.fraction_of_reading * abs(reading_ohm)
    name = f"{quantity} range {accuracy.range_full_scale_si:g}, count {accuracy.resolution_si:g}".strip()
    shared = (
        (f"gain, {name}", math.copysign(of_reading * scale, reading_ohm)),
        (f"offset, {name}", (half_width - of_reading) * scale),
    )
    terms = [Term("meter accuracy", half_width * scale, Shape.RECTANGULAR, shared=shared)]
    if ambient_celsius is not None:
        more = outside_window_si(accuracy, reading_ohm, ambient_celsius)
        if more > 0.0:
            part = ((f"gain in this room, {name}", math.copysign(more * scale, reading_ohm)),)
            terms.append(Term("meter temperature", more * scale, Shape.RECTANGULAR, shared=part))
    return terms


def thermal_emf_ohm(accuracy: RangeAccuracy, emf_volt: float) -> float:
    """Half-width that a thermal voltage in the contacts adds, ohms: emf / test current.

    0 where the meter's test current is unknown. Ten microvolt at one milliampere read as ten milliohm. That a
    meter *can* cancel it says nothing here: `correct` looks at the reading.

    Raises:
        InputImpossible: a negative voltage.
    """
    at_least_zero(emf_volt, "the thermal voltage in volts")
    return emf_volt / accuracy.test_current_a if accuracy.test_current_a else 0.0
