"""Units of measure as instruments write them: which quantity, and what one is worth in SI.

Not for numbers themselves: each protocol has its own grammar of those.
"""

from __future__ import annotations

from collections.abc import Sequence

from drivers.reading import Quantity

PREFIXES = {"": 1.0, "p": 1e-12, "n": 1e-9, "u": 1e-6, "µ": 1e-6, "μ": 1e-6, "m": 1e-3, "k": 1e3, "K": 1e3,
            "M": 1e6, "G": 1e9}  # fmt: skip
"""SI prefixes (SI brochure, 9th edition, table 7), and K, which some rigs write for kilo."""

UNITS: dict[str, Quantity] = {
    "ohm": Quantity.RESISTANCE,
    "ohms": Quantity.RESISTANCE,
    "ω": Quantity.RESISTANCE,
    "ohm4w": Quantity.RESISTANCE_4W,
    "v": Quantity.VOLTAGE_DC,
    "vdc": Quantity.VOLTAGE_DC,
    "vac": Quantity.VOLTAGE_AC,
    "a": Quantity.CURRENT_DC,
    "adc": Quantity.CURRENT_DC,
    "aac": Quantity.CURRENT_AC,
    "f": Quantity.CAPACITANCE,
    "h": Quantity.INDUCTANCE,
    "hz": Quantity.FREQUENCY,
    "c": Quantity.TEMPERATURE,
    "degc": Quantity.TEMPERATURE,
    "°c": Quantity.TEMPERATURE,
    "celsius": Quantity.TEMPERATURE,
}
_FAHRENHEIT = frozenset({"degf", "°f", "fahrenheit"})


def meaning(prefix: str, unit: str, tags: Sequence[str] = ()) -> tuple[Quantity | None, float, float]:
    """Quantity, scale and offset to SI for a unit of measure."""
    if prefix not in PREFIXES:
        raise ValueError(f"{prefix!r} is no SI prefix")
    name = unit.strip().lower().replace("Ω".lower(), "ω")
    if not name:
        return None, PREFIXES[prefix], 0.0
    if name in _FAHRENHEIT:
        return Quantity.TEMPERATURE, PREFIXES[prefix] * 5 / 9, -32 * 5 / 9
    quantity = UNITS.get(name)
    if quantity is None:
        raise ValueError(f"{unit!r} is no unit of measure known here")
    if quantity is Quantity.RESISTANCE and "4W" in tags:
        quantity = Quantity.RESISTANCE_4W
    return quantity, PREFIXES[prefix], 0.0
