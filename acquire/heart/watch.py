"""Watches what a meter shows besides the value: wrong function, HOLD, a low battery. Each is told once.

Not for the link itself (daemon) nor for values (settle).
"""

from __future__ import annotations

from dataclasses import dataclass, field

from acquire.records import Notice, Weight
from drivers.reading import OHMS, Flag, Kind, Quantity, Reading

SIGNS: dict[Flag, tuple[str, str]] = {
    Flag.HOLD: ("meter.hold", "The meter shows HOLD: switch it off, held values do not count."),
    Flag.MINIMUM: ("meter.minimum", "The meter shows its minimum: switch that off, old values do not count."),
    Flag.MAXIMUM: ("meter.maximum", "The meter shows its maximum: switch that off, old values do not count."),
    Flag.LOW_BATTERY: ("meter.battery", "The meter's battery is low: its readings drift, change it."),
    Flag.RELATIVE: ("meter.relative", "The meter shows relative values: switch that off."),
}
"""Signs worth a word, with code and sentence."""


@dataclass(slots=True)
class ReadingWatch:
    """Remembers what has been told, so that each thing is told once until it ends."""

    _told: set[str] = field(default_factory=set)

    def notices(self, reading: Reading, wanted: Quantity) -> list[Notice]:
        """What the operator must know of this reading beyond its value."""
        found = {code: text for flag, (code, text) in SIGNS.items() if flag in reading.flags}
        if wanted in OHMS and reading.quantity not in OHMS and reading.kind is not Kind.NO_READING:
            name = reading.quantity.value.replace("_", " ")
            found["meter.function"] = f"The meter is on {name}: set it to ohms."
        news = [
            Notice(Weight.WARNING, code, text, reading.utc_s)
            for code, text in found.items()
            if code not in self._told
        ]
        self._told = set(found)
        return news
