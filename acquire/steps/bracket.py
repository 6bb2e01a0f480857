"""Proof that a pair is open without a key: known continuities before and after, the clip left on the core.

An overload alone proves nothing, since a probe in the air reads the same. With one probe clipped to the core,
a pin of known continuity is touched before the pin that must be open, and another one after it: that shows
that clip, leads and meter were sound all along. The two differ by more than any meter's error, or a pin that
lies on the core itself, touched twice, would prove itself open. A pin whose continuity has failed on this
unit is not known. Without two such pins, or without a core, only the operator's key counts. Not for finite
readings, which need no proof.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

from acquire.records import Fact, Pair, Step
from acquire.steps.pairs import PairTable

HOLD_S = 2.0
"""Shortest time without contact between the two touches: longer than hands take from one pin to the next, or
they may have passed over the pin in between. Workshop choice."""

_MOST_AGAIN = 1
"""How often the first continuity may be read again; then it is the pin itself that reads so."""

_ALIKE_OHM = 0.05
"""Pairs closer than this are not told apart by a dirty probe; workshop choice."""

_UNLIKE_OHM, _UNLIKE = 5.0, 5.0
"""The two continuities differ by so many ohms at least, and are so many times each other's: a hand meter on
tenths of an ohm tells them apart, with dirty probes. Workshop choices."""


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


def closing(table: PairTable, first: Pair) -> Pair | None:
    """The pair touched afterwards: it joins the core to another pin and cannot be taken for the first.

    Args:
        table: of the sheet.
        first: from `anchor`.

    Returns:
        The one with the most resistance; None where there is none.
    """
    core, first_ohm = table.sheet.core, table.nominal_ohm(first)
    others = {
        pair: table.nominal_ohm(pair)
        for pair in table.pairs()
        if core in pair and pair != first and math.isfinite(table.nominal_ohm(pair))
    }
    unlike = [p for p, ohm in others.items() if ohm > max(first_ohm + _UNLIKE_OHM, _UNLIKE * first_ohm)]
    return max(unlike, key=lambda pair: others[pair], default=None)


def _alike(table: PairTable, pair: Pair, other: Pair) -> bool:
    apart = abs(table.nominal_ohm(pair) - table.nominal_ohm(other))
    return apart <= 3.0 * math.hypot(table.spread_ohm(pair), table.spread_ohm(other)) + _ALIKE_OHM


@dataclass(slots=True)
class Bracket:
    """How far the proof for one open step has come.

    Attributes:
        anchor: the pair that is touched before.
        closer: the pair that is touched afterwards.
        core: the pin that the clip stays on.
        opened: the pin that must be open to the core.
        proved: True once the anchor was touched.
        lifted_s: monotonic time of the lift-off after that, None before.
        again: how often the anchor was read again: a pin that lies on the core reads like it.
        shown: whether the meter has shown since then that nothing conducts, on a range that proves it.
        closed: True once it has proven the pair open.
    """

    anchor: Pair
    closer: Pair
    core: str
    opened: str
    proved: bool = False
    lifted_s: float | None = None
    again: int = 0
    shown: bool = False
    closed: bool = False

    @property
    def pairs(self) -> tuple[Pair, Pair]:
        """What a value may rightly be of while the proof lasts."""
        return self.anchor, self.closer

    def touched(self, pair: Pair, contact_s: float) -> bool | None:
        """One of the two continuities reads what it should, or the pin in between reads the same.

        Args:
            pair: which of them.
            contact_s: monotonic time at which this touch began.

        Returns:
            True when it closes the bracket: the pair between is proven open. False where the anchor was read
            and the rest has to follow. None where it proves nothing: it is the value of the pin asked for, or
            of a pin touched too early.
        """
        if pair != self.anchor:
            held = self.lifted_s is not None and contact_s - self.lifted_s >= HOLD_S
            self.closed = self.proved and self.shown and held
            self.broken()
            return self.closed or None
        self.again += self.proved
        if self.again > _MOST_AGAIN:
            self.broken()
            return None
        self.proved, self.lifted_s, self.shown = True, None, False
        return False

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
        self.again = 0

    def facts(self) -> dict[str, Fact]:
        """What is to be touched next: `first` until it was, then `opened` and `last`, the clip on `core`."""
        first, last = (next(pin for pin in pair if pin != self.core) for pair in self.pairs)
        rest: dict[str, Fact] = {"core": self.core, "opened": self.opened, "last": last}
        return rest if self.proved else {"first": first, **rest}


def bracket_for(table: PairTable, step: Step) -> Bracket | None:
    """The bracket of an open step; None where only a key can prove it."""
    first = anchor(table, step)
    last = closing(table, first) if first else None
    if first is None or last is None:
        return None
    core = table.sheet.core
    return Bracket(first, last, core, next(pin for pin in step.pair if pin != core))
