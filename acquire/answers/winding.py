"""`steadyohm winding`: ohms from turns, turns from ohms, or the wire from its mass and ohms."""

from __future__ import annotations

import math
from pathlib import Path
from typing import Annotated, Any

import typer

from acquire.answers.options import say
from acquire.errors import InputImpossible
from acquire.files.spool_cards import read_spools
from acquire.physics.checks import COLDEST_CELSIUS, HOTTEST_CELSIUS, of_winding
from acquire.physics.copper import fraction_per_kelvin, to_reference, winding_celsius
from acquire.physics.winding import (
    Design,
    Wire,
    expect,
    from_mass_and_ohm,
    turns_from_ohm,
    wire_of_awg,
    wire_of_diameter,
    wire_of_spool,
)
from acquire.physics.wire import METALS, Metal, awg_diameter_mm, nearest_awg
from acquire.quantity import possible, show


def winding_lines(
    wire: str | None,
    mean_turn: str | None,
    *,
    turns: float | None,
    ohm: str | None,
    strands: int,
    extra: str,
    spools: Path | None,
    celsius: float,
    metal: str | None = None,
) -> list[str]:
    """The answer, a line each.

    Args:
        wire: gauge, bare diameter, or the name of a spool when `spools` is given.
        mean_turn: mean length of a turn with its unit.
        turns: to get ohms.
        ohm: measured resistance with its unit, to get turns; one of the two is needed.
        extra: length of wire between coils and to the ends, with its unit.
        strands: wires in hand.
        spools: file of spool cards.
        celsius: temperature of `ohm`.
        metal: a name in `METALS`; None: copper by gauge, enamelled copper wire by diameter.

    Raises:
        InputImpossible, QuantityInvalid, FileInvalid: something typed cannot be; says what.
    """
    if wire is None or mean_turn is None or (turns is None and ohm is None):
        raise InputImpossible(
            "That is not enough to compute from.",
            "Give --wire and --mean-turn with --turns or --ohm, or --mass with --ohm.",
        )
    chosen = wire_of(wire, spools, metal)
    length_m, extra_m = possible(mean_turn, "m"), possible(extra, "m")
    per_metre = show(chosen.ohms_per_metre, "Ω")
    lines = [f"{chosen.name}: {per_metre} per metre at 20 °C, {chosen.diameter_mm:.4g} mm bare"]
    if turns is not None:
        lines += _ohms(Design(turns, length_m, extra_m, strands), chosen)
    if ohm is not None:
        lines += _turns(possible(ohm), celsius, Design(turns or 1000.0, length_m, extra_m, strands), chosen)
    return lines


def temperature_line(
    reference: str, ohm: str | None, metal_name: str | None, at_celsius: float = 20.0
) -> str:
    """The temperature of a winding whose resistance at one temperature is on file: its own thermometer.

    Args:
        reference: its resistance at `at_celsius`, with its unit.
        ohm: its resistance now, with its unit.
        metal_name: a name in `METALS`; None: copper.
        at_celsius: temperature that the reference holds for.

    Raises:
        InputImpossible, QuantityInvalid: something typed is missing or cannot be; says what.
    """
    if ohm is None:
        raise InputImpossible("What does the winding read now?", "Give --ohm.")
    conductor = _metal(metal_name or "copper").conductor
    now_ohm, reference_ohm = possible(ohm), possible(reference)
    celsius = winding_celsius(now_ohm, reference_ohm, of_winding(at_celsius), conductor)
    read = f"{show(now_ohm, 'Ω')} of a winding that has {show(reference_ohm, 'Ω')} at {at_celsius:g} °C"
    if not COLDEST_CELSIUS <= celsius <= HOTTEST_CELSIUS:
        raise InputImpossible(
            f"{read} would be {celsius:.0f} °C, which no winding on a bench or in an oven has.",
            "Is it the same winding, and does it stay whole?",
        )
    per_cent = 0.01 / fraction_per_kelvin(celsius, conductor)
    return f"{read}: it is at {celsius:.1f} °C; each 1 % of error in the ohms is {per_cent:.1f} K"


def weighed_lines(
    mass_g: float, ohm: str | None, celsius: float, mean_turn: str | None, metal_name: str | None
) -> list[str]:
    """Length, diameter and gauge of a wire that was weighed bare and measured, without a micrometer.

    Args:
        mass_g: of the bare wire, grams; one strand.
        ohm: resistance of the same piece, with its unit.
        celsius: temperature of `ohm`.
        mean_turn: mean length of a turn with its unit, to get turns as well; or None.
        metal_name: a name in `METALS`; None: copper.

    Raises:
        InputImpossible, QuantityInvalid: something typed is missing or cannot be; says what.
    """
    metal = _metal(metal_name or "copper")
    if ohm is None:
        raise InputImpossible("A mass alone does not show the wire.", "Give --ohm of the same piece as well.")
    reference_ohm = to_reference(possible(ohm), of_winding(celsius), 20.0, metal.conductor)
    length_m, diameter_mm = from_mass_and_ohm(mass_g, reference_ohm, metal)
    gauge = nearest_awg(diameter_mm)
    off = diameter_mm / awg_diameter_mm(gauge) - 1.0
    found = f"{show(reference_ohm, 'Ω')} at 20 °C: {length_m:.4g} m of {diameter_mm:.4f} mm"
    lines = [
        f"{mass_g:g} g of bare {metal.name} with {found}",
        f"  nearest gauge: AWG {gauge:g} (diameter {100.0 * off:+.1f} % off it)",
        "  enamel weighs 2 to 10 % of a wire: burn or strip it off before weighing",
    ]
    if mean_turn is not None:
        lines.append(
            f"  {length_m / possible(mean_turn, 'm'):.0f} turns of {mean_turn}: a check, not a count"
        )
    return lines


