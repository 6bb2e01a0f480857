"""What the probes are doing: contact, how far from rest, the trace, the value shown, and all in one word.

Pure: readings and events in, plain JSON values out. Not for what the value means (view, drawing).
"""

from __future__ import annotations

import math
from collections import deque
from dataclasses import dataclass, field

from acquire.page.telling import Plain
from acquire.quantity import show
from acquire.records import Approach, Ask, CheckStandard, Contact, LeadZero, LiftOff, Prompt, Settled, Why
from acquire.words.settling import held, hindered
from drivers.reading import UNIT_OF, Kind, Reading

Point = tuple[float, float]

TRACE_POINTS = 600
"""Kept of one contact; above that every second one of the older half goes."""

RECENT = 64
"""Readings remembered before a contact is told: the event comes a moment after its reading."""

PHASES = (
    *("idle", "touch", "settling", "settled", "verdict", "other_pair", "lift"),
    *("duty", "stopped", "lost", "wait", "ended"),
)
"""Every phase."""

SELF_CHECKS = frozenset({Why.SELF_CHECK, Why.SELF_CHECK_PASSED})
DUTIES = frozenset({Ask.SHORT_PROBES, Ask.CHECK_RESISTOR, Ask.CLIP_ON})
"""Requests that are no step of a unit: their text says it all."""

NEAR = 3.0
"""A settling ratio below this many times what is allowed reads "nearly settled"; workshop choice."""

UNITS = {"ohm": "Ω", "1": ""}
"""Units of measure as screens write them, where they differ."""


def nothing_read() -> Plain:
    """The display before the first reading."""
    return {"text": "—", "unit": "Ω", "kind": "none", "silent": False}


@dataclass(slots=True)
class ContactView:
    """The probes of one bench.

    Attributes:
        touching: they are on something; at_rest: its value is; other: it reads like another pair.
        stays: the contact only goes on under another setting of the meter.
        judged: there is a verdict that no later contact, word or question has put away.
        lost: the meter is away.
        reading: the meter's display, for the page.
        rest: how far from rest; None while the probes are off.
        trace: (seconds since contact, value in SI) of the contact that is going on, or the last one.
        fresh: points not yet given away; renewed: the next ones belong to a new contact.
    """

    touching: bool = False
    at_rest: bool = False
    other: bool = False
    stays: bool = False
    judged: bool = False
    lost: bool = False
    reading: Plain = field(default_factory=nothing_read)
    rest: Plain | None = None
    trace: list[Point] = field(default_factory=list)
    fresh: list[Point] = field(default_factory=list)
    renewed: bool = False
    _recent: deque[Point] = field(default_factory=lambda: deque(maxlen=RECENT))
    _contact_s: float = 0.0

    def see(self, reading: Reading) -> None:
        """Take one reading."""
        self.lost = False
        self.reading = reading_words(reading)
        if reading.value_si is None:
            self._recent.clear()
            return
        point = (reading.monotonic_s, reading.value_si)
        self._recent.append(point)
        if self.touching:
            self._add(point)

    def show(self, event: Contact | Approach | Settled | LiftOff | LeadZero | CheckStandard) -> None:
        """Take what the probes do; the verdict stays to be read when they leave."""
        match event:
            case Contact():
                self._touched(event)
            case Approach() if self.touching:
                self.rest = rest_words(event.settling_ratio, hindered(event))
            case Settled():
                self.at_rest = True
                self.rest = rest_words(0.0, held(event) or "settled") if self.touching else self.rest
            case LiftOff():
                self._lifted()
            case LeadZero() | CheckStandard():
                self.stays = self.touching  # what the probes lie on is done with

    def _touched(self, event: Contact) -> None:
        """A contact has begun, with a reading that was seen already, or goes on under another setting."""
        self.touching, self.renewed, self.stays = True, True, event.goes_on
        if not event.goes_on:
            self.at_rest = self.judged = self.other = False
        self._contact_s = event.monotonic_s
        self.trace.clear()
        self.fresh.clear()
        self.rest = rest_words(None)
        for point in self._recent:
            if point[0] >= event.monotonic_s:
                self._add(point)

    def _lifted(self) -> None:
        self.touching = self.at_rest = self.other = self.stays = False
        self.rest = None

    def gone(self) -> None:
        """The meter is away, and with it the contact."""
        self._lifted()
        self.lost = True

    def quiet(self, *, silent: bool) -> None:
        """Whether the meter has been silent for some time."""
        self.reading = {**self.reading, "silent": silent}

    def take_points(self) -> Plain | None:
        """What has come since the last call; None where nothing has."""
        if not self.fresh and not self.renewed:
            return None
        points, self.fresh = self.fresh, []
        renewed, self.renewed = self.renewed, False
        return {"new": renewed, "points": [[round(s, 4), si] for s, si in points]}

    def word(self, prompt: Prompt | None, *, stopped: bool, ended: bool) -> str:
        """The phase.

        Args:
            prompt: what is asked for; None before anything was.
            stopped: something says that nothing is judged.
            ended: the last unit's result is still on show.
        """
        if self.lost or stopped:
            return "lost" if self.lost else "stopped"
        if prompt is None or prompt.ask is Ask.START_UNIT:
            return "ended" if ended else "idle"
        if prompt.ask in DUTIES or prompt.why in SELF_CHECKS:
            return "duty"
        if self.judged and prompt.why is not Why.SILENT:
            return "verdict"
        if self.touching:
            known = {"other_pair": self.other, "lift": self.stays, "settled": self.at_rest}
            return next((word for word, there in known.items() if there), "settling")
        return {Ask.LIFT: "lift", Ask.WAIT: "wait"}.get(prompt.ask, "touch")

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
    return {**nothing_read(), "text": text, "unit": shown, "kind": kind}


def rest_words(settling_ratio: float | None, advice: str = "") -> Plain:
    """How near to rest, 0 to 1 on a logarithmic scale up to a hundred times what is allowed, and in words.

    Args:
        settling_ratio: as a multiple of what is allowed; None where nothing is known yet.
        advice: what the hands can do about it, in place of the word.
    """
    if settling_ratio is None or not math.isfinite(settling_ratio):
        return {"share": 0.0, "word": advice or "still moving"}
    share = 1.0 - math.log10(min(max(settling_ratio, 1.0), 100.0)) / 2.0
    word = "nearly settled" if settling_ratio <= NEAR else "still moving"  # at rest is what has settled
    return {"share": round(share, 3), "word": advice or word}
