"""How fast a meter converts: what its settings imply, until it has been measured. Pure; no clock is read.

Everything that waits for a meter waits in conversions of this pace, so that eight seconds a reading are as
good as a fiftieth. Not for what the readings say.
"""

from __future__ import annotations

from dataclasses import dataclass

PATIENT_CONVERSIONS = 4
"""A meter may take this many of its intervals before it counts as silent; workshop choice."""


@dataclass(slots=True)
class Pace:
    """Time between conversions.

    Attributes:
        implied_s: what the settings imply; None where nobody knows.
        measured_s: a slow average of what was seen; None before two readings.
    """

    implied_s: float | None = None
    measured_s: float | None = None
    _last_s: float | None = None
    _gaps: int = 0

    @property
    def interval_s(self) -> float | None:
        """Seconds from one conversion to the next; None where nothing is known."""
        return self.implied_s if self.measured_s is None else self.measured_s

    def patience_s(self, least_s: float, conversions: int = PATIENT_CONVERSIONS) -> float:
        """How long to wait: so many conversions, but at least so long."""
        return max(least_s, conversions * (self.interval_s or 0.0))

    def set_anew(self, implied_s: float | None) -> None:
        """The meter was set anew; what was measured before tells nothing of it."""
        self.implied_s, self.measured_s, self._last_s, self._gaps = implied_s, None, None, 0

    def note(self, monotonic_s: float) -> None:
        """A conversion has come. Outages pass: a first gap is believed only until a shorter one."""
        last_s, self._last_s = self._last_s, monotonic_s
        passed_s = 0.0 if last_s is None else monotonic_s - last_s
        if passed_s <= 0.0:
            return
        self._gaps += 1
        known_s = self.measured_s
        if known_s is None or (self._gaps == 2 and passed_s < known_s):
            self.measured_s = passed_s
        else:
            if not 0.5 * known_s <= passed_s <= 2.0 * known_s:
                passed_s = known_s * (0.5 if passed_s < known_s else 2.0)
            self.measured_s = known_s + 0.1 * (passed_s - known_s)
