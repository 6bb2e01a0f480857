"""`steadyohm winding`: ohms from turns or turns from ohms, with how far off they may be."""

from __future__ import annotations

import math
from pathlib import Path

from acquire.errors import InputImpossible
from acquire.physics.copper import CONDUCTORS, to_reference
from acquire.physics.spools import read_spools
from acquire.physics.winding import (
    Design,
    Wire,
    expect,
    turns_from_ohm,
    wire_of_awg,
    wire_of_diameter,
    wire_of_spool,
)
from acquire.quantity import parse, show


def winding_lines(
    wire: str,
    mean_turn: str,
    *,
    turns: float | None,
    ohm: str | None,
    strands: int,
    extra: str,
    spools: Path | None,
    celsius: float,
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

    Raises:
        InputImpossible, QuantityInvalid, FileInvalid: something typed cannot be; says what.
    """
    if turns is None and ohm is None:
        raise InputImpossible("Give --turns to get the ohms, or --ohm to get the turns.")
    chosen = wire_of(wire, spools)
    length_m, extra_m = parse(mean_turn, "m"), parse(extra, "m")
    per_metre = show(chosen.ohms_per_metre, "Ω")
    lines = [f"{chosen.name}: {per_metre} per metre at 20 °C, {chosen.diameter_mm:.4g} mm bare"]
    if turns is not None:
        lines += _ohms(Design(turns, length_m, extra_m, strands), chosen)
    if ohm is not None:
        lines += _turns(parse(ohm), celsius, Design(turns or 1000.0, length_m, extra_m, strands), chosen)
    return lines


def wire_of(text: str, spools: Path | None) -> Wire:
    """The wire that a text names.

    Raises:
        InputImpossible: neither a gauge nor a diameter, or no such spool in the file.
    """
    if spools is not None:
        try:
            cards = read_spools(spools.read_text(encoding="utf-8"), spools)
        except (OSError, UnicodeDecodeError) as error:
            raise InputImpossible(f"{spools}: the file of spools cannot be read ({error}).") from error
        if text not in cards:
            raise InputImpossible(f'{spools} has no spool "{text}".', f"It has {', '.join(cards) or 'none'}.")
        return wire_of_spool(cards[text].card, cards[text].metal)
    head, _, gauge = text.strip().partition(" ")
    if head.upper() == "AWG" and gauge.replace(".", "", 1).isdigit():
        return wire_of_awg(float(gauge))
    return wire_of_diameter(1000.0 * parse(text, "m"))


def _ohms(design: Design, wire: Wire) -> list[str]:
    found = expect(design, wire)
    ohm, reach = found.reference_ohm, found.budget.expanded
    lines = [
        f"{design.turns:g} turns: {show(ohm, 'Ω', reach)} at 20 °C, within {reach / ohm:.1%} (95 %)",
        f"  {found.length_m:.1f} m of wire, {found.mass_g:.1f} g bare",
    ]
    return [*lines, *(f"  {term.name}: {term.standard_uncertainty_ohm / ohm:.2%}" for term in found.terms)]


def _turns(ohm: float, celsius: float, design: Design, wire: Wire) -> list[str]:
    reference_ohm = to_reference(ohm, celsius, 20.0, CONDUCTORS["copper"])
    first, _ = turns_from_ohm(reference_ohm, design, wire)
    turns, reach = turns_from_ohm(
        reference_ohm, Design(first, design.mean_turn_m, design.extra_m, design.strands), wire
    )
    remark = "a check, not a count" if reach > 0.02 * turns else "good enough to count on"
    digits = max(0, -math.floor(math.log10(max(reach, 1e-9))))
    found = f"{turns:.{digits}f} turns, within {reach:.{digits}f} (95 %)"
    return [f"{show(ohm, 'Ω')} at {celsius:g} °C: {found}: {remark}"]
