"""Whether a pair may be called open: the meter itself must show it, and a press of the key must be meant.

A key says where the probes are; only the meter says that nothing conducts between them. A meter that is
silent, or on another function, bears no witness, nor does one on a range that ends below what the pair must
exceed: 5 kΩ read overload on the 200 Ω range. A key held down or a scanner's second line end is no statement
at all. Not for what an open pair means to its step (unit).
"""

from __future__ import annotations

import math
from dataclasses import dataclass

from acquire.records.bench import Refused
from acquire.records.codes import Fact, Refusal
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
        typed: the meter is read off by a person: of the time between nothing is shown.
    """

    freshest_s: float = 3.0
    typed: bool = False
    _since_s: float | None = None
    _short: tuple[float | None, float] | None = None
    _latest_s: float = 0.0
    _pressed_s: float = float("-inf")

    def see(self, reading: Reading, wanted: Quantity, above_ohm: float = 0.0, *, tells: bool = True) -> bool:
        """Take one reading.

        Args:
            reading: of the ohms meter.
            wanted: what the step measures; overload of anything else bears no witness.
            above_ohm: what an open pair of the step must exceed; overload on a range known to end below bears
                no witness of that.
            tells: False where the frames name no range and a low one may be in use: then one that was seen
                before, if any, is in the reading.

        Returns:
            Whether this reading bears witness.
        """
        if reading.kind is Kind.NO_READING:
            return False
        self._short, self.typed = None, Flag.TYPED in reading.flags
        if reading.kind is not Kind.OVERLOAD or reading.quantity is not wanted or Flag.HOLD in reading.flags:
            self._since_s = None
            return False
        full_ohm = reading.range_full_scale_si
        if above_ohm and (full_ohm or (math.inf if tells else 0.0)) < above_ohm:
            self._since_s, self._short = None, (full_ohm if tells else None, above_ohm)
            return False
        if self._since_s is None:
            self._since_s = reading.monotonic_s
        self._latest_s = reading.monotonic_s
        return True

    def forget(self) -> None:
        """The link is lost: what was shown before is worth nothing."""
        self._since_s = self._short = None

    def pressed(self, monotonic_s: float) -> bool:
        """Take a press of the key; False where it belongs to the one before."""
        meant = self.typed or monotonic_s - self._pressed_s >= BOUNCE_S  # nobody's key types whole lines
        self._pressed_s = monotonic_s
        return meant

    def check(self, asked_s: float, *, wait_s: float = 0.0, turn_ohm: float | None = None) -> None:
        """Whether the latest press counts.

        Args:
            asked_s: monotonic time when the pair was asked for, or the probes last left it.
            wait_s: so long after that the key is asked for: no earlier press outlives its pair.
            turn_ohm: the range that would show it; None where the meter has none, or sets it by itself.

        Raises:
            Refused: it does not; says why.
        """
        if self._short is not None:
            full_ohm, least_ohm = self._short
            facts: dict[str, Fact] = {"least_ohm": least_ohm} if turn_ohm is None else {"turn_ohm": turn_ohm}
            if full_ohm is None:
                raise Refused(Refusal.RANGE_UNTOLD, **facts)
            raise Refused(Refusal.RANGE_LOW, full_ohm=full_ohm, **facts)
        if self._since_s is None or self._pressed_s - self._latest_s > self.freshest_s:
            raise Refused(Refusal.KEY_UNWITNESSED)
        if self.typed:  # with the probes on the pair, as everything that is typed; it bears witness once
            self._since_s = None
            return
        if self._pressed_s < asked_s + wait_s:
            raise Refused(Refusal.KEY_TOO_SOON)
        if self._latest_s - max(self._since_s, asked_s) < LOOK_S:
            raise Refused(Refusal.KEY_TOO_SOON)
