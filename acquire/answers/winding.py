"""`steadyohm winding`: ohms from turns, turns from ohms, or the wire from its mass and ohms."""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path
from typing import Annotated

import typer

from acquire.answers import option, say
from acquire.errors import InputImpossible
from acquire.files.spool_cards import read_spools
from acquire.physics.checks import COLDEST_CELSIUS, HOTTEST_CELSIUS, of_winding
from acquire.physics.copper import Conductor, fraction_per_kelvin, to_reference, winding_celsius
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


def winding(
    *,
    wire: Annotated[str | None, option('Such as "AWG 36" or "0.125 mm".')] = None,
    mean_turn: Annotated[str | None, option('Mean length of a turn, such as "62 mm".')] = None,
    turns: Annotated[float | None, option("Turns: gives the ohms to expect.", min=0.0, max=1e7)] = None,
    ohm: Annotated[str | None, option('Measured, such as "202.5 ohm": gives the turns.')] = None,
    reference: Annotated[
        str | None, option("Its ohms at --celsius; with --ohm: how warm the winding is.")
    ] = None,
    mass: Annotated[
        float | None, option("Of the bare wire, grams; with --ohm: length and gauge.", min=0.0, max=1e8)
    ] = None,
    metal: Annotated[str | None, option("copper, magnet_wire or aluminium; default: copper.")] = None,
    strands: Annotated[int, option("Wires in hand.", min=1, max=1000)] = 1,
    extra: Annotated[str, option("Wire between coils and to the ends.")] = "0 mm",
    spools: Annotated[Path | None, option("File of spool cards; then --wire names a spool.")] = None,
    celsius: Annotated[
        float, option("Temperature of the ohms, or of the reference, degrees Celsius.")
    ] = 20.0,
) -> None:
    """Ohms from turns, turns from ohms, wire from mass and ohms, or temperature from ohms."""
    now_ohm = None if ohm is None else possible(ohm)
    if reference is not None:
        say([_temperature(possible(reference), now_ohm, _metal(metal or "copper").conductor, celsius)])
        return
    if mass is not None:
        say(_weighed(mass, now_ohm, celsius, mean_turn, _metal(metal or "copper")))
        return
    if wire is None or mean_turn is None or (turns is None and now_ohm is None):
        raise InputImpossible(
            "That is not enough to compute from.",
            "Give --wire and --mean-turn with --turns or --ohm, or --mass with --ohm.",
        )
    chosen, wound = _wire_of(wire, spools, metal), (possible(mean_turn, "m"), possible(extra, "m"), strands)
    per_metre = show(chosen.ohms_per_metre, "Ω")
    typer.echo(f"{chosen.name}: {per_metre} per metre at 20 °C, {chosen.diameter_mm:.4g} mm bare")
    if turns is not None:
        say(_ohms(Design(turns, *wound), chosen))
    if now_ohm is not None:
        typer.echo(_turns(now_ohm, celsius, Design(turns or 1000.0, *wound), chosen))


def _temperature(reference_ohm: float, now_ohm: float | None, conductor: Conductor, celsius: float) -> str:
    """The temperature of a winding whose resistance at one temperature is on file: its own thermometer."""
    if now_ohm is None:
        raise InputImpossible("What does the winding read now?", "Give --ohm.")
    now_celsius = winding_celsius(now_ohm, reference_ohm, of_winding(celsius), conductor)
    read = f"{show(now_ohm, 'Ω')} of a winding that has {show(reference_ohm, 'Ω')} at {celsius:g} °C"
    if not COLDEST_CELSIUS <= now_celsius <= HOTTEST_CELSIUS:
        raise InputImpossible(
            f"{read} would be {now_celsius:.0f} °C, which no winding on a bench or in an oven has.",
            "Is it the same winding, and does it stay whole?",
        )
    per_cent = 0.01 / fraction_per_kelvin(now_celsius, conductor)
    return f"{read}: it is at {now_celsius:.1f} °C; each 1 % of error in the ohms is {per_cent:.1f} K"


def _weighed(
    mass_g: float, ohm: float | None, celsius: float, mean_turn: str | None, metal: Metal
) -> Iterator[str]:
    """Length, diameter and gauge of one strand that was weighed bare and measured, without a micrometer."""
    if ohm is None:
        raise InputImpossible("A mass alone does not show the wire.", "Give --ohm of the same piece as well.")
    reference_ohm = to_reference(ohm, of_winding(celsius), 20.0, metal.conductor)
    length_m, diameter_mm = from_mass_and_ohm(mass_g, reference_ohm, metal)
    gauge = nearest_awg(diameter_mm)
    off = diameter_mm / awg_diameter_mm(gauge) - 1.0
    found = f"{show(reference_ohm, 'Ω')} at 20 °C: {length_m:.4g} m of {diameter_mm:.4f} mm"
    yield f"{mass_g:g} g of bare {metal.name} with {found}"
    yield f"  nearest gauge: AWG {gauge:g} (diameter {100.0 * off:+.1f} % off it)"
    yield "  enamel weighs 2 to 10 % of a wire: burn or strip it off before weighing"
    if mean_turn is not None:
        yield f"  {length_m / possible(mean_turn, 'm'):.0f} turns of {mean_turn}: a check, not a count"


def _metal(name: str) -> Metal:
    if name not in METALS:
        raise InputImpossible(f'There is no metal "{name}".', f"There are {', '.join(METALS)}.")
    return METALS[name]


def _wire_of(text: str, spools: Path | None, metal: str | None) -> Wire:
    """The wire that a gauge, a bare diameter, or the name of a spool in the file tells.

    Without a metal it is copper by gauge, enamelled copper wire by diameter, the spool card's own.
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


def _ohms(design: Design, wire: Wire) -> Iterator[str]:
    found = expect(design, wire)
    ohm, reach = found.reference_ohm, found.budget.expanded
    within = f"within {100.0 * reach / ohm:.1f} % (95 %)"
    yield f"{design.turns:g} turns: {show(ohm, 'Ω', reach)} at 20 °C, {within}"
    yield f"  {found.length_m:.1f} m of wire, {found.mass_g:.1f} g bare"
    for term in found.terms:
        yield f"  {term.name}: {100.0 * term.standard_uncertainty_ohm / ohm:.2f} %"


def _turns(ohm: float, celsius: float, design: Design, wire: Wire) -> str:
    reference_ohm = to_reference(ohm, of_winding(celsius), 20.0, wire.metal.conductor)
    first, _ = turns_from_ohm(reference_ohm, design, wire)
    turns, reach = turns_from_ohm(reference_ohm, replace(design, turns=first), wire)
    remark = "a check, not a count" if reach > 0.02 * turns else "good enough to count on"
    digits = max(0, -math.floor(math.log10(max(reach, 1e-9))))
    found = f"{turns:.{digits}f} turns, within {reach:.{digits}f} (95 %)"
    return f"{show(ohm, 'Ω')} at {celsius:g} °C: {found}: {remark}"
