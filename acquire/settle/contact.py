"""What the filter remembers of one contact of the probes: readings, last report, signs of its end.

Not for judging: these are plain records that `acquire.settle.filter` fills and empties.
"""

from __future__ import annotations

from collections import deque
from dataclasses import dataclass, field

from acquire.settle.doubt import Surroundings
from acquire.settle.learning import Statement
from acquire.settle.noise import RangeNoise
from acquire.settle.points import Points

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
        report: the value stated last, as long as later points may still be held against it.
        stated: the value stated last, whatever has come between.
        look: the first stretch that passed the slope test, whatever the doubt said; to learn from.
        first: the first report; to learn from.
        gap_s: when numbers came back after an overload that followed `stated`; None where none has.
    """

    contact_s: float
    last_value_s: float
    full_scale_si: float | None
    points: Points
    noise: RangeNoise
    around: Surroundings
    report: Report | None = None
    stated: Report | None = None
    gap_s: float | None = None
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
