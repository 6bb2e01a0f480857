"""Suspects a held display on meters that cannot show HOLD over the link. Sans-I/O; works on readings.

A hand never rests so still that a live display shows one and the same value for a third of a minute, and a
step takes a few seconds. Not proof: a clipped-on resistor on a coarse range looks the same, so this is a
remark for the operator, never a reason to refuse a reading.
"""

from __future__ import annotations

from drivers.reading import Flag, Kind, Reading

FROZEN_S = 20.0
FROZEN_CONVERSIONS = 20
"""Workshop choice: longer than any step by hand, shorter than the patience of who wonders."""


class FrozenDisplay:
    """Watches one meter's readings.

    Args:
        frozen_s: how long a value must stay the same; seconds.
    """

    def __init__(self, frozen_s: float = FROZEN_S) -> None:
        self._frozen_s = frozen_s
        self._first: Reading | None = None
        self._count = 0
        self._told = False

    def take(self, reading: Reading) -> str:
        """Take the next reading.

        Returns:
            One sentence when a held display is suspected, once until the value moves; else an empty text.
        """
        first = self._first
        if first is None or reading.kind is not Kind.VALUE or reading.value_si != first.value_si:
            self._first = reading if reading.kind is Kind.VALUE else None
            self._count, self._told = 1, False
            return ""
        self._count += 1
        still_s = reading.monotonic_s - first.monotonic_s
        seen = Flag.HOLD in reading.flags_visible  # then the meter itself says whether HOLD is on
        if seen or self._told or still_s < self._frozen_s or self._count < FROZEN_CONVERSIONS:
            return ""
        self._told = True
        return f"The display has shown the same value for {still_s:.0f} s: is HOLD on?"
