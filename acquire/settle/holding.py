"""When to ask for a longer hold: where contacts are too short, nothing tells how wrong a report was.

Not for the sentence: the report carries a code and seconds.
"""

from __future__ import annotations

from dataclasses import dataclass

from acquire.records.settled import Hold

_SHIFT_PAUSE_S = 3 * 3600.0  # a bench that rested for so long begins another shift; workshop choice
_FIRST = 3  # contacts of a shift
_ONE_IN = 30
_LEAST_S, _MOST_S = 3.0, 8.0  # of a longer hold


@dataclass(slots=True)
class Holding:
    """Counts contacts of a shift, and those in a row that taught nothing."""

    last_utc_s: float | None = None
    first: int = 0
    untold: int = 0

    def asked(self, utc_s: float) -> Hold | None:
        """Why the contact that was reported now should be held longer; None: no need."""
        if self.last_utc_s is None or utc_s - self.last_utc_s > _SHIFT_PAUSE_S:
            self.first = self.untold = 0
        self.last_utc_s = utc_s
        self.untold += 1
        if self.first < _FIRST:
            self.first += 1
            return Hold.FIRST_OF_SHIFT
        if self.untold >= _ONE_IN:
            self.untold = 0
            return Hold.SAMPLE
        return None

    def told(self) -> None:
        """A contact was held long enough to teach something."""
        self.untold = 0


def hold_s(creep_s: float) -> float:
    """How long to hold: for as long as contacts creep here, within reason."""
    return min(max(creep_s, _LEAST_S), _MOST_S)