def _metal(name: str) -> Metal:
    if name not in METALS:
        raise InputImpossible(f'There is no metal "{name}".', f"There are {', '.join(METALS)}.")
    return METALS[name]


def wire_of(text: str, spools: Path | None, metal: str | None = None) -> Wire:
    """The wire that a text names.

    Args:
        text: gauge, bare diameter, or the name of a spool.
        spools: file of spool cards, None where `text` is no spool.
        metal: a name in `METALS`; None: copper by gauge, enamelled copper wire by diameter, the card's own.

    Raises:
        InputImpossible: neither a gauge nor a diameter, or no such spool in the file.
        FileInvalid: the file cannot be read, or holds a fault.
    """
    if spools is not None:
        cards = read_spools(spools)
        if text not in cards:
            raise InputImpossible(f'{spools} has no spool "{text}".', f"It has {', '.join(cards) or 'none'}.")
        return wire_of_spool(cards[text].card, cards[text].metal)
    head, _, gauge = text.strip().partition(" ")
    if head.upper() == "AWG" and gauge.replace(".", "", 1).isdigit():
        return wire_of_awg(float(gauge), _metal(metal or "copper"))
    return wire_of_diameter(1000.0 * possible(text, "m"), _metal(metal or "magnet_wire"))


def _ohms(design: Design, wire: Wire) -> list[str]:
    found = expect(design, wire)
    ohm, reach = found.reference_ohm, found.budget.expanded
    within = f"within {100.0 * reach / ohm:.1f} % (95 %)"
    lines = [
        f"{design.turns:g} turns: {show(ohm, 'Ω', reach)} at 20 °C, {within}",
        f"  {found.length_m:.1f} m of wire, {found.mass_g:.1f} g bare",
    ]
    shares = ((term.name, 100.0 * term.standard_uncertainty_ohm / ohm) for term in found.terms)
    return [*lines, *(f"  {name}: {share:.2f} %" for name, share in shares)]


def _turns(ohm: float, celsius: float, design: Design, wire: Wire) -> list[str]:
    reference_ohm = to_reference(ohm, of_winding(celsius), 20.0, wire.metal.conductor)
    first, _ = turns_from_ohm(reference_ohm, design, wire)
    turns, reach = turns_from_ohm(
        reference_ohm, Design(first, design.mean_turn_m, design.extra_m, design.strands), wire
    )
    remark = "a check, not a count" if reach > 0.02 * turns else "good enough to count on"
    digits = max(0, -math.floor(math.log10(max(reach, 1e-9))))
    found = f"{turns:.{digits}f} turns, within {reach:.{digits}f} (95 %)"
    return [f"{show(ohm, 'Ω')} at {celsius:g} °C: {found}: {remark}"]


def winding(
    *,
    wire: Annotated[str | None, typer.Option(help='Such as "AWG 36" or "0.125 mm".')] = None,
    mean_turn: Annotated[str | None, typer.Option(help='Mean length of a turn, such as "62 mm".')] = None,
    turns: Annotated[
        float | None, typer.Option(min=0.0, max=1e7, help="Turns: gives the ohms to expect.")
    ] = None,
    ohm: Annotated[str | None, typer.Option(help='Measured, such as "202.5 ohm": gives the turns.')] = None,
    reference: Annotated[
        str | None, typer.Option(help="Its ohms at --celsius; with --ohm: how warm the winding is.")
    ] = None,
    mass: Annotated[
        float | None,
        typer.Option(min=0.0, max=1e8, help="Of the bare wire, grams; with --ohm: length and gauge."),
    ] = None,
    metal: Annotated[
        str | None, typer.Option(help="copper, magnet_wire or aluminium; default: copper.")
    ] = None,
    strands: Annotated[int, typer.Option(min=1, max=1000, help="Wires in hand.")] = 1,
    extra: Annotated[str, typer.Option(help="Wire between coils and to the ends.")] = "0 mm",
    spools: Annotated[
        Path | None, typer.Option(help="File of spool cards; then --wire names a spool.")
    ] = None,
    celsius: Annotated[
        float, typer.Option(help="Temperature of the ohms, or of the reference, degrees Celsius.")
    ] = 20.0,
) -> None:
    """Ohms from turns, turns from ohms, wire from mass and ohms, or temperature from ohms."""
    if reference is not None:
        typer.echo(temperature_line(reference, ohm, metal, celsius))
        return
    if mass is not None:
        say(weighed_lines(mass, ohm, celsius, mean_turn, metal))
        return
    given: dict[str, Any] = {"turns": turns, "ohm": ohm, "strands": strands, "extra": extra, "spools": spools}
    say(winding_lines(wire, mean_turn, **given, celsius=celsius, metal=metal))
