"""What the operator must switch on a meter whose dial cannot be set over the link. Sans-I/O.

Which range to turn to is not said here: only the bench knows which ranges the meter has (acquire.steps.dial).
"""

from __future__ import annotations

from drivers.frame import Decoded
from drivers.meter import Held, Setup
from drivers.reading import OHMS, Flag, Quantity

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
    advice: tuple[str, ...] = ()
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
