"""What a winding should read, how far it may lie from that, and how many turns or grams an ohm stands for.

Wire, turns and mean turn length in; ohms at the reference temperature out, with the budget that makes an
honest tolerance. Wind to turns and use ohms as the check: winding until the ohms match turns an error of the
spool into an error of turns. Not for judging a measured winding.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

from acquire.choices import Shape
from acquire.errors import InputImpossible
from acquire.physics.budget import Combined, combine
from acquire.physics.checks import above_zero, at_least_zero
from acquire.physics.copper import to_reference
from acquire.physics.wire import (
    METALS,
    WIRE_CELSIUS,
    Metal,
    SpoolCard,
    Spread,
    awg_diameter_mm,
    awg_spread,
    metric_spread,
    ohm_per_m,
)
from acquire.records.verdict import Term

MEAN_TURN_RELATIVE_U = 0.0075
"""Standard uncertainty of the mean turn length as a fraction: 1.5 % at 95 % (common practice, no source)."""


@dataclass(frozen=True, slots=True)
class Wire:
    """The wire of one winding.

    Attributes:
        ohms_per_metre: at 20 °C, one strand.
        diameter_mm: bare.
        metal: what it is drawn from.
        spread: how far ohms per metre may be off, None where a spool card gives `relative_u` instead.
        relative_u: standard uncertainty from a spool card, as a fraction.
        name: "AWG 36", "0.125 mm" or the spool.
    """

    ohms_per_metre: float
    diameter_mm: float
    metal: Metal
    spread: Spread | None
    relative_u: float
    name: str


def wire_of_awg(gauge: float, metal: Metal = METALS["copper"]) -> Wire:
    """Wire of an American gauge as bought; see `acquire.physics.wire.awg_diameter_mm`."""
    diameter_mm = awg_diameter_mm(gauge)
    return Wire(ohm_per_m(diameter_mm, metal), diameter_mm, metal, awg_spread(gauge), 0.0, f"AWG {gauge:g}")


def wire_of_diameter(diameter_mm: float, metal: Metal = METALS["magnet_wire"]) -> Wire:
    """Wire of a metric bare diameter as bought."""
    return Wire(
        ohm_per_m(diameter_mm, metal),
        diameter_mm,
        metal,
        metric_spread(diameter_mm),
        0.0,
        f"{diameter_mm:g} mm",
    )


def wire_of_spool(card: SpoolCard, metal: Metal = METALS["copper"]) -> Wire:
    """Wire whose own spool was measured: the table's spread no longer counts."""
    return Wire(card.ohms_per_metre, card.diameter_mm, metal, None, card.relative_u, f"spool {card.spool}")


@dataclass(frozen=True, slots=True)
class Design:
    """What is wound.

    Attributes:
        turns: > 0.
        mean_turn_m: mean length of a turn, metres, > 0.
        extra_m: wire between coils and to the ends, metres, >= 0.
        strands: wires in hand, side by side.
        turns_u: standard uncertainty of the count, turns.
        mean_turn_relative_u: standard uncertainty of the mean turn length as a fraction.
    """

    turns: float
    mean_turn_m: float
    extra_m: float = 0.0
    strands: int = 1
    turns_u: float = 0.0
    mean_turn_relative_u: float = MEAN_TURN_RELATIVE_U

    def __post_init__(self) -> None:
        """Refuse what cannot be wound.

        Raises:
            InputImpossible: turns, length or strands not above zero, or a negative uncertainty.
        """
        above_zero(self.turns, "the number of turns")
        above_zero(self.mean_turn_m, "the mean turn length in metres")
        at_least_zero(self.extra_m, "the extra length in metres")
        at_least_zero(self.turns_u, "the uncertainty of the turns")
        at_least_zero(self.mean_turn_relative_u, "the uncertainty of the mean turn length")
        if self.strands < 1:
            raise InputImpossible(f"A winding cannot have {self.strands} strands.", "Give one or more.")

    @property
    def length_m(self) -> float:
        """Length of one strand, metres."""
        return self.turns * self.mean_turn_m + self.extra_m


@dataclass(frozen=True, slots=True)
class ExpectedWinding:
    """What a winding should read.

    Attributes:
        reference_ohm: nominal at `reference_celsius`.
        reference_celsius: temperature it holds for.
        budget: of `reference_ohm`, expanded to 95 %.
        terms: lines of that budget, largest first.
        length_m: of one strand.
        mass_g: of the bare metal of all strands.
    """

    reference_ohm: float
    reference_celsius: float
    budget: Combined
    terms: tuple[Term, ...]
    length_m: float
    mass_g: float

    @property
    def tolerance(self) -> float:
        """Honest half-width as a fraction of nominal: what good units of this design scatter by (95 %)."""
        return self.budget.expanded / self.reference_ohm


