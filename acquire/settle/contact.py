"""What the filter remembers of one contact of the probes: readings, last report, signs of its end.

Not for judging: these are plain records that `acquire.settle.filter` fills and empties.
"""

from __future__ import annotations

from collections import deque
from dataclasses import dataclass, field

from acquire.settle.doubt import Surroundings
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
    """One contact, from the first reading after lift-off."""

    contact_s: float
    last_value_s: float
    full_scale_si: float | None
    points: Points
    around: Surroundings
    report: Report | None = None
    revision: int = 0
    open_since_s: float | None = None
    open_conversions: int = 0
    trace: deque[tuple[float, float]] = field(default_factory=_evidence)
