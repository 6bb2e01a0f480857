"""The rule of contact: no value counts for another pair, unit or duty until open probes were seen. Pure.

Probes that have not been lifted still read what they read before, whatever has happened meanwhile: the link
was lost, the meter fell silent, its function or range was changed, the daemon was started again. So a value
belongs to something new only after the meter has shown open probes; until then it can only correct what the
same touch was taken for. Hands may be quicker than a conversion: a meter too slow to show the lift is
believed where value, time and request all say that they have moved on.

Nor may a pair be called open before the meter itself has shown it and a press of the key was meant. A meter
that is silent, on another function, or on a range that ends below what the pair must exceed bears no witness;
a key held down or a scanner's second line end is no statement at all. Not for when a contact begins and
settles (settle), nor for what its value means (unit_work).
"""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass
from enum import StrEnum

from acquire.records import Settled
from acquire.records.bench import Refused
from acquire.records.codes import Fact, Refusal
from drivers.reading import Flag, Kind, Quantity, Reading

SAME = 0.01
"""A value that moves by no more than this fraction without lift-off is of the same pins; workshop choice."""

SLID = 0.1
"""A value that moves by more than this fraction without a lift-off may have changed pins; workshop choice."""

REACTION_S = 1.5
"""Whoever lifts without a verdict and touches again within so long cannot know yet that one came with the
lift: hands most likely lie on the same pair once more. Workshop choice: to hear, read and move two probes."""

LINGER_S = 8.0
"""Hands may stay on a pin for so long after its verdict before they are told to lift; workshop choice."""


class Admission(StrEnum):
    """What a value at rest may be.

    NEW: of a touch that nothing was taken from. REVISED: a correction of what the same touch was taken for.
    MOVED: the same touch reads so much else that hands may have slid, or the contact creeps. SET_UP: the same
    touch, by a meter that was set anew for the same purpose. KNOWN: nothing new. UNLIFTED: the probes lie
    where they lay for something else.
    """

    NEW = "new"
    REVISED = "revised"
    MOVED = "moved"
    SET_UP = "set_up"
    KNOWN = "known"
    UNLIFTED = "unlifted"


