"""What one contact of the probes has been taken for so far, and whether they were seen to leave before it.

Pure. Not for when a contact begins and ends (settle), nor for what its value means (unit_work).
"""

from __future__ import annotations

from dataclasses import dataclass

from acquire.records import Settled
from acquire.steps.unit import UnitProgress
from drivers.reading import Flag, Kind, Quantity, Reading

SLID = 0.1
"""A value that moves by more than this fraction without a lift-off has changed pins; workshop choice."""


@dataclass(slots=True)
class Touching:
    """The contact that is going on.

    Attributes:
        latest: the value of it that was last acted on.
        returned: the probes were seen in the air before it, and have not slid since: a meter that fell silent
            or was set anew has ended the contact before as well, but nobody has lifted.
        spent: the probes have not been lifted since something else was done with: the unit before, a lead
            zero, a check standard. What they read is not the next unit's.
        quantity: what the meter is set to; None while no contact goes on.
    """

    latest: Settled | None = None
    returned: bool = False
    spent: bool = False
    quantity: Quantity | None = None
    _left: bool = False
    _air_s: float | None = None
    _may_slide: bool = False
    _told: bool = False

    def begun(self, quantity: Quantity) -> None:
        """A contact has begun, with the meter set to a quantity."""
        self.returned, self._left, self.quantity, self._air_s = self._left, False, quantity, None

    def spend(self, *, may_slide: bool = False) -> None:
        """What a contact that goes on was for is done with; the probes must be lifted before anything else.

        Args:
            may_slide: moving to other pins will do too, as within a unit: from the short of a lead zero hands
                reach the first pair before a slow meter has shown overload. From unit to unit they do not.
        """
        if self.quantity is not None:
            self.spent, self._may_slide, self._told = True, may_slide, may_slide

    def seen_between(self, reading: Reading, lift_off_s: float) -> None:
        """Take a reading; overload for so long while no contact goes on means that the probes are lifted."""
        if self.quantity is not None or reading.kind is not Kind.OVERLOAD or Flag.HOLD in reading.flags:
            return
        if self._air_s is None:
            self._air_s = reading.monotonic_s
        if reading.monotonic_s - self._air_s >= lift_off_s:
            self.spent = False

    def ended(self, reading: Reading | None) -> None:
        """The contact has ended.

        Args:
            reading: with which it did; None where the meter has fallen silent.
        """
        same = reading is not None and reading.quantity is self.quantity
        self._left = same and reading is not None and reading.kind is Kind.OVERLOAD
        self.spent = self.spent and not same
        self.latest = self.quantity = self._air_s = None
        self.returned = False

    def forget(self) -> None:
        """The meter is gone: nothing is known of the probes, but that they must still be lifted if spent."""
        self.latest = self.quantity = self._air_s = None
        self.returned = self._left = False

    def is_unlifted(self, settled: Settled) -> bool:
        """Whether a value is still of what is done with; then it means nothing."""
        touch = self.latest
        if self.spent and self._may_slide and touch is not None and touch.contact_s == settled.contact_s:
            self.spent = abs(settled.value_si - touch.value_si) <= max(
                touch.expanded_si, settled.expanded_si, SLID * abs(touch.value_si)
            )
        return self.spent

    def is_to_be_told(self, settled: Settled) -> bool:
        """Whether to say of such a value that the probes must be lifted: once, and not of one acted on.

        Whoever still holds that knows what it was for.
        """
        touch = self.latest
        if self._told or (touch is not None and self._is_same(touch, settled)):
            return False
        self._told = True
        return True

    def is_news(self, settled: Settled, progress: UnitProgress) -> bool:
        """Whether a report is a new touch, or a correction of the one acted on (which is then taken back)."""
        touch = self.latest
        if touch is None or touch.contact_s != settled.contact_s:
            return True
        before = touch.value_si
        if self._is_same(touch, settled):
            return False
        moved = abs(settled.value_si - before)
        if moved <= SLID * abs(before):
            progress.take_back()
        else:
            self.returned = False
        return True

    def is_judged_already(self, settled: Settled) -> bool:
        """Whether the value belongs to a contact that was acted on."""
        return self.latest is not None and self.latest.contact_s == settled.contact_s

    @staticmethod
    def _is_same(touch: Settled, settled: Settled) -> bool:
        """Whether a report says of the same contact what was said before."""
        within_si = max(touch.expanded_si, settled.expanded_si)
        return touch.contact_s == settled.contact_s and abs(settled.value_si - touch.value_si) <= within_si

    def same_setting(self, settled: Settled) -> bool:
        """Whether nothing was acted on, or the meter is still set as it was then."""
        return self.latest is None or self.latest.quantity is settled.quantity
