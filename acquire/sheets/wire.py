"""The wire of a winding as sheets name it, and the winding's resistance from it. Formulas: physics/wire."""

from __future__ import annotations

import re
from collections.abc import Mapping
from types import MappingProxyType

from pydantic_core import PydanticCustomError

from acquire.errors import InputImpossible, QuantityInvalid
from acquire.physics.copper import conductor_named
from acquire.physics.wire import METALS, Metal, awg_diameter_mm, ohm_per_m
from acquire.quantity import parse

METAL_OF: Mapping[str, Metal] = MappingProxyType(
    {
        "copper": METALS["copper"],
        "copper_iec": METALS["copper"],
        "aluminium": METALS["aluminium"],
        "aluminium_228": METALS["aluminium"],
    }
)
"""Resistivity by conductor: the conductors of one metal differ in their rule of temperature only."""

_GAUGE = re.compile(r"AWG[ ]?([0-9]{1,2})")
THICKEST_M = 0.02
THINNEST_M = 5e-6
"""Bare diameters between which a wire is taken to be one; a slip of the prefix lies outside."""


def wire_diameter_m(given: object) -> float:
    """Bare diameter from "AWG 36" or "0.127 mm", metres; raises pydantic's kind of error."""
    text = given.strip() if isinstance(given, str) else ""
    try:
        gauge = _GAUGE.fullmatch(text)
        diameter_m = awg_diameter_mm(int(gauge[1])) / 1000.0 if gauge else parse(text, "m")
    except InputImpossible as error:
        raise _refusal(error.what, error.hint) from error
    except QuantityInvalid:
        diameter_m = 0.0
    if not THINNEST_M <= diameter_m <= THICKEST_M:
        what = f'"{str(given)[:40]}" is no gauge and no diameter of a wire.'
        raise _refusal(what, 'Write it like "AWG 36" or "0.127 mm" (bare).')
    return diameter_m


def _refusal(what: str, remedy: str) -> PydanticCustomError:
    return PydanticCustomError("sentence", "{what} {remedy}", {"what": what, "remedy": remedy})


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

    Resistance per metre at 20 °C times length, by the strands, brought to the temperature wanted by the
    conductor's straight line (see `acquire.physics.copper`).

    Args:
        turns: >= 1.
        mean_turn_m: length of the mean turn, metres, > 0.
        diameter_m: of the bare conductor, metres, > 0.
        extra_m: wire beyond the turns, metres.
        strands: wires in hand, >= 1.
        material: name of a conductor, a key of `METAL_OF`.
        celsius: temperature that the result holds at.

    Returns:
        Ohms.
    """
    length_m = turns * mean_turn_m + extra_m
    at_20c_ohm = ohm_per_m(1000.0 * diameter_m, METAL_OF[material]) * length_m / strands
    k_celsius = conductor_named(material).k_celsius
    return at_20c_ohm * (k_celsius + celsius) / (k_celsius + 20.0)
