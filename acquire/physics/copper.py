"""Resistance of a conductor at another temperature, and the temperature of a winding from its resistance.

The rule is R_ref = R · (k + t_ref) / (k + t): the straight line through the inferred zero of resistance at
-k degrees Celsius. It holds for the metal of the winding, about -40 to 200 °C. Not for contact resistance,
iron or resistance wire, and not for knowing what the winding's temperature is.
"""

from __future__ import annotations

import re
from dataclasses import dataclass, replace
from types import MappingProxyType

from acquire.errors import InputImpossible
from acquire.physics.checks import above_zero, finite, temperature


@dataclass(frozen=True, slots=True)
class Conductor:
    """A metal and its rule of temperature.

    Attributes:
        name: as sheets write it.
        k_celsius: its resistance, drawn out as a straight line, would vanish at -k_celsius degrees Celsius.
        source: where the constant comes from.
    """

    name: str
    k_celsius: float
    source: str


CONDUCTORS = MappingProxyType(
    {
        conductor.name: conductor
        for conductor in (
            Conductor(
                "copper",
                234.5,
                "annealed copper, alpha 0.00393 per kelvin at 20 °C: IEC 60028, NBS Handbook 100 (1966)",
            ),
            Conductor(
                "copper_iec", 235.0, "IEC 60034-1, 8.6.2, resistance method, copper (clause from memory)"
            ),
            Conductor(
                "aluminium", 225.0, "IEC 60034-1, 8.6.2, resistance method, aluminium (clause from memory)"
            ),
            Conductor(
                "aluminium_228",
                228.0,
                "aluminium with alpha 0.00403 per kelvin at 20 °C, as engineering handbooks give it",
            ),
        )
    }
)
"""Conductors by the name a sheet gives. `copper` and `copper_iec` differ by less than 90 ppm from 10 to 25
°C; the two aluminiums differ because published sources do."""


def conductor_from_alpha(alpha_per_kelvin: float, at_celsius: float = 20.0) -> Conductor:
    """A conductor whose temperature coefficient is given instead of k.

    k = 1 / alpha - t, from R = R_t · (1 + alpha · (T - t)), which is the same straight line.

    Args:
        alpha_per_kelvin: relative change of resistance per kelvin at `at_celsius`, > 0.
        at_celsius: temperature that alpha is stated for.

    Raises:
        InputImpossible: alpha is not above zero, or the temperature is below absolute zero.
    """
    above_zero(alpha_per_kelvin, "the temperature coefficient per kelvin")
    temperature(at_celsius)
    return Conductor(
        name=f"alpha {alpha_per_kelvin:g} at {at_celsius:g}",
        k_celsius=1.0 / alpha_per_kelvin - at_celsius,
        source=f"temperature coefficient {alpha_per_kelvin:g} per kelvin at {at_celsius:g} °C, as given",
    )


_ALPHA = re.compile(r"alpha ([0-9]+\.[0-9]+(?:[eE]-[0-9]+)?)(?: at (-?[0-9]+(?:\.[0-9]+)?))?")


def conductor_named(name: str) -> Conductor:
    """The conductor that a sheet names: one of `CONDUCTORS`, or "alpha 0.0039 at 20" with its coefficient.

    Args:
        name: the temperature behind "at" in degrees Celsius; left out, 20.

    Raises:
        InputImpossible: no such conductor.
    """
    if name in CONDUCTORS:
        return CONDUCTORS[name]
    if match := _ALPHA.fullmatch(name):
        return replace(conductor_from_alpha(float(match[1]), float(match[2] or 20.0)), name=name)
    raise InputImpossible(
        f'"{name}" is no known conductor.',
        f'Known are {", ".join(CONDUCTORS)}, and a coefficient such as "alpha 0.0039 at 20".',
    )


def to_reference(
    resistance_ohm: float, celsius: float, reference_celsius: float, conductor: Conductor
) -> float:
    """The resistance that a winding would have at the reference temperature.

    Source: R_ref = R · (k + t_ref) / (k + t), IEC 60034-1, 8.6.2 solved for the cold resistance.

    Args:
        resistance_ohm: measured at `celsius`, ohms, without its leads. A short may read slightly negative.
        celsius: temperature of the winding itself, not of the room.
        reference_celsius: temperature to convert to.
        conductor: metal of the winding.

    Raises:
        InputImpossible: a temperature below absolute zero or so low that the rule has no meaning.
    """
    finite(resistance_ohm, "the resistance in ohms")
    return resistance_ohm * _above(reference_celsius, conductor) / _above(celsius, conductor)


def winding_celsius(
    resistance_ohm: float, reference_ohm: float, reference_celsius: float, conductor: Conductor
) -> float:
    """The temperature of a winding that is its own thermometer.

    Source: t = (R / R_ref) · (k + t_ref) - k, IEC 60034-1, 8.6.2, rise by resistance.

    Args:
        resistance_ohm: now, ohms, > 0.
        reference_ohm: of the same winding at `reference_celsius`, ohms, > 0.
        reference_celsius: temperature the reference value holds for.
        conductor: metal of the winding.

    Raises:
        InputImpossible: a resistance that is not above zero, or a temperature below absolute zero.
    """
    above_zero(resistance_ohm, "the resistance in ohms")
    above_zero(reference_ohm, "the reference resistance in ohms")
    ratio = resistance_ohm / reference_ohm
    return ratio * _above(reference_celsius, conductor) - conductor.k_celsius


def fraction_per_kelvin(celsius: float, conductor: Conductor) -> float:
    """Relative change of resistance per kelvin at a temperature: 1 / (k + t).

    For copper at 20 °C this is 0.00393. Times the reference value it is also the sensitivity (with a minus
    sign) of `to_reference` to the winding's temperature.

    Raises:
        InputImpossible: as `to_reference`.
    """
    return 1.0 / _above(celsius, conductor)


def _above(celsius: float, conductor: Conductor) -> float:
    """Degrees above the conductor's inferred zero of resistance."""
    above = temperature(celsius) + conductor.k_celsius
    if above <= 0.0:
        raise InputImpossible(
            f"At {celsius:g} °C the rule for {conductor.name} (k = {conductor.k_celsius:g}) has no meaning.",
            "Check the temperature.",
        )
    return above
