"""Round wire: diameter, ohms per metre at 20 °C, how much they spread, and the spool that was measured.

American gauges follow a geometric series down to 40 and nominal diameters from 41 on; metric wire is known by
its diameter. Diameters are of the bare conductor. Not for turns and windings: `winding` builds on this.
"""

from __future__ import annotations

import math
from bisect import bisect_left
from dataclasses import dataclass
from types import MappingProxyType

from acquire.errors import InputImpossible
from acquire.physics.checks import above_zero, at_least_zero
from acquire.physics.copper import CONDUCTORS, Conductor, to_reference

MM_PER_INCH = 25.4
WIRE_CELSIUS = 20.0
"""Temperature of all wire tables here, degrees Celsius."""


@dataclass(frozen=True, slots=True)
class Metal:
    """What wire is drawn from.

    Attributes:
        name: as a command or sheet writes it.
        resistivity_ohm_mm2_per_m: at 20 °C.
        density_g_per_cm3: for weighing.
        conductor: its rule of temperature.
        source: where the figures come from.
    """

    name: str
    resistivity_ohm_mm2_per_m: float
    density_g_per_cm3: float
    conductor: Conductor
    source: str


METALS = MappingProxyType(
    {
        metal.name: metal
        for metal in (
            Metal(
                "copper",
                0.15328 / 8.89,
                8.89,
                CONDUCTORS["copper"],
                "annealed copper standard, 0.15328 ohm g/m², 8.89 g/cm³: NBS Handbook 100 (1966), IEC 60028",
            ),
            Metal(
                "magnet_wire",
                1.0 / 58.5,
                8.89,
                CONDUCTORS["copper"],
                "58.5 MS/m, nominal of enamelled copper wire (IEC 60317-0-1, inferred from a maker's table)",
            ),
            Metal(
                "aluminium",
                0.15328 / 8.89 / 0.61,
                2.703,
                CONDUCTORS["aluminium_228"],
                "61 % of the annealed copper standard (from memory)",
            ),
        )
    }
)
"""Metals by name. American tables use `copper` (58.0 MS/m), metric enamelled wire `magnet_wire` (58.5 MS/m):
the two differ by 0.86 %, so one tolerance check must not mix them."""

_MIL_BEYOND_40 = MappingProxyType({41: 2.8, 42: 2.5, 43: 2.2, 44: 2.0})
"""Nominal diameters in thousandths of an inch where the series no longer holds (ASTM B258, from memory; NBS
Handbook 100 says that they are nominal). The series would be up to 2.3 % wrong in resistance here."""

FINEST_AWG = 44
COARSEST_AWG = -3
"""AWG 0000."""


def awg_diameter_mm(gauge: float) -> float:
    """Bare diameter of an American gauge, mm.

    Source: d = 0.005 inch · 92^((36 - n)/39), ASTM B258, for gauges up to 40 (0000 is -3, halves are
    allowed); nominal diameters for 41 to 44.

    Args:
        gauge: -3 (0000) to 40 in any step, or a whole number up to 44.

    Raises:
        InputImpossible: a gauge outside the tables.
    """
    if gauge in _MIL_BEYOND_40:
        return _MIL_BEYOND_40[int(gauge)] * MM_PER_INCH / 1000.0
    if not COARSEST_AWG <= gauge <= 40:
        raise InputImpossible(
            f"There is no AWG {gauge:g} in the tables, which go from 0000 to {FINEST_AWG}.",
            "Give the bare diameter in millimetres instead.",
        )
    return 0.005 * MM_PER_INCH * math.pow(92.0, (36.0 - gauge) / 39.0)


def nearest_awg(diameter_mm: float) -> float:
    """The gauge, in half sizes up to 40 and whole ones beyond, whose diameter comes nearest as a ratio.

    Raises:
        InputImpossible: a diameter that is not above zero.
    """
    above_zero(diameter_mm, "the wire's diameter in millimetres")
    halves = [n / 2.0 for n in range(2 * COARSEST_AWG, 81)] + [float(n) for n in _MIL_BEYOND_40]
    return min(halves, key=lambda gauge: abs(math.log(awg_diameter_mm(gauge) / diameter_mm)))


def area_mm2(diameter_mm: float) -> float:
    """Cross-section of a round wire.

    Raises:
        InputImpossible: a diameter that is not above zero.
    """
    return math.pi / 4.0 * above_zero(diameter_mm, "the wire's diameter in millimetres") ** 2


def ohm_per_m(diameter_mm: float, metal: Metal = METALS["copper"]) -> float:
    """Resistance of one metre at 20 °C, nominal: resistivity / cross-section.

    Raises:
        InputImpossible: a diameter that is not above zero.
    """
    return metal.resistivity_ohm_mm2_per_m / area_mm2(diameter_mm)


def diameter_from_ohm_per_m(ohms_per_metre: float, metal: Metal = METALS["copper"]) -> float:
    """Diameter in mm that has this resistance per metre at 20 °C; inverse of `ohm_per_m`.

    Raises:
        InputImpossible: a resistance that is not above zero.
    """
    above_zero(ohms_per_metre, "the resistance of a metre in ohms")
    return math.sqrt(4.0 / math.pi * metal.resistivity_ohm_mm2_per_m / ohms_per_metre)


