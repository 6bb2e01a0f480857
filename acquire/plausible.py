"""The one gate for what a verdict leans on beside the meter: air, lead zero, known resistor, clock, typed.

A value counts that can be of this place, lies near what was known before, and beside its neighbours. Any
other is doubted: told, put aside and not used, until others like it have come. Pure, and it raises nothing.
What is said of a doubt, and on what record it goes, is for whoever asked.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, field, replace
from enum import StrEnum

TELL_AGAIN_S = 600.0
"""A source that goes on being doubted is told again after so long."""

AHEAD_S = 60.0
"""How far two clocks of a bench, or one that is slewed, may differ. Workshop choice."""


def fresh(taken_utc_s: float, utc_s: float, max_age_s: float) -> bool:
    """Whether what was taken then still counts now; the one rule for all that has an age.

    What is of a time yet to come was taken, or is looked at, by a wrong clock: its age is not known, and it
    counts no longer. (A clock set back while the bench works moves all times with it: `move_times`.)
    """
    return -AHEAD_S <= utc_s - taken_utc_s <= max_age_s


class Doubt(StrEnum):
    """Why a value is not used.

    IMPOSSIBLE: this place cannot be so. UNCONFIRMED: nothing is known before it. JUMPED: too far from what
    was known. APART: too far from its neighbour.
    """

    IMPOSSIBLE = "impossible"
    UNCONFIRMED = "unconfirmed"
    JUMPED = "jumped"
    APART = "apart"


@dataclass(frozen=True, slots=True)
class Plausibility:
    """What an influence quantity can be, how fast it changes, and what confirms a doubted value.

    Attributes:
        lower, upper: what it can be; nothing beyond is ever used.
        near: how far two values lie apart that follow each other.
        near_per_s: and how much further for each second between them, up to `near_at_most`.
        alike: how far values lie apart that confirm each other; None: as `near`.
        first: how many must agree where nothing is known before.
        again, for_s: how many must agree about a jump, and for how long.
    """

    lower: float
    upper: float
    near: float
    near_per_s: float = 0.0
    near_at_most: float = math.inf
    alike: float | None = None
    first: int = 1
    again: int = 2
    for_s: float = 0.0


@dataclass(frozen=True, slots=True)
class Seen:
    """A value, when it was seen, and by which touch or line: what is of one touch confirms itself never."""

    value: float
    utc_s: float
    touch: float | None = None


@dataclass(slots=True)
class Gate:
    """The gate before one source.

    Attributes:
        known: what was let in last.
        aside: what nothing confirms yet, oldest first.
        doubted: how many were not used.
    """

    known: Seen | None = None
    aside: list[Seen] = field(default_factory=list)
    doubted: int = 0
    _told_utc_s: float = -math.inf

    def look(
        self, law: Plausibility, new: Seen, *, more: float = 0.0, max_age_s: float = math.inf
    ) -> Doubt | None:
        """Let a value in, or say why it is doubted.

        Args:
            law: of the quantity.
            new: the value.
            more: how much further it may lie for what itself is not known by, such as a coarse display.
            max_age_s: older knowledge is none.
        """
        if not law.lower <= new.value <= law.upper:  # not a number lies nowhere
            self.doubted += 1
            return Doubt.IMPOSSIBLE
        before = self.known
        if before is not None and not fresh(before.utc_s, new.utc_s, max_age_s):
            before = None
        if before is not None and _near(law, before, new, more):
            self._let_in(new)
            return None
        other = bool(self.aside) and not _near(law, self.aside[-1], new, more, law.alike)
        if other:
            self.aside.clear()
        if not self.aside or new.touch is None or self.aside[-1].touch != new.touch:
            self.aside.append(new)
        wanted, for_s = (law.first, 0.0) if before is None else (law.again, law.for_s)
        if len(self.aside) >= wanted and new.utc_s - self.aside[0].utc_s >= for_s:
            self._let_in(new)
            return None
        if before is None and not other:
            return Doubt.UNCONFIRMED
        self.doubted += 1
        return Doubt.JUMPED

    def tells(self, utc_s: float) -> bool:
        """Whether a doubt is to be told now: once in a while."""
        if 0.0 <= utc_s - self._told_utc_s < TELL_AGAIN_S:
            return False
        self._told_utc_s = utc_s
        return True

    def move_times(self, by_s: float) -> None:
        """The clock was set back: what has an age goes with it."""
        if self.known is not None:
            self.known = replace(self.known, utc_s=self.known.utc_s - by_s)
        self.aside = [replace(each, utc_s=each.utc_s - by_s) for each in self.aside]

    def _let_in(self, new: Seen) -> None:
        self.aside.clear()
        self.known = new


def _near(law: Plausibility, before: Seen, new: Seen, more: float, alike: float | None = None) -> bool:
    """Whether it can have changed so much between two looks; a clock set back counts as no time."""
    by_s = max(0.0, new.utc_s - before.utc_s)
    allowed = law.near + law.near_per_s * by_s if alike is None else alike
    return abs(new.value - before.value) <= min(allowed, law.near_at_most) + more
