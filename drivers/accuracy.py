"""What a maker states of a meter's accuracy on one range, as plain numbers. Files: `drivers.models`."""

from __future__ import annotations

from dataclasses import dataclass

from drivers.reading import Quantity


@dataclass(frozen=True, slots=True)
class RangeAccuracy:
    """The accuracy statement of one range, in fractions and SI units.

    Attributes:
        fraction_of_reading, fraction_of_range, counts: parts of the limit (half-width); 0.8 % is 0.008.
        resolution_si: worth of one count.
        range_full_scale_si: full scale.
        reading_per_kelvin, range_per_kelvin, limit_per_kelvin: temperature coefficient outside
            `window_celsius`, as fractions of reading, of range and of the whole limit per kelvin.
        window_celsius: ambient temperatures between which the limit holds as it stands.
        noise_counts: standard deviation of single readings, in counts.
        test_current_a: current through the unit, amperes, None when unknown.
        quantity: function of the meter.
        source: where the figures come from.
    """

    fraction_of_reading: float
    resolution_si: float
    counts: float = 0.0
    fraction_of_range: float = 0.0
    range_full_scale_si: float = 0.0
    reading_per_kelvin: float = 0.0
    range_per_kelvin: float = 0.0
    limit_per_kelvin: float = 0.0
    window_celsius: tuple[float, float] = (18.0, 28.0)
    noise_counts: float = 0.0
    test_current_a: float | None = None
    quantity: Quantity = Quantity.RESISTANCE
    source: str = ""
