"""What the probes are doing: contact, how far from rest, the trace of readings, the value on the meter.

Pure: readings and events in, plain JSON values out. Not for what the value means (view, unit_view).
"""

from __future__ import annotations

import math
from collections import deque
from dataclasses import dataclass, field
from typing import Any

from acquire.quantity import show
from acquire.records import Approach, Contact, Settled
from acquire.words.settling import held, hindered
from drivers.reading import UNIT_OF, Kind, Reading

Plain = dict[str, Any]
Point = tuple[float, float]

TRACE_POINTS = 600
"""Kept of one contact; above that every second one of the older half goes."""

RECENT = 64
"""Readings remembered before a contact is told: the event comes a moment after its reading."""

NEAR = 3.0
"""An unrest below this many times what is allowed reads "nearly at rest"; workshop choice."""

UNITS = {"ohm": "Ω", "1": ""}
"""Units of measure as screens write them, where they differ."""


def nothing_read() -> Plain:
    """The display before the first reading."""
    return {"text": "—", "si": None, "unit": "Ω", "quantity": "", "kind": "none", "silent": False}


@dataclass(slots=True)
class ContactView:
    """The probes of one bench.

    Attributes:
        touching: they are on something.
        reading: the meter's display, for the page.
        rest: how far from rest; None while the probes are off.
        trace: (seconds since contact, value in SI) of the contact that is going on, or the last one.
        fresh: points not yet given away; renewed: the next ones belong to a new contact.
    """

    touching: bool = False
    reading: Plain = field(default_factory=nothing_read)
    rest: Plain | None = None
    trace: list[Point] = field(default_factory=list)
    fresh: list[Point] = field(default_factory=list)
    renewed: bool = False
    _recent: deque[Point] = field(default_factory=lambda: deque(maxlen=RECENT))
    _contact_s: float = 0.0

    def see(self, reading: Reading) -> None:
        """Take one reading."""
        self.reading = reading_words(reading)
        if reading.value_si is None:
            self._recent.clear()
            return
        point = (reading.monotonic_s, reading.value_si)
        self._recent.append(point)
        if self.touching:
            self._add(point)

    def touched(self, event: Contact) -> None:
        """A contact has begun, with a reading that was seen already."""
        self.touching, self.renewed = True, True
        self._contact_s = event.monotonic_s
        self.trace.clear()
        self.fresh.clear()
        self.rest = rest_words(None)
        for point in self._recent:
            if point[0] >= event.monotonic_s:
                self._add(point)

    def approach(self, event: Approach) -> None:
        """The value still moves."""
        if self.touching:
            self.rest = rest_words(event.unrest, hindered(event))

    def settled(self, event: Settled) -> None:
        """The value is at rest."""
        if self.touching:
            self.rest = rest_words(0.0, held(event))

    def lifted(self) -> None:
        """The probes have left."""
        self.touching, self.rest = False, None

    def quiet(self, *, silent: bool) -> None:
        """Whether the meter has been silent for some time."""
        if self.reading["silent"] != silent:
            self.reading = {**self.reading, "silent": silent}

    def take_points(self) -> Plain | None:
        """What has come since the last call; None where nothing has."""
        if not self.fresh and not self.renewed:
            return None
        points, self.fresh = self.fresh, []
        renewed, self.renewed = self.renewed, False
        return {"new": renewed, "points": [[round(s, 4), si] for s, si in points]}

    def _add(self, point: Point) -> None:
        since = (point[0] - self._contact_s, point[1])
        self.trace.append(since)
        self.fresh.append(since)
        if len(self.trace) > TRACE_POINTS:
            half = len(self.trace) // 2
            self.trace[:half] = self.trace[:half:2]


def reading_words(reading: Reading) -> Plain:
    """The meter's display in words and numbers."""
    unit = UNIT_OF[reading.quantity]
    shown = UNITS.get(unit, unit)
    kind, text = "none", "—"
    if reading.value_si is not None:
        kind, text = "value", show(reading.value_si, shown or "1", resolution_si=reading.resolution_si)
    elif reading.kind is not Kind.NO_READING:
        kind, text = "overload", "open" if shown == "Ω" else "over range"
    return {
        "text": text,
        "si": reading.value_si,
        "unit": shown,
        "quantity": reading.quantity.value,
        "kind": kind,
        "silent": False,
    }


def rest_words(unrest: float | None, advice: str = "") -> Plain:
    """How near to rest, 0 to 1 on a logarithmic scale up to a hundred times what is allowed, and in words.

    Args:
        unrest: as a multiple of what is allowed; None where nothing is known yet.
        advice: what the hands can do about it, in place of the word.
    """
    if unrest is None or not math.isfinite(unrest):
        return {"unrest": None, "share": 0.0, "word": advice or "still moving"}
    share = 1.0 - math.log10(min(max(unrest, 1.0), 100.0)) / 2.0
    word = "at rest" if unrest <= 1.0 else ("nearly at rest" if unrest <= NEAR else "still moving")
    return {"unrest": round(unrest, 2), "share": round(share, 3), "word": advice or word}
