"""What the filter remembers of one contact of the probes: readings in the window, last report, its end.

Not for judging: these are plain records that `acquire.settle.filter` fills and empties.
"""

from __future__ import annotations

from collections import deque
from dataclasses import dataclass, field

from drivers.reading import Flag

TRACE_LENGTH = 256  # readings kept as evidence: five seconds of the fastest meter, minutes of a slow one
MOST_POINTS = 40


@dataclass(slots=True)
class Report:
    """The last value stated for a contact."""

    value_si: float
    sigma_si: float
    final: bool
    away: int = 0


@dataclass(slots=True)
class Window:
    """The readings that may still count as one stretch: averaged points, and the block being filled."""

    times_s: list[float] = field(default_factory=list)
    values_si: list[float] = field(default_factory=list)
    conversions: list[int] = field(default_factory=list)
    block: list[tuple[float, float]] = field(default_factory=list)
    flags: set[Flag] = field(default_factory=set)
    mixed: bool = True  # the next reading's integration straddles a touch or a change of range

    def close_block(self) -> float:
        """Turn the block into one point and return its value."""
        count = len(self.block)
        value = sum(v for _, v in self.block) / count
        self.times_s.append(sum(t for t, _ in self.block) / count)
        self.values_si.append(value)
        self.conversions.append(count)
        self.block.clear()
        return value

    def keep_newest(self, points: int) -> None:
        """Forget all but the newest points."""
        del self.times_s[:-points], self.values_si[:-points], self.conversions[:-points]

    def trim(self, window_s: float) -> None:
        """Drop what is older than the window: constant memory at any rate."""
        drop = max(len(self.times_s) - MOST_POINTS, 0)
        newest = self.times_s[-1]
        while newest - self.times_s[drop] > window_s:
            drop += 1
        if drop:
            del self.times_s[:drop], self.values_si[:drop], self.conversions[:drop]


@dataclass(slots=True)
class Touch:
    """One contact, from the first reading after lift-off."""

    contact_s: float
    last_value_s: float
    full_scale_si: float | None
    window: Window = field(default_factory=Window)
    report: Report | None = None
    revision: int = 0
    open_since_s: float | None = None
    open_conversions: int = 0
    trace: deque[tuple[float, float]] = field(default_factory=lambda: deque(maxlen=TRACE_LENGTH))
