"""The clocks of the daemon: the real one, one that runs faster for demonstrations, and one turned by hand."""

from __future__ import annotations

import time
from dataclasses import dataclass, field
from typing import Protocol

from system.clocks import unslept_s


class Clock(Protocol):
    """Monotonic seconds for intervals, UTC seconds for the record."""

    def monotonic_s(self) -> float:
        """Seconds from an arbitrary start, never going back."""
        ...

    def utc_s(self) -> float:
        """Seconds since 1970-01-01T00:00:00 UTC."""
        ...


@dataclass(slots=True)
class RealClock:
    """The machine's clocks, or the same run `speed` times as fast (for the demo, whose meters run as fast).

    Attributes:
        speed: seconds of this clock per real second, > 0. Only with 1 is its UTC the world's.
    """

    speed: float = 1.0
    _start_monotonic_s: float = field(default_factory=unslept_s)
    _start_utc_s: float = field(default_factory=time.time)

    def monotonic_s(self) -> float:
        """Seconds since an arbitrary start, sped up."""
        return self._start_monotonic_s + (unslept_s() - self._start_monotonic_s) * self.speed

    def utc_s(self) -> float:
        """UTC seconds; follows the machine's clock at speed 1, else runs on from the start."""
        if self.speed == 1.0:
            return time.time()
        return self._start_utc_s + (unslept_s() - self._start_monotonic_s) * self.speed

    def pair(self) -> tuple[float, float]:
        """Both, as drivers want them (`drivers.meter.ClockPair`)."""
        return self.monotonic_s(), self.utc_s()


@dataclass(slots=True)
class HandClock:
    """A clock that stands still until it is turned; for tests and replays."""

    now_monotonic_s: float = 0.0
    now_utc_s: float = 1_700_000_000.0

    def monotonic_s(self) -> float:
        """Where it was turned to."""
        return self.now_monotonic_s

    def utc_s(self) -> float:
        """Where it was turned to."""
        return self.now_utc_s

    def pair(self) -> tuple[float, float]:
        """Both, as drivers want them (`drivers.meter.ClockPair`)."""
        return self.now_monotonic_s, self.now_utc_s

    def turn(self, seconds: float) -> None:
        """Turn both hands forward (or back)."""
        self.now_monotonic_s += seconds
        self.now_utc_s += seconds


SET_BACK_S = 2.0
"""A UTC that falls behind the monotonic clock by more between two looks was set back, not slewed."""

SET_FORWARD_S = 60.0
"""One that gets ahead by more was set. Workshop choice: nothing ages in a minute."""


@dataclass(slots=True)
class UtcWatch:
    """Notices when UTC was set: back, old values would seem fresh; forward, a unit would seem to have cooled.

    A machine that slept sets no clock: the monotonic one goes on meanwhile (`system.clocks`).
    """

    _ahead_s: float | None = None

    def set_by_s(self, monotonic_s: float, utc_s: float) -> float:
        """Seconds by which UTC was set forward (> 0) or back (< 0) since the last call; 0 if it was not."""
        before_s, self._ahead_s = self._ahead_s, utc_s - monotonic_s
        by_s = 0.0 if before_s is None else self._ahead_s - before_s
        return by_s if by_s <= -SET_BACK_S or by_s >= SET_FORWARD_S else 0.0
