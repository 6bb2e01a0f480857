"""Whether a key may call a pair open: the meter itself must show it, and the press must have been meant.

A key says where the probes are; only the meter says that nothing conducts between them. A meter that is
silent, or on another function, bears no witness, and a key held down or a scanner's second line end is no
statement at all. Not for what an open pair means to its step (unit).
"""

from __future__ import annotations

from dataclasses import dataclass

from drivers.reading import Flag, Kind, Quantity, Reading

LOOK_S = 0.5
"""The meter must have shown overload for this long, since the pair was asked for, before a key counts: the
time it takes to read a prompt and move a hand. Workshop choice."""

BOUNCE_S = 0.4
"""A press this soon after the one before is the same press: keys held down repeat at 10 to 30 a second, and
worn pedals bounce. Workshop choice, shorter than anybody presses twice on purpose between two prompts."""


@dataclass(slots=True)
class OpenWitness:
    """What the meter has shown lately, and when the key was pressed.

    Attributes:
        freshest_s: overload older than this proves nothing any more.
    """

    freshest_s: float = 3.0
    _since_s: float | None = None
    _latest_s: float = 0.0
    _pressed_s: float = float("-inf")

    def see(self, reading: Reading, wanted: Quantity) -> None:
        """Take one reading.

        Args:
            reading: of the ohms meter.
            wanted: what the step measures; overload of anything else bears no witness.
        """
        if reading.kind is Kind.NO_READING:
            return
        if reading.kind is not Kind.OVERLOAD or reading.quantity is not wanted or Flag.HOLD in reading.flags:
            self._since_s = None
            return
        if self._since_s is None:
            self._since_s = reading.monotonic_s
        self._latest_s = reading.monotonic_s

    def forget(self) -> None:
        """The link is lost: what was shown before is worth nothing."""
        self._since_s = None

    def pressed(self, monotonic_s: float) -> bool:
        """Take a press of the key; False where it belongs to the one before."""
        meant = monotonic_s - self._pressed_s >= BOUNCE_S
        self._pressed_s = monotonic_s
        return meant

    def refusal(self, asked_s: float) -> str:
        """Why the latest press does not count; empty where it does.

        Args:
            asked_s: monotonic time when the pair was asked for, or the probes last left it.
        """
        if self._since_s is None or self._pressed_s - self._latest_s > self.freshest_s:
            return "The meter shows no overload now, so nothing proves that the pair is open."
        if self._latest_s - max(self._since_s, asked_s) < LOOK_S:
            return "That was too soon after the pair was asked for."
        return ""
