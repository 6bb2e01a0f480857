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
        pair
        for pair in conducting
        if core in pair and not any(table.alike(pair, other, blur_ohm=_ALIKE_OHM) for other in apart)
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


@dataclass(slots=True)
class Bracket:
    """How far the proof for one open step has come.

    Attributes:
        anchor: the pair that is touched before.
        closer: the pair that is touched afterwards.
        core: the pin that the clip stays on.
        opened: the pin that must be open to the core.
        proved: True once the anchor was touched.
        again: how often the anchor was read again: a pin that lies on the core reads like it.
        exhausted: it was read so often that it is the pin itself that reads so.
        closed: True once it has proven the pair open.
    """

    anchor: Pair
    closer: Pair
    core: str
    opened: str
    proved: bool = False
    again: int = 0
    exhausted: bool = False
    closed: bool = False
    _lifted_s: float | None = None  # what the meter has shown since; begins anew after a restart
    _shown: bool = False

    @property
    def pairs(self) -> tuple[Pair, Pair]:
        """What a value may rightly be of while the proof lasts."""
        return self.anchor, self.closer

    def proves(self, pair: Pair) -> bool:
        """Whether the anchor's value proves the clip; after repetitions it is the pin itself that read."""
        return pair == self.anchor and not self.exhausted and self.again + self.proved <= _MOST_AGAIN

    def closes(self, pair: Pair, contact_s: float) -> bool:
        """Whether the closer's value proves the pair in between open.

        Args:
            pair: that was read.
            contact_s: monotonic time at which this touch began.
        """
        held = self._lifted_s is not None and contact_s - self._lifted_s >= HOLD_S
        return pair == self.closer and self.proved and self._shown and held

    def prove(self) -> None:
        """The anchor was read, and the rest has to follow."""
        self.again += self.proved
        self.proved, self._lifted_s, self._shown = True, None, False

    def lifted(self, monotonic_s: float) -> None:
        """The meter shows no contact any more."""
        if self.proved and self._lifted_s is None:
            self._lifted_s = monotonic_s

    def seen_open(self, monotonic_s: float) -> None:
        """The meter shows overload on a range that reaches what an open pair must exceed, and no contact."""
        self.lifted(monotonic_s)  # nobody has seen it where the program was started again in between
        self._shown = self.proved

    def broken(self) -> None:
        """Something else was read in between: the proof begins anew."""
        self.proved, self._lifted_s, self._shown = False, None, False

    def anew(self) -> None:
        """The step is asked for again, from the start."""
        self.broken()
        self.again, self.exhausted, self.closed = 0, False, False

    def facts(self) -> dict[str, Fact]:
        """What a request needs: the core, the pin that must be open, what to touch before and after it."""
        first, last = (next(pin for pin in pair if pin != self.core) for pair in self.pairs)
        facts: dict[str, Fact] = {"core": self.core, "opened": self.opened, "last": last}
        return facts if self.proved else {"first": first, **facts}


def bracket_for(table: PairTable, step: Step) -> Bracket | None:
    """The bracket of an open step; None where only a key can prove it."""
    first = anchor(table, step)
    last = closing(table, first) if first else None
    if first is None or last is None:
        return None
    core = table.sheet.core
    return Bracket(first, last, core, next(pin for pin in step.pair if pin != core))