@dataclass(frozen=True, slots=True)
class Spread:
    """How far ohms per metre may lie from nominal as bought, as fractions.

    Attributes:
        below, above: limits, both >= 0; 0.05 is 5 %.
        source: where they come from.
    """

    below: float
    above: float
    source: str

    @property
    def wider(self) -> float:
        """The larger of the two."""
        return max(self.below, self.above)


_AWG_SPREAD = (
    (18, 0.020, 0.020),
    (20, 0.019, 0.019),
    (22, 0.024, 0.024),
    (24, 0.020, 0.020),
    (26, 0.025, 0.025),
    (28, 0.016, 0.016),
    (30, 0.020, 0.020),
    (32, 0.025, 0.025),
    (34, 0.031, 0.033),
    (35, 0.035, 0.037),
    (36, 0.039, 0.041),
    (38, 0.048, 0.052),
    (40, 0.062, 0.068),
    (42, 0.075, 0.085),
)


def awg_spread(gauge: float) -> Spread:
    """Spread of ohms per metre of American gauges as makers publish it, straight between the known gauges.

    18 to 35 from published minimum and maximum, 36 to 42 from the diameter limits (42 from memory). Beyond
    either end the last known spread is kept.
    """
    gauges = [row[0] for row in _AWG_SPREAD]
    at = bisect_left(gauges, gauge)
    if at == 0 or at == len(gauges):
        _, below, above = _AWG_SPREAD[min(at, len(gauges) - 1)]
    else:
        (g0, b0, a0), (g1, b1, a1) = _AWG_SPREAD[at - 1 : at + 1]
        part = (gauge - g0) / (g1 - g0)
        below, above = b0 + part * (b1 - b0), a0 + part * (a1 - a0)
    return Spread(below, above, "makers' minimum and maximum for American gauges")


FINEST_TOLERANCED_MM = 0.071


def metric_spread(diameter_mm: float) -> Spread:
    """Spread of ohms per metre of metric wire that its diameter tolerance allows.

    Tolerances on diameter: 0.003 mm from 0.071 to 0.224 mm, 0.004 to 0.355, 0.005 to 0.5, 1 % beyond (a
    maker's table after IEC 60317). Finer wire is sold by resistance, within 10 % (a maker's table for 0.020
    mm).

    Raises:
        InputImpossible: a diameter that is not above zero.
    """
    above_zero(diameter_mm, "the wire's diameter in millimetres")
    if diameter_mm < FINEST_TOLERANCED_MM:
        return Spread(0.10, 0.10, "makers' limits on the resistance of fine wire")
    tolerance_mm = _metric_tolerance_mm(diameter_mm)
    thick, thin = diameter_mm + tolerance_mm, diameter_mm - tolerance_mm
    return Spread(
        below=1.0 - (diameter_mm / thick) ** 2,
        above=(diameter_mm / thin) ** 2 - 1.0,
        source=f"diameter tolerance of {tolerance_mm:.3f} mm, a maker's table after IEC 60317",
    )


def _metric_tolerance_mm(diameter_mm: float) -> float:
    steps = ((0.2245, 0.003), (0.3555, 0.004), (0.5005, 0.005))
    return next((tolerance for up_to, tolerance in steps if diameter_mm <= up_to), 0.01 * diameter_mm)


@dataclass(frozen=True, slots=True)
class SpoolCard:
    """One spool whose wire was measured; narrows what a winding made from it should read.

    Attributes:
        spool: number or name on the spool.
        ohms_per_metre: at 20 °C.
        relative_u: its standard uncertainty as a fraction.
        sample_m: length that was measured.
        diameter_mm: bare diameter that this resistance answers to, nominal metal.
    """

    spool: str
    ohms_per_metre: float
    relative_u: float
    sample_m: float
    diameter_mm: float


def measure_spool(
    spool: str,
    sample_ohm: float,
    sample_m: float,
    celsius: float,
    *,
    u_ohm: float,
    u_m: float = 0.002,
    u_kelvin: float = 0.5,
    metal: Metal = METALS["copper"],
) -> SpoolCard:
    """A spool card from a measured length of its wire.

    Args:
        spool: number or name on the spool.
        sample_ohm: measured, leads off, > 0; four wires for anything but fine wire.
        sample_m: length between the contacts, metres, > 0; one metre, or ten of thick wire.
        celsius: temperature of the sample.
        u_ohm: standard uncertainty of the resistance, ohms, >= 0.
        u_m: of the length, metres, >= 0.
        u_kelvin: of the temperature, >= 0.
        metal: of the wire.

    Raises:
        InputImpossible: a length or resistance not above zero, a negative uncertainty, a temperature below
            absolute zero.
    """
    above_zero(sample_ohm, "the sample's resistance in ohms")
    above_zero(sample_m, "the sample's length in metres")
    for value, what in ((u_ohm, "resistance"), (u_m, "length"), (u_kelvin, "temperature")):
        at_least_zero(value, f"the uncertainty of the sample's {what}")
    per_metre = to_reference(sample_ohm / sample_m, celsius, WIRE_CELSIUS, metal.conductor)
    per_kelvin = 1.0 / (metal.conductor.k_celsius + celsius)
    return SpoolCard(
        spool=spool,
        ohms_per_metre=per_metre,
        relative_u=math.hypot(u_ohm / sample_ohm, u_m / sample_m, u_kelvin * per_kelvin),
        sample_m=sample_m,
        diameter_mm=diameter_from_ohm_per_m(per_metre, metal),
    )
