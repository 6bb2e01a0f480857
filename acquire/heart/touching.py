"""What one contact of the probes has been taken for so far, and whether they were seen to leave before it.

Pure. Not for when a contact begins and ends (settle), nor for what its value means (unit_work).
"""

from __future__ import annotations

from dataclasses import dataclass

from acquire.records import Settled
from acquire.steps.unit import UnitProgress
from drivers.reading import Kind, Reading

SLID = 0.1
"""A value that moves by more than this fraction without a lift-off has changed pins; workshop choice."""


@dataclass(slots=True)
class Touching:
    """The contact that is going on.

    Attributes:
        latest: the value of it that was last acted on.
        returned: the probes were seen in the air before it, and have not slid since: a meter that fell silent
            or was set anew has ended the contact before as well, but nobody has lifted.
    """

    latest: Settled | None = None
    returned: bool = False
    _left: bool = False

    def begun(self) -> None:
        """A contact has begun."""
        self.returned, self._left = self._left, False

    def ended(self, reading: Reading | None) -> None:
        """The contact has ended.

        Args:
            reading: with which it did; None where the meter has fallen silent.
        """
        same = reading is not None and (self.latest is None or self.latest.quantity is reading.quantity)
        self._left = same and reading is not None and reading.kind is Kind.OVERLOAD
        self.latest, self.returned = None, False

    def forget(self) -> None:
        """Nothing is known of the probes any more."""
        self.latest, self.returned, self._left = None, False, False

    def is_news(self, settled: Settled, progress: UnitProgress) -> bool:
        """Whether a report is a new touch, or a correction of the one acted on (which is then taken back)."""
        touch = self.latest
        if touch is None or touch.contact_s != settled.contact_s:
            return True
        before = touch.value_si
        moved = abs(settled.value_si - before)
        if moved <= max(touch.expanded_si, settled.expanded_si):
            return False
        if moved <= SLID * abs(before):
            progress.take_back()
        else:
            self.returned = False
        return True

    def is_judged_already(self, settled: Settled) -> bool:
        """Whether the value belongs to a contact that was acted on."""
        return self.latest is not None and self.latest.contact_s == settled.contact_s

    def same_setting(self, settled: Settled) -> bool:
        """Whether nothing was acted on, or the meter is still set as it was then."""
        return self.latest is None or self.latest.quantity is settled.quantity
