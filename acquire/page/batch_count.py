"""How far a batch has come, counted from the results of its units; of a unit's several the latest judged one.

Pure. Not for statistics (reports).
"""

from __future__ import annotations

from dataclasses import dataclass, field

from acquire.choices import FAILING
from acquire.page.telling import Plain, picked
from acquire.records import Batch, Outcome, UnitResult
from acquire.words.faults import batch_doubt
from acquire.words.verdicts import deed_words

GOOD = frozenset({Outcome.PASS, Outcome.CONDITIONAL_PASS})


@dataclass(slots=True)
class BatchCount:
    """One batch.

    Attributes:
        name: of the batch; empty for units that belong to none.
        expected: how many units there should be; None where nobody has said.
        state: of the batch as its latest record says; empty where it was never opened.
        remark: that goes with it.
        doubt: what speaks against its first unit; empty where nothing does.
        outcomes: latest outcome of each unit, None for one that was held or given up.
    """

    name: str
    expected: int | None = None
    state: str = ""
    remark: str = ""
    doubt: str = ""
    outcomes: dict[str, Outcome | None] = field(default_factory=dict)

    def told(self, batch: Batch) -> None:
        """Its latest record."""
        self.expected, self.state, self.remark = batch.expected, batch.state.value, deed_words(batch)
        self.doubt = batch_doubt(batch)

    def take(self, result: UnitResult) -> None:
        """A unit of this batch has its result. A unit that was judged is not unjudged by being given up."""
        if result.outcome is not None or self.outcomes.get(result.serial) is None:
            self.outcomes[result.serial] = result.outcome

    def plain(self) -> Plain:
        """For the page."""
        words = list(self.outcomes.values())
        return {
            **picked(self, "name", "expected", "state", "remark", "doubt"),
            "measured": len(words),
            "passed": sum(word in GOOD for word in words),
            "failed": sum(word in FAILING for word in words),
            "held": sum(word is None for word in words),
        }
