"""Where a temperature comes from and how well it is known: a thermometer, a platinum sensor, or typed in.

Not for the question whether the winding has taken the room's temperature: `warm` answers that.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from enum import StrEnum

from acquire.physics.checks import at_least_zero, temperature
from acquire.physics.pt100 import Class, celsius, u_kelvin

DRIFT_KELVIN_PER_HOUR = 1.0
"""Standard uncertainty that a temperature gains per hour since it was read. Workshop choice: a room with its
door opened and closed moves by a degree or two an hour."""

TYPED_LIMIT_KELVIN = 1.0
"""Half-width of a wall thermometer read by eye (common practice, no source)."""


class Source(StrEnum):
    """How the temperature came in."""

    THERMOMETER = "thermometer"
    PLATINUM = "platinum"
    TYPED = "typed"


@dataclass(frozen=True, slots=True)
class RoomTemperature:
    """One temperature with its age.

    Attributes:
        celsius: as read.
        u_kelvin: standard uncertainty when it was read.
        utc_s: when that was.
        source: how it came in.
    """

    celsius: float
    u_kelvin: float
    utc_s: float
    source: Source

    def u_now_kelvin(self, now_utc_s: float, drift_kelvin_per_hour: float = DRIFT_KELVIN_PER_HOUR) -> float:
        """Standard uncertainty at a later time: it grows with age as a root sum of squares.

        Raises:
            InputImpossible: a negative drift.
        """
        at_least_zero(drift_kelvin_per_hour, "the drift in kelvin per hour")
        hours = max(0.0, now_utc_s - self.utc_s) / 3600.0
        return math.hypot(self.u_kelvin, drift_kelvin_per_hour * hours)


def typed(typed_celsius: float, utc_s: float, limit_kelvin: float = TYPED_LIMIT_KELVIN) -> RoomTemperature:
    """A temperature typed in by a person, known to within a limit (rectangular, JCGM 100:2008, 4.3.7).

    Raises:
        InputImpossible: below absolute zero, or a negative limit.
    """
    at_least_zero(limit_kelvin, "the limit of the thermometer in kelvin")
    return RoomTemperature(temperature(typed_celsius), limit_kelvin / math.sqrt(3.0), utc_s, Source.TYPED)


def read(measured_celsius: float, limit_kelvin: float, utc_s: float) -> RoomTemperature:
    """A temperature from a thermometer whose maker states a limit.

    Raises:
        InputImpossible: below absolute zero, or a negative limit.
    """
    at_least_zero(limit_kelvin, "the limit of the thermometer in kelvin")
    return RoomTemperature(
        temperature(measured_celsius), limit_kelvin / math.sqrt(3.0), utc_s, Source.THERMOMETER
    )


def platinum(
    sensor_ohm: float, u_ohm: float, utc_s: float, *, sensor: Class = Class.B, r0_ohm: float = 100.0
) -> RoomTemperature:
    """A temperature from a platinum sensor on an ohms meter (IEC 60751).

    Args:
        sensor_ohm: leads already off.
        u_ohm: standard uncertainty of that, meter and leads.
        utc_s: when it was read.
        sensor: tolerance class.
        r0_ohm: 100 or 1000.

    Raises:
        InputImpossible: a resistance that is no temperature, or a negative uncertainty.
    """
    t = celsius(sensor_ohm, r0_ohm)
    return RoomTemperature(t, u_kelvin(t, u_ohm, sensor, r0_ohm), utc_s, Source.PLATINUM)
