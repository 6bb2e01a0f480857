"""The resistance of a winding from its turns and its wire. Not for fill, weight or insulation of the wire."""

from __future__ import annotations

import math
import re
from collections.abc import Mapping
from types import MappingProxyType

from pydantic_core import PydanticCustomError

from acquire.errors import QuantityInvalid
from acquire.physics.copper import CONDUCTORS
from acquire.quantity import parse

RESISTIVITY_20C_OHM_M: Mapping[str, float] = MappingProxyType(
    {
        "copper": 0.017241e-6,
        "copper_iec": 0.017241e-6,
        "aluminium": 0.0280e-6,
        "aluminium_228": 0.0280e-6,
    }
)
"""At 20 °C, ohm metre. Copper: 1/58 microohm metre, IEC 60028, annealed. Aluminium: upper limit of annealed
wire, IEC 60121 (from memory); winding wire may be some percent lower: measure a spool where it matters."""

_GAUGE = re.compile(r"AWG[ ]?([0-9]{1,2})")
THICKEST_M = 0.02
THINNEST_M = 5e-6


def awg_diameter_m(gauge: int) -> float:
    """Bare diameter of an American wire gauge, metres.

    Source: ASTM B258: 0.005 inch (0.127 mm) for gauge 36, 0.46 inch for 0000, in 39 equal ratios.
    """
    return float(0.127e-3 * 92.0 ** ((36 - gauge) / 39.0))


def wire_diameter_m(given: object) -> float:
    """Bare diameter from "AWG 36" or "0.127 mm", metres; raises pydantic's kind of error."""
    if isinstance(given, str):
        if gauge := _GAUGE.fullmatch(given.strip()):
            return awg_diameter_m(int(gauge[1]))
        try:
            diameter_m = parse(given, "m")
        except QuantityInvalid:
            pass
        else:
            if THINNEST_M <= diameter_m <= THICKEST_M:
                return diameter_m
    raise PydanticCustomError(
        "sentence",
        "{what} {remedy}",
        {
            "what": f'"{str(given)[:40]}" is no gauge and no diameter of a wire.',
            "remedy": 'Write it like "AWG 36" or "0.127 mm" (bare).',
        },
    )


def winding_ohm(
    turns: int,
    mean_turn_m: float,
    diameter_m: float,
    *,
    extra_m: float = 0.0,
    strands: int = 1,
    material: str = "copper",
    celsius: float = 20.0,
) -> float:
    """Resistance of a winding from its geometry.

    R = rho · length / (strands · area), brought from 20 °C to the temperature wanted by the conductor's
    straight line (see `acquire.physics.copper`).

    Args:
        turns: >= 1.
        mean_turn_m: length of the mean turn, metres, > 0.
        diameter_m: of the bare conductor, metres, > 0.
        extra_m: wire beyond the turns, metres.
        strands: wires in hand, >= 1.
        material: name in `RESISTIVITY_20C_OHM_M`.
        celsius: temperature that the result holds at.

    Returns:
        Ohms.
    """
    length_m = turns * mean_turn_m + extra_m
    area_m2 = strands * math.pi * diameter_m**2 / 4.0
    k_celsius = CONDUCTORS[material].k_celsius
    return RESISTIVITY_20C_OHM_M[material] * length_m / area_m2 * (k_celsius + celsius) / (k_celsius + 20.0)