def expect(
    design: Design, wire: Wire, *, reference_celsius: float = 20.0, measured_u_kelvin: float = 0.5
) -> ExpectedWinding:
    """What a winding of this wire should read at the reference temperature, and within what.

    R = ohms per metre · (turns · mean turn + extra) / strands, wire and winding at one temperature.

    Args:
        design: turns and lengths.
        wire: its ohms per metre and how well they are known.
        reference_celsius: temperature of the result.
        measured_u_kelvin: standard uncertainty of the winding's temperature when it will be measured.

    Raises:
        InputImpossible: a temperature below absolute zero or a negative uncertainty.
    """
    at_least_zero(measured_u_kelvin, "the uncertainty of the winding's temperature in kelvin")
    at_20 = wire.ohms_per_metre * design.length_m / design.strands
    ohm = to_reference(at_20, WIRE_CELSIUS, reference_celsius, wire.metal.conductor)
    turns_share = design.turns * design.mean_turn_m / design.length_m
    per_kelvin = 1.0 / (wire.metal.conductor.k_celsius + reference_celsius)
    terms = [
        _wire_term(wire, ohm),
        Term("mean turn length", ohm * turns_share * design.mean_turn_relative_u),
        Term("turns", ohm * turns_share * design.turns_u / design.turns),
        Term("winding temperature", ohm * per_kelvin * measured_u_kelvin),
    ]
    terms.sort(key=lambda term: term.standard_uncertainty_ohm, reverse=True)
    return ExpectedWinding(
        reference_ohm=ohm,
        reference_celsius=reference_celsius,
        budget=combine(terms),
        terms=tuple(terms),
        length_m=design.length_m,
        mass_g=mass_g(design.length_m * design.strands, wire.diameter_mm, wire.metal),
    )


def _wire_term(wire: Wire, ohm: float) -> Term:
    """Spread as bought is a limit; a spool card is a measurement."""
    if wire.spread is None:
        return Term("spool card", ohm * wire.relative_u)
    return Term("wire as bought", ohm * wire.spread.wider / math.sqrt(3.0), Shape.RECTANGULAR)


def turns_from_ohm(
    reference_ohm: float, design: Design, wire: Wire, *, reference_celsius: float = 20.0
) -> tuple[float, float]:
    """How many turns a resistance stands for, and the expanded (95 %) uncertainty of that count.

    With wire as bought this is a check and no count: 4 to 8 % of the turns. After a spool card it is far
    better. `design.turns` serves only as the point at which the uncertainty is taken.

    Args:
        reference_ohm: measured, at `reference_celsius`, > 0.
        design: mean turn, extra length and strands.
        wire: its ohms per metre.
        reference_celsius: temperature of the measured value.

    Returns:
        Turns and their expanded uncertainty. Turns are negative where the extra length alone has more ohms.

    Raises:
        InputImpossible: a resistance that is not above zero.
    """
    above_zero(reference_ohm, "the winding's resistance in ohms")
    at_20 = to_reference(reference_ohm, reference_celsius, WIRE_CELSIUS, wire.metal.conductor)
    length_m = at_20 * design.strands / wire.ohms_per_metre
    turns = (length_m - design.extra_m) / design.mean_turn_m
    whole = expect(design, wire, reference_celsius=reference_celsius)
    return turns, whole.tolerance * length_m / design.mean_turn_m


def mass_g(length_m: float, diameter_mm: float, metal: Metal = METALS["copper"]) -> float:
    """Mass of bare wire in grams; enamel adds 2 to 10 %."""
    return metal.density_g_per_cm3 * math.pi / 4.0 * diameter_mm**2 * length_m


def from_mass_and_ohm(
    bare_g: float, ohm_at_20: float, metal: Metal = METALS["copper"]
) -> tuple[float, float]:
    """Length in metres and diameter in mm of a wire weighed bare and measured: no micrometer needed.

    From R = rho · l / A and m = d · l · A: l = sqrt(R m / (rho d)), A = sqrt(rho m / (d R)).

    Args:
        bare_g: mass without enamel, grams, > 0.
        ohm_at_20: resistance at 20 °C, > 0.
        metal: of the wire.

    Raises:
        InputImpossible: mass or resistance not above zero.
    """
    above_zero(bare_g, "the mass in grams")
    above_zero(ohm_at_20, "the resistance in ohms")
    rho, density = metal.resistivity_ohm_mm2_per_m, metal.density_g_per_cm3
    length_m = math.sqrt(ohm_at_20 * bare_g / (rho * density))
    area = math.sqrt(rho * bare_g / (density * ohm_at_20))
    return length_m, math.sqrt(4.0 * area / math.pi)
