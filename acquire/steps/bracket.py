"""Proof that a pair is open without a key: a known continuity before and after, the clip left on the core.

An overload alone proves nothing, since a probe in the air reads the same. With one probe clipped to the core,
a pin of known continuity is touched before and after the pin that must be open: that shows that clip, leads
and meter were sound all along. A pin whose continuity has failed on this unit is not known: where two pins
are in each other's place, the one that lies on the core would prove itself open. Without such a pin, or
without a core, only the operator's key counts. Not for finite readings, which need no proof.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

from acquire.records import Pair, Step
from acquire.steps.pairs import PairTable

HOLD_S = 2.0
"""Shortest time without contact between the two touches: longer than hands take from one pin to the next, or
a pin that lies on the core, touched in between, would read like the strap again. Workshop choice."""

_MOST_EARLY = 1
"""How often the known continuity may come back too early; then it is the pin itself that reads so."""

_ALIKE_OHM = 0.05
"""Pairs closer than this are not told apart by a dirty probe; workshop choice."""


def anchor(table: PairTable, step: Step) -> Pair | None:
    """The pair that proves the clip: it joins the core to a pin, and no pair without the core reads alike.

    Args:
        table: of the sheet.
        step: that wants a pair open.

    Returns:
        The one with the least resistance; None where the step has no core or the circuit no such pair.
    """
    core = table.sheet.core
    if not core or core not in step.pair:
        return None
    conducting = [pair for pair in table.pairs() if math.isfinite(table.nominal_ohm(pair))]
    apart = [pair for pair in conducting if core not in pair]
    good = [
        pair for pair in conducting if core in pair and not any(_alike(table, pair, other) for other in apart)
    ]
    return min(good, key=table.nominal_ohm, default=None)


def _alike(table: PairTable, pair: Pair, other: Pair) -> bool:
    apart = abs(table.nominal_ohm(pair) - table.nominal_ohm(other))
    return apart <= 3.0 * math.hypot(table.spread_ohm(pair), table.spread_ohm(other)) + _ALIKE_OHM


@dataclass(slots=True)
class Bracket:
    """How far the proof for one open step has come.

    Attributes:
        anchor: the pair that is touched before and after.
        opened: the pin that must be open to the core.
        known: the other pin of the anchor, which is not the core.
        proved: True once the anchor was touched.
        lifted_s: monotonic time of the lift-off after that, None before.
        early: how often it was read again before the pin between can have been touched.
        shown: whether the meter has shown since then that nothing conducts, on a range that proves it.
        closed: True once it has proven the pair open.
    """

    anchor: Pair
    opened: str
    known: str
    proved: bool = False
    lifted_s: float | None = None
    early: int = 0
    shown: bool = False
    closed: bool = False

    def touched(self, contact_s: float) -> bool | None:
        """The anchor reads what it should, or the pin in between reads the same.

        Args:
            contact_s: monotonic time at which this touch began.

        Returns:
            True when it closes the bracket: the pair between is proven open. None when it comes back too
            early time and again: a pin that lies on the core reads like the anchor, and this is its value.
        """
        held = self.proved and self.lifted_s is not None and contact_s - self.lifted_s >= HOLD_S
        if self.proved and not held:
            self.early += 1
        if self.early > _MOST_EARLY:
            self.broken()
            return None
        self.closed = held and self.shown
        self.proved, self.lifted_s, self.shown = True, None, False
        return self.closed

    def lifted(self, monotonic_s: float) -> None:
        """The meter shows no contact any more."""
        if self.proved and self.lifted_s is None:
            self.lifted_s = monotonic_s

    def seen_open(self) -> None:
        """The meter shows overload on a range that reaches what an open pair must exceed."""
        self.shown = self.lifted_s is not None

    def broken(self) -> None:
        """Something else was read in between: the proof begins anew."""
        self.proved, self.lifted_s, self.shown = False, None, False

    def anew(self) -> None:
        """The step is asked for again, from the start."""
        self.broken()
        self.early = 0

    def text(self, core: str) -> str:
        """What to do next, in one sentence."""
        if self.proved:
            then = f"touch {self.opened} for two seconds, then {self.known} again"
            return f"Now {then}; the clip stays on {core}."
        then = f"touch {self.known}, then {self.opened} for two seconds, then {self.known} again"
        return f"Clip on {core}: {then}; or press Enter while on {self.opened}."


def bracket_for(table: PairTable, step: Step) -> Bracket | None:
    """The bracket of an open step; None where only a key can prove it."""
    pair = anchor(table, step)
    if pair is None:
        return None
    core = table.sheet.core
    opened = next(pin for pin in step.pair if pin != core)
    known = next(pin for pin in pair if pin != core)
    return Bracket(pair, opened, known)
