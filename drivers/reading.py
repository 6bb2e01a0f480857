"""The reading: the one record both sides of the house share.

A `Reading` is what a meter said about one conversion, in SI units, with what is known of the range and
the flags at that moment. It is not for anything computed: settling, correcting and judging have records of
their own in `acquire.records`.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from enum import StrEnum


class Quantity(StrEnum):
    """What was measured; `UNIT_OF` gives its SI unit."""

    RESISTANCE = "resistance"
    RESISTANCE_4W = "resistance_4w"
    CONTINUITY = "continuity"
    DIODE = "diode"
    VOLTAGE_DC = "voltage_dc"
    VOLTAGE_AC = "voltage_ac"
    CURRENT_DC = "current_dc"
    CURRENT_AC = "current_ac"
    CAPACITANCE = "capacitance"
    INDUCTANCE = "inductance"
    QUALITY_FACTOR = "quality_factor"
    DISSIPATION_FACTOR = "dissipation_factor"
    INSULATION = "insulation"
    TEMPERATURE = "temperature"
    FREQUENCY = "frequency"


UNIT_OF: dict[Quantity, str] = {
    Quantity.RESISTANCE: "ohm",
    Quantity.RESISTANCE_4W: "ohm",
    Quantity.CONTINUITY: "ohm",
    Quantity.DIODE: "V",
    Quantity.VOLTAGE_DC: "V",
    Quantity.VOLTAGE_AC: "V",
    Quantity.CURRENT_DC: "A",
    Quantity.CURRENT_AC: "A",
    Quantity.CAPACITANCE: "F",
    Quantity.INDUCTANCE: "H",
    Quantity.QUALITY_FACTOR: "1",
    Quantity.DISSIPATION_FACTOR: "1",
    Quantity.INSULATION: "ohm",
    Quantity.TEMPERATURE: "°C",
    Quantity.FREQUENCY: "Hz",
}
"""Unit of `Reading.value_si`. Temperature is in degrees Celsius, the trade's own unit, not in kelvin."""

OHMS = frozenset({Quantity.RESISTANCE, Quantity.RESISTANCE_4W, Quantity.CONTINUITY})
"""The quantities in which a winding's resistance may arrive."""


class Kind(StrEnum):
    """Whether the conversion gave a number."""

    VALUE = "value"
    OVERLOAD = "overload"
    NEGATIVE_OVERLOAD = "negative_overload"
    NO_READING = "no_reading"


class Origin(StrEnum):
    """Where a range or a resolution is known from, strongest first."""

    READ_BACK = "read_back"
    SENT = "sent"
    INFERRED = "inferred"
    UNKNOWN = "unknown"


class Ranging(StrEnum):
    """Who chooses a meter's range: a hand on its dial, the meter itself, or whoever sets it over the link."""

    DIAL = "dial"
    AUTO = "auto"
    SET = "set"


class Flag(StrEnum):
    """Signs on a meter's display, or states it was seen to be in, that change what a reading is worth."""

    HOLD = "hold"
    LOW_BATTERY = "low_battery"
    AUTO_RANGE = "auto_range"
    RELATIVE = "relative"
    MINIMUM = "minimum"
    MAXIMUM = "maximum"
    AUTO_OFF = "auto_off"
    OFFSET_COMPENSATED = "offset_compensated"
    TYPED = "typed"


@dataclass(frozen=True, slots=True)
class Reading:
    """One conversion of one meter.

    Attributes:
        meter_id: name of the meter in the bench file, not empty.
        quantity: what was measured.
        kind: whether there is a number. An overload is a value of its own, never an error.
        value_si: the number in `UNIT_OF[quantity]`; None unless `kind` is `Kind.VALUE`; always finite.
        range_full_scale_si: full scale of the range in use, same unit; None when unknown.
        resolution_si: worth of one count of that range, same unit, > 0; None when unknown.
        range_origin: where range and resolution are known from.
        flags: signs seen with this conversion.
        flags_visible: signs this meter can show at all over this link. A sign that is not in here is
            unknown, not off.
        monotonic_s: seconds of the driver's monotonic clock when the conversion ended.
        utc_s: seconds since 1970-01-01T00:00:00 UTC of the same instant.
        conversion: number of the conversion since the meter was opened. Frames that repeat one conversion
            carry the same number, so that they count once.
        raw: the bytes it was decoded from.
    """

    meter_id: str
    quantity: Quantity
    kind: Kind
    value_si: float | None
    monotonic_s: float
    utc_s: float
    conversion: int
    range_full_scale_si: float | None = None
    resolution_si: float | None = None
    range_origin: Origin = Origin.UNKNOWN
    flags: frozenset[Flag] = frozenset()
    flags_visible: frozenset[Flag] = frozenset()
    raw: bytes = b""

    def __post_init__(self) -> None:
        """Refuse what no meter can have said.

        Raises:
            ValueError: a VALUE without a finite number, or a number without VALUE.
        """
        if self.kind is Kind.VALUE:
            if self.value_si is None or not math.isfinite(self.value_si):
                raise ValueError(f"a reading of kind 'value' needs a finite number, not {self.value_si!r}")
        elif self.value_si is not None:
            raise ValueError(f"a reading of kind {self.kind.value!r} carries no number")
