"""Which verdicts on record are doubtful, because the leads have changed since they were zeroed.

Derived from the lead zeros that stand behind the verdicts; the record itself is never changed. Not for
deciding when to zero (duties).
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from typing import Any

from acquire.journal.question import Question, Record
from acquire.physics.leads import moved
from acquire.records import LeadZero
from drivers.reading import Quantity


@dataclass(frozen=True, slots=True)
class Doubts:
    """The lead zeros of a journal that found their leads changed, oldest first."""

    zeros: tuple[LeadZero, ...] = ()

    @classmethod
    def of(cls, record: Record) -> Doubts:
        """Look them up in a record. Raises JournalUnusable where it cannot be read."""
        found = (entry.record for entry in record.find(Question(kinds=("lead_zero",))))
        return cls.among(zero for zero in found if isinstance(zero, LeadZero))

    @classmethod
    def among(cls, zeros: Iterable[LeadZero]) -> Doubts:
        """Those of some zeros that make earlier verdicts doubtful."""
        return cls(tuple(zero for zero in zeros if zero.doubtful_since_utc_s is not None))

    def why(self, verdict: Any) -> str:
        """Why a verdict is doubtful, in one sentence; empty where it is not.

        A two-wire verdict between the zero it rests on and the one that found the leads changed is doubtful
        when that change is more than half the uncertainty it was given with (`physics.leads.moved`): low
        resistances are, high ones need not be. Takes whatever has a verdict's bench, meter_id, quantity,
        utc_s, lead_ohm and expanded_ohm.
        """
        v = verdict
        if not self.zeros or v.quantity != Quantity.RESISTANCE or v.expanded_ohm is None:
            return ""
        for zero in self.zeros:
            since_s = zero.doubtful_since_utc_s
            if (zero.bench, zero.meter_id) != (v.bench, v.meter_id) or since_s is None:
                continue
            rested_on = LeadZero(v.bench, v.meter_id, v.lead_ohm, 0.0, since_s)
            if since_s <= v.utc_s < zero.utc_s and moved(rested_on, zero, v.expanded_ohm):
                change_ohm = zero.value_ohm - v.lead_ohm
                return f"doubtful: the leads had changed by {change_ohm:+.3f} Ω when they were zeroed next"
        return ""
