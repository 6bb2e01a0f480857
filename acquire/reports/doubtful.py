"""Which verdicts on record are doubtful, because the leads have changed since they were zeroed.

Derived from the lead zeros that stand behind the verdicts; the record itself is never changed. Not for
deciding when to zero (duties).
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, field

from acquire.journal.question import Question, Record
from acquire.physics.leads import moved
from acquire.records import LeadZero, Verdict
from drivers.reading import Quantity


@dataclass(slots=True)
class Doubts:
    """The lead zeros of a journal that found their leads changed.

    Attributes:
        zeros: oldest first.
    """

    zeros: list[LeadZero] = field(default_factory=list)

    @classmethod
    def of(cls, journal: Record) -> Doubts:
        """Look them up in a record.

        Raises:
            JournalUnusable: it cannot be read.
        """
        found = (entry.record for entry in journal.find(Question(kinds=("lead_zero",))))
        return cls.among(zero for zero in found if isinstance(zero, LeadZero))

    @classmethod
    def among(cls, zeros: Iterable[LeadZero]) -> Doubts:
        """Those of some zeros that make earlier verdicts doubtful."""
        return cls([zero for zero in zeros if zero.doubtful_since_utc_s is not None])

    def why(self, verdict: Verdict) -> str:
        """Why a verdict is doubtful, in one sentence; empty where it is not.

        A two-wire verdict between the zero it rests on and the one that found the leads changed is doubtful
        when that change is more than half the uncertainty it was given with (`physics.leads.moved`): low
        resistances are, high ones need not be.
        """
        return self.why_of(
            (verdict.bench, verdict.meter_id),
            verdict.quantity,
            verdict.utc_s,
            verdict.lead_ohm,
            verdict.expanded_ohm,
        )

    def why_of(
        self,
        meter: tuple[str, str],
        quantity: str,
        utc_s: float,
        lead_ohm: float,
        expanded_ohm: float | None,
    ) -> str:
        """As `why`, from the fields alone: bench and meter, what was measured, when, leads, uncertainty."""
        if quantity != Quantity.RESISTANCE or expanded_ohm is None:
            return ""
        for zero in self.zeros:
            since_s = zero.doubtful_since_utc_s
            if (zero.bench, zero.meter_id) != meter or since_s is None:
                continue
            rested_on = LeadZero(*meter, lead_ohm, 0.0, since_s)
            if since_s <= utc_s < zero.utc_s and moved(rested_on, zero, expanded_ohm):
                change_ohm = zero.value_ohm - lead_ohm
                return f"doubtful: the leads had changed by {change_ohm:+.3f} Ω when they were zeroed next"
        return ""
