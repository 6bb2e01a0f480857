"""Watches what a meter shows besides the value: wrong function, HOLD, a low battery. Each is told once.

Not for the link itself (daemon), values (settle), nor for what keeps the bench waiting (standstill).
"""

from __future__ import annotations

from dataclasses import dataclass, field

from acquire.records import Code, Notice, Weight
from drivers.reading import OHMS, Flag, Kind, Quantity, Reading

SIGNS: dict[Flag, Code] = {
    Flag.HOLD: Code.METER_HOLD,
    Flag.MINIMUM: Code.METER_MINIMUM,
    Flag.MAXIMUM: Code.METER_MAXIMUM,
    Flag.LOW_BATTERY: Code.METER_BATTERY,
    Flag.RELATIVE: Code.METER_RELATIVE,
}
"""Signs worth a word."""


def signs(reading: Reading, wanted: Quantity) -> list[Notice]:
    """What speaks against a reading beside its value.

    Args:
        reading: of the ohms meter.
        wanted: what it should measure.
    """
    found = [
        Notice(Weight.WARNING, code, reading.utc_s) for flag, code in SIGNS.items() if flag in reading.flags
    ]
    if wanted in OHMS and reading.quantity not in OHMS and reading.kind is not Kind.NO_READING:
        facts = {"quantity": reading.quantity.value}
        found.append(Notice(Weight.WARNING, Code.METER_FUNCTION, reading.utc_s, facts=facts))
    return found


@dataclass(slots=True)
class ReadingWatch:
    """Remembers what has been told, so that each thing is told once until it ends."""

    _told: set[Code] = field(default_factory=set)

    def notices(self, reading: Reading, wanted: Quantity) -> list[Notice]:
        """What the operator must know of this reading beyond its value."""
        found = signs(reading, wanted)
        news = [each for each in found if each.code not in self._told]
        self._told = {each.code for each in found}
        return news