@dataclass(slots=True)
class ContactRule:
    """What is known of the probes.

    Attributes:
        lift_off_s: overload for so long is open probes.
        quantity: what the meter is set to while a contact goes on; None while none does.
        seen_open: open probes were seen since a value was last taken; True while none ever was.
        taken: the value of this touch that was taken last, None where none was.
        purpose: what it was taken for: (serial, step), or the name of a duty.
        parted: the value in doubt that was taken last, and what for; None once another was taken.
    """

    lift_off_s: float
    quantity: Quantity | None = None
    seen_open: bool = True
    taken: Settled | None = None
    purpose: tuple[str, ...] = ()
    parted: tuple[Settled, tuple[str, ...]] | None = None
    _air_s: float | None = None
    _hidden: bool = False  # overload was seen, on a range that ends below what lay on the probes
    _refused_s: float | None = None
    _told: bool = False
    _broken: bool = False  # overload was seen since the value was taken, too short for a lift
    _moved: bool = False  # a value was refused, or was one of the same touch, after such an overload
    _unseen: bool = False  # the meter was away since the value was taken: hands may have moved meanwhile

    def begun(self, quantity: Quantity) -> None:
        """A contact has begun, with the meter set to a quantity."""
        self.quantity, self._air_s = quantity, None

    def see(self, reading: Reading) -> None:
        """Take a reading: overload for long enough is open probes."""
        self._broken |= reading.kind is Kind.OVERLOAD
        if self.quantity is not None or reading.kind is not Kind.OVERLOAD or Flag.HOLD in reading.flags:
            self._air_s = None
            return
        if self._air_s is None:
            self._air_s = reading.monotonic_s
        if reading.monotonic_s - self._air_s >= self.lift_off_s:
            self._overloaded(reading.range_full_scale_si)

    def ended(self, reading: Reading | None) -> None:
        """The contact has ended.

        Args:
            reading: with which it did; None where the meter has fallen silent, which shows nothing.
        """
        self._unseen = self._unseen or reading is None
        if reading is not None and reading.quantity is self.quantity:
            self._overloaded(reading.range_full_scale_si)
        self.quantity = self._air_s = None

    def _overloaded(self, full_si: float | None) -> None:
        """Overload shows open probes, but for a range that ends below what lay on them.

        The range that has shown the value does not, though it may be beyond its full scale.
        """
        touch = self.taken
        if touch is None or full_si is None:
            self._hidden = False
        else:
            reached_si = min(abs(touch.value_si), touch.range_full_scale_si or math.inf)
            self._hidden = full_si < reached_si
        if not self._hidden:
            self.cleared()

    def cleared(self) -> None:
        """Open probes were seen, or relays have opened: whatever comes now is a touch of its own."""
        self.seen_open, self.taken, self.purpose = True, None, ()
        self._hidden = self._told = self._broken = self._moved = self._unseen = False
        self._refused_s = None

    def forget(self) -> None:
        """The meter is gone: what it shows when it is back may be the same touch."""
        self.quantity = self._air_s = None
        self._unseen = True

    def taken_before(self) -> None:
        """A value was taken before the daemon was started again: its touch may still lie on the probes."""
        self.seen_open, self.taken, self.purpose = False, None, ()

    def spend(self) -> None:
        """What a contact that goes on was for is done with, such as the unit before."""
        if self.quantity is not None:
            self.taken_before()

    def admits(self, settled: Settled, purpose: tuple[str, ...]) -> Admission:
        """What a value may be.

        Args:
            settled: at rest.
            purpose: what it would be taken for.
        """
        touch = self.taken
        if self._hidden and touch is not None and abs(settled.value_si) < (1.0 - SLID) * abs(touch.value_si):
            self.cleared()  # what lay there would still be beyond this range
        if self._too_soon(settled, purpose):
            self._moved, self._refused_s = True, settled.monotonic_s
            return Admission.UNLIFTED
        if self.seen_open:
            return Admission.NEW
        admission = self._of_same_touch(settled, touch, purpose)
        if admission is Admission.UNLIFTED or (self._broken and admission is Admission.KNOWN):
            self._moved |= self._broken
            self._refused_s = settled.monotonic_s if self._refused_s is None else self._refused_s
        return admission

    def _too_soon(self, settled: Settled, purpose: tuple[str, ...]) -> bool:
        """Whether its touch began before anybody could know of the value told at the last lift."""
        if self.parted is None or purpose == self.parted[1]:
            return False
        before, _ = self.parted
        soon = settled.contact_s - before.monotonic_s < REACTION_S
        return soon and not _plainly_other(before, settled)

    def unlifted(
        self,
        settled: Settled,
        purpose: tuple[str, ...],
        asked_s: float,
        expects: Callable[[Settled], bool],
    ) -> tuple[tuple[str, ...], Admission]:
        """What a value is that no open probes were seen before.

        A touch that was taken for the step before can still be corrected, as long as its probes lie. On a
        meter too slow to show a lift, or after an overload too short for one, it is of the next pair where it
        began after that was asked for, is what a good one reads, and cannot be of the pair before; and of
        neither where it could: hands may have gone on to a pair that reads alike.

        Args:
            settled: a value that is UNLIFTED for its purpose.
            purpose: what is asked for now.
            asked_s: monotonic time when it was asked for.
            expects: whether a value is just what a good unit reads there.

        Returns:
            What the value is for, and what it may be.
        """
        before = self.purpose
        if self._unseen and _plainly_other(self.taken, settled) and expects(settled):
            return purpose, Admission.NEW  # a short for the leads, say, and now a good winding
        if before[:1] != purpose[:1]:
            return purpose, Admission.UNLIFTED
        admission = self.admits(settled, before)
        if admission is not Admission.KNOWN and self._moved_on(settled, asked_s) and expects(settled):
            return purpose, Admission.NEW if _plainly_other(self.taken, settled) else Admission.UNLIFTED
        corrects = admission is Admission.KNOWN or (
            admission in (Admission.REVISED, Admission.MOVED) and not self._broken
        )
        return (before, admission) if corrects else (purpose, Admission.UNLIFTED)

    def _moved_on(self, settled: Settled, asked_s: float) -> bool:
        """Whether hands may have gone on to what was asked for since, unseen by a meter slower than they.

        An overload is a whole conversion in the air: a lift as short as counts holds one for sure only where
        two of them fit into it.
        """
        trace = settled.trace
        if len(trace) < 2:
            return False
        slow = (trace[-1][0] - trace[0][0]) / (len(trace) - 1) > 0.5 * self.lift_off_s
        return (slow or self._broken) and settled.contact_s + trace[0][0] > asked_s

    def _of_same_touch(self, settled: Settled, touch: Settled | None, purpose: tuple[str, ...]) -> Admission:
        if touch is None or purpose != self.purpose:
            return Admission.UNLIFTED
        setting = touch.quantity, touch.range_full_scale_si
        if setting != (settled.quantity, settled.range_full_scale_si):
            return Admission.SET_UP
        if touch.contact_s != settled.contact_s:
            return Admission.UNLIFTED
        moved_si = abs(settled.value_si - touch.value_si)
        if moved_si <= max(touch.expanded_si, settled.expanded_si):
            return Admission.KNOWN
        if moved_si <= SAME * abs(touch.value_si):
            return Admission.REVISED
        return Admission.MOVED if moved_si <= SLID * abs(touch.value_si) else Admission.UNLIFTED

    def take(self, settled: Settled, purpose: tuple[str, ...]) -> None:
        """A value was acted on."""
        before = self.taken
        # the same touch again, after an overload too short for a lift: hands have meant to touch anew
        again = self._broken and before is not None and before.contact_s == settled.contact_s
        self._moved = again and purpose == self.purpose
        self._refused_s = settled.monotonic_s if self._moved else None
        self.taken, self.purpose, self.seen_open = settled, purpose, False
        self.parted = (settled, purpose) if settled.in_doubt else None
        self._broken = self._unseen = False

    def lies(self, purpose: tuple[str, ...]) -> bool:
        """Whether the probes still lie where they lay for something else than this."""
        return self.quantity is not None and not self.seen_open and purpose != self.purpose

    def overdue(self, monotonic_s: float, linger_s: float = LINGER_S) -> bool:
        """Whether to say now that the probes must be lifted: once, and not while hands only linger.

        Whoever still holds the touch that was just taken knows what it was for; slow meters show a lift late.
        After an overload too short for a lift hands have most likely moved on, and wait for what never comes.
        """
        if self._told or self._refused_s is None or self.quantity is None:
            return False
        since_s = self._refused_s if self.taken is None or self._moved else self.taken.monotonic_s + linger_s
        self._told = monotonic_s >= since_s
        return self._told


def _plainly_other(touch: Settled | None, settled: Settled) -> bool:
    """Whether a value cannot be that of the touch before, however it has drifted."""
    if touch is None:
        return False
    apart_si = abs(settled.value_si - touch.value_si)
    return apart_si > max(SAME * abs(touch.value_si), 3.0 * (touch.expanded_si + settled.expanded_si))


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
