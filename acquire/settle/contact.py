"""What the filter remembers of one contact of the probes, and when to ask for a longer hold.

Where contacts are too short, nothing tells how wrong a report was. Not for judging: these are records that
`acquire.settle.filter` fills and empties.
"""

from __future__ import annotations

from collections import deque
from dataclasses import dataclass, field

from acquire.records.settled import Hold
from acquire.settle.doubt import Surroundings
from acquire.settle.learning import Statement
from acquire.settle.points import Points
from drivers.reading import Reading

TRACE_LENGTH = 256  # readings kept as evidence: five seconds of a fast meter, minutes of a slow one


@dataclass(slots=True)
class Report:
    """The last value stated for a contact."""

    value_si: float
    sigma_si: float
    final: bool
    away: int = 0


def _evidence() -> deque[tuple[float, float]]:
    return deque(maxlen=TRACE_LENGTH)


@dataclass(slots=True)
class Touch:
    """One contact, from the first reading after lift-off.

    Attributes:
        latest: the newest reading with a number.
        report: the value stated last, as long as later points may still be held against it.
        stated: the value stated last, whatever has come between.
        look: the first stretch that passed the slope test, whatever the doubt said; to learn from.
        first: the first report; to learn from.
        gap_s: when numbers came back after an overload that followed `stated`; None where none has.
        brief: that overload was so short that it may have been a bounce.
    """

    contact_s: float
    latest: Reading
    full_scale_si: float | None
    points: Points
    around: Surroundings
    report: Report | None = None
    stated: Report | None = None
    gap_s: float | None = None
    brief: bool = False
    look: Statement | None = None
    first: Statement | None = None
    revision: int = 0
    open_since_s: float | None = None
    open_conversions: int = 0
    trace: deque[tuple[float, float]] = field(default_factory=_evidence)

    def begin_anew(self, contact_s: float) -> None:
        """Take everything since a time as another contact that began then."""
        later_s = contact_s - self.contact_s
        kept = [(at_s - later_s, value_si) for at_s, value_si in self.trace if at_s >= later_s]
        self.trace = deque(kept, maxlen=self.trace.maxlen)
        self.contact_s, self.revision, self.report, self.stated = contact_s, 0, None, None


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
