"""What the operator must turn on a meter whose dial cannot be set over the link. Sans-I/O."""

from __future__ import annotations

from drivers.frame import Decoded
from drivers.meter import Held, Setup
from drivers.reading import OHMS, UNIT_OF, Flag, Kind, Origin, Quantity

TOO_COARSE = 20.0
"""A range more than twenty times the expected value shows less than 200 of 4000 counts; workshop choice."""
LOWEST_RANGE = 60.0
"""Ohms. Nobody is asked for a finer range than there may be. Twenty times this is
more than the lowest range of ohms of any hand meter, 200 to 600 ohm; common practice, no source."""

WORDS: dict[Quantity, str] = {
    Quantity.RESISTANCE: "ohms",
    Quantity.RESISTANCE_4W: "ohms",
    Quantity.CONTINUITY: "continuity",
    Quantity.DIODE: "diode test",
    Quantity.VOLTAGE_DC: "volts DC",
    Quantity.VOLTAGE_AC: "volts AC",
    Quantity.CURRENT_DC: "amperes DC",
    Quantity.CURRENT_AC: "amperes AC",
    Quantity.CAPACITANCE: "capacitance",
    Quantity.INDUCTANCE: "inductance",
    Quantity.INSULATION: "insulation",
    Quantity.TEMPERATURE: "temperature",
    Quantity.FREQUENCY: "frequency",
}


def what_to_turn(setup: Setup, seen: Decoded | None, can: frozenset[Quantity]) -> Held:
    """Compare what a step wants with what the meter was last seen doing.

    Args:
        setup: what is wanted.
        seen: a fresh frame, or None if none came.
        can: what the protocol can carry at all.

    Returns:
        What holds, with sentences for the operator where something is to be turned.
    """
    word = WORDS.get(setup.quantity, setup.quantity.value.replace("_", " "))
    if not (setup.quantity in can or (setup.quantity in OHMS and can & OHMS)):
        return Held(setup.quantity, please_turn=(f"This meter does not send {word}: use another one.",))
    if seen is None:
        return Held(setup.quantity, please_turn=(f"Switch the meter on and set the dial to {word}.",))
    if not _serves(seen.quantity, setup.quantity):
        return Held(seen.quantity, please_turn=(f"Set the dial to {word}.",))
    held = Held(seen.quantity, seen.range_full_scale_si, seen.resolution_si, seen.range_origin)
    advice = _about_range(setup, seen)
    if Flag.HOLD in seen.flags:
        advice = (*advice, "Switch HOLD off.")
    if Flag.MINIMUM in seen.flags or Flag.MAXIMUM in seen.flags:
        advice = (*advice, "Switch MIN/MAX off.")
    if Flag.RELATIVE in seen.flags:
        advice = (*advice, "Switch REL off.")
    return Held(
        held.quantity, held.range_full_scale_si, held.resolution_si, held.origin, please_turn=tuple(advice)
    )


def _serves(seen: Quantity, wanted: Quantity) -> bool:
    """Ohms serve for ohms; a hand meter has no four wires, but its own reading says so itself."""
    return seen is wanted or (seen in OHMS and wanted in OHMS)


def _about_range(setup: Setup, seen: Decoded) -> tuple[str, ...]:
    full, wanted = seen.range_full_scale_si, setup.expected_si
    automatic = Flag.AUTO_RANGE in seen.flags
    if wanted is None or full is None or automatic or seen.range_origin is Origin.UNKNOWN:
        return ()
    unit = UNIT_OF[seen.quantity]
    if full < wanted:
        return (f"Set the range to {_shown(wanted, unit)} or more.",)
    least = max(wanted, LOWEST_RANGE) if seen.quantity in OHMS else wanted
    if seen.kind is Kind.VALUE and full > TOO_COARSE * least:
        return (f"Set a finer range: {_shown(full, unit)} is too coarse for {_shown(wanted, unit)}.",)
    return ()


def _shown(value_si: float, unit: str) -> str:
    """A value as people say it: `4 MΩ`, `450 Ω`, `200 mV`."""
    unit = "Ω" if unit == "ohm" else unit
    for worth, prefix in ((1e6, "M"), (1e3, "k"), (1.0, ""), (1e-3, "m"), (1e-6, "µ")):
        if abs(value_si) >= worth:
            return f"{value_si / worth:.3g} {prefix}{unit}"
    return f"{value_si:.3g} {unit}"
