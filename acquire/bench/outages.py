"""Tells the operator that CSV or broker have been out of reach for a while, and when they are back.

Shown, and not put on the record: what waits is safe there already, and an outage says nothing of any unit.
Not for the outlets themselves, nor for how they try again (`acquire.outlets.outlet`).
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, field

from acquire.outlets.outlet import Health
from acquire.records import Code, Fact, Notice, Severity

TELL_AFTER_S = 10.0
"""A shorter outage is nobody's business at the bench; workshop choice: a broker's restart takes less."""


@dataclass(slots=True)
class Outages:
    """What is out of reach, and whether that was told.

    Attributes:
        tell_after_s: how long an outage must last to be told.
    """

    tell_after_s: float = TELL_AFTER_S
    _since_s: dict[str, float] = field(default_factory=dict)
    _told: set[str] = field(default_factory=set)

    def notices(self, healths: Iterable[Health], monotonic_s: float, utc_s: float) -> list[Notice]:
        """What is to be told now.

        Args:
            healths: how each outlet is doing.
            monotonic_s: now.
            utc_s: now, for the notice.
        """
        told = []
        for health in healths:
            if health.failing:
                lasted_s = monotonic_s - self._since_s.setdefault(health.name, monotonic_s)
                if lasted_s >= self.tell_after_s and health.name not in self._told:
                    self._told.add(health.name)
                    failing: dict[str, Fact] = {"outlet": health.name, "cause": health.failing}
                    told.append(Notice(Severity.WARNING, Code.OUTLET_FAILING, utc_s, facts=failing))
            elif (since_s := self._since_s.pop(health.name, None)) is not None and health.name in self._told:
                self._told.discard(health.name)
                back: dict[str, Fact] = {"outlet": health.name, "after_s": monotonic_s - since_s}
                told.append(Notice(Severity.INFO, Code.OUTLET_BACK, utc_s, facts=back))
        return told
