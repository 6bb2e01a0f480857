"""Platinum thermometers read through any ohms meter: Pt100 and Pt1000 of IEC 60751, both directions.

Not for the winding's own temperature: that is `copper.winding_celsius`.

How it is wired matters more than its class. With two wires the leads read as temperature: 0.2 ohm is 0.5 K on
a Pt100, 0.05 K on a Pt1000. With three wires measure the loop of the two common wires as well and use
`three_wire_ohm`. With four wires nothing is left to correct.
"""

from __future__ import annotations

import math
from enum import Enum

from acquire.errors import InputImpossible
from acquire.physics.checks import above_zero, at_least_zero, finite
from acquire.physics.laws import solve

A = 3.9083e-3  # per °C
B = -5.775e-7  # per °C²
C = -4.183e-12  # per °C⁴, below 0 °C only
LOWEST_CELSIUS, HIGHEST_CELSIUS = -200.0, 850.0
"""Coefficients and span of the reference function: IEC 60751:2008, 5.1."""

_SLACK_KELVIN = 0.5


class Class(Enum):
    """Tolerance classes: limit in kelvin at 0 °C and its growth per degree.

    A and B: IEC 60751; AA and C of the 2008 edition from memory.
    """

    AA = (0.10, 0.0017)
    A = (0.15, 0.002)
    B = (0.30, 0.005)
    C = (0.60, 0.01)

    def limit_kelvin(self, celsius: float) -> float:
        """Half-width of what a sensor of this class may be off at a temperature."""
        at_zero, per_degree = self.value
        return at_zero + per_degree * abs(celsius)


def resistance_ohm(celsius: float, r0_ohm: float = 100.0) -> float:
    """Resistance of the sensor: R0 · (1 + A t + B t² [+ C (t - 100) t³ below 0 °C]).

    Args:
        celsius: -200 to 850.
        r0_ohm: resistance at 0 °C; 100 or 1000.

    Raises:
        InputImpossible: outside the span, or R0 not above zero.
    """
    above_zero(r0_ohm, "the sensor's resistance at 0 °C in ohms")
    if not LOWEST_CELSIUS <= finite(celsius, "the temperature in degrees Celsius") <= HIGHEST_CELSIUS:
        raise InputImpossible(
            f"A platinum thermometer is defined from -200 to 850 °C, not at {celsius:g} °C.",
            "Check the sensor and its wiring.",
        )
    return r0_ohm * _ratio(celsius)


def celsius(sensor_ohm: float, r0_ohm: float = 100.0) -> float:
    """Temperature from the sensor's resistance, exact inverse of `resistance_ohm`.

    Half a kelvin beyond either end is let through: a table's own last digit may lie there.

    Args:
        sensor_ohm: without leads.
        r0_ohm: resistance at 0 °C; 100 or 1000.

    Raises:
        InputImpossible: a resistance that no such sensor has between -200 and 850 °C: an open or shorted
            sensor, or a wrong R0.
    """
    above_zero(r0_ohm, "the sensor's resistance at 0 °C in ohms")
    ratio = finite(sensor_ohm, "the sensor's resistance in ohms") / r0_ohm
    if not _ratio(LOWEST_CELSIUS - _SLACK_KELVIN) <= ratio <= _ratio(HIGHEST_CELSIUS + _SLACK_KELVIN):
        raise InputImpossible(
            f"{sensor_ohm:g} Ω is no temperature of a sensor with {r0_ohm:g} Ω at 0 °C.",
            "Is it open, shorted, or of another type?",
        )
    if ratio >= 1.0:
        # The root of the quadratic, written so that it keeps its digits near 0 °C.
        return 2.0 * (ratio - 1.0) / (A + math.sqrt(A * A + 4.0 * B * (ratio - 1.0)))
    return solve(lambda t: _ratio(t) - ratio, LOWEST_CELSIUS - _SLACK_KELVIN, 0.0)


def ohm_per_kelvin(at_celsius: float, r0_ohm: float = 100.0) -> float:
    """Slope of the sensor at a temperature; 0.39 ohm per kelvin for a Pt100 in a workshop."""
    t = at_celsius
    slope = A + 2.0 * B * t + (C * (4.0 * t - 300.0) * t * t if t < 0.0 else 0.0)
    return r0_ohm * slope


def u_kelvin(at_celsius: float, u_ohm: float, sensor: Class = Class.B, r0_ohm: float = 100.0) -> float:
    """Standard uncertainty of the temperature: the sensor's class as a rectangular limit, and the ohms.

    Args:
        at_celsius: measured temperature.
        u_ohm: standard uncertainty of the sensor's resistance, leads included, ohms, >= 0.
        sensor: tolerance class.
        r0_ohm: resistance at 0 °C.

    Raises:
        InputImpossible: a negative or missing uncertainty.
    """
    at_least_zero(u_ohm, "the uncertainty of the sensor's resistance in ohms")
    of_class = sensor.limit_kelvin(at_celsius) / math.sqrt(3.0)
    return math.hypot(of_class, u_ohm / ohm_per_kelvin(at_celsius, r0_ohm))


def _ratio(t: float) -> float:
    below = C * (t - 100.0) * t**3 if t < 0.0 else 0.0
    return 1.0 + A * t + B * t * t + below
