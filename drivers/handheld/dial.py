"""What an operator must see of a meter in the hand: a dial to turn, a display that may be held. Sans-I/O.

Which range to turn to is not said here: only the bench knows which ranges the meter has (acquire.steps.dial).

A hand never rests so still that a live display shows one and the same value for a third of a minute, and a
step takes a few seconds. Not proof: a clipped-on resistor on a coarse range looks the same, so this is a
remark for the operator, never a reason to refuse a reading.
"""

from __future__ import annotations

from drivers.frame import Decoded
from drivers.meter import Held, Setup
from drivers.reading import OHMS, Flag, Kind, Quantity, Reading

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


FROZEN_S = 20.0
FROZEN_CONVERSIONS = 20
"""Workshop choice: longer than any step by hand, shorter than the patience of who wonders."""


class FrozenDisplay:
    """Watches one meter's readings.

    Args:
        frozen_s: how long a value must stay the same; seconds.
    """

    def __init__(self, frozen_s: float = FROZEN_S) -> None:
        self._frozen_s = frozen_s
        self._first: Reading | None = None
        self._count = 0
        self._told = False

    def take(self, reading: Reading) -> str:
        """Take the next reading.

        Returns:
            One sentence when a held display is suspected, once until the value moves; else an empty text.
        """
        first = self._first
        if first is None or reading.kind is not Kind.VALUE or reading.value_si != first.value_si:
            self._first = reading if reading.kind is Kind.VALUE else None
            self._count, self._told = 1, False
            return ""
        self._count += 1
        still_s = reading.monotonic_s - first.monotonic_s
        seen = Flag.HOLD in reading.flags_visible  # then the meter itself says whether HOLD is on
        if seen or self._told or still_s < self._frozen_s or self._count < FROZEN_CONVERSIONS:
            return ""
        self._told = True
        return f"The display has shown the same value for {still_s:.0f} s: is HOLD on?"
