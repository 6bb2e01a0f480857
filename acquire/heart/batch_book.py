"""The batches that a bench knows, each by the latest deed on it; one at a time takes units.

Pure. Not for units and spools (batches).
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace

from acquire.physics.wire import SpoolCard
from acquire.records import (
    Batch,
    BatchDeed,
    BatchState,
    Circumstances,
    Code,
    Event,
    Fact,
    Notice,
    Refusal,
    Refused,
    UnitResult,
    Weight,
)


@dataclass(slots=True)
class BatchBook:
    """The batches of one bench.

    Attributes:
        place: who measures what, where; its `batch` is what the bench file says.
        cards: spool cards by what is written on the spool.
        known: the latest record of every batch, in the order in which they were last touched.
        running: name of the one that takes units, empty for none.
        count: how many units the running one has, the one on the bench with them; 0 while that is not known.
    """

    place: Circumstances
    cards: Mapping[str, SpoolCard] = field(default_factory=dict)
    known: dict[str, Batch] = field(default_factory=dict)
    running: str = ""
    count: int = 0

    @property
    def batch(self) -> Batch | None:
        """The one that is running."""
        return self.known.get(self.running)

    @property
    def paused(self) -> Batch | None:
        """The one that was paused last."""
        paused = (each for each in reversed(self.known.values()) if each.state is BatchState.PAUSED)
        return next(paused, None)

    def doubts(self, result: UnitResult) -> bool:
        """Whether a unit is the first of its batch, and what speaks against it waits for a word."""
        batch = self.known.get(result.batch)
        return batch is not None and batch.first_doubt is not None and batch.first_serial == result.serial

    def standing(self, utc_s: float) -> Notice | None:
        """Where the bench is with its batches; None where none is open."""
        batch = self.batch or self.paused
        if batch is None:
            return None
        spools = tuple(dict.fromkeys(each.spool for each in batch.spools))
        facts: dict[str, Fact] = {"batch": batch.batch, "paused": self.batch is None, "spools": spools}
        return Notice(Weight.REMARK, Code.BATCH_STANDING, utc_s, facts=facts)

    def recall(self, batches: Sequence[Batch]) -> None:
        """Take up what the record says, oldest first."""
        for batch in batches:
            self.take(batch)

    def named(self, name: str) -> Batch:
        """The batch of a name; without one the one that was paused last.

        Raises:
            Refused: there is none.
        """
        if name:
            if name not in self.known:
                raise Refused(Refusal.BATCH_UNKNOWN, batch=name)
            return self.known[name]
        if self.paused is None:
            raise Refused(Refusal.NO_BATCH_PAUSED)
        return self.paused

    def same_sheet(self, batch: Batch) -> None:
        """Make sure that the bench has the sheet that the batch is of.

        Raises:
            Refused: it has another.
        """
        if batch.sheet != self.place.sheet.name:
            here = self.place.sheet.name
            raise Refused(Refusal.BATCH_OTHER_SHEET, batch=batch.batch, sheet=batch.sheet, here=here)

    def made_way(self, utc_s: float) -> list[Event]:
        """One batch at a time: the one that is running is paused."""
        batch = self.batch
        if batch is None:
            return []
        return [self.did(batch, BatchDeed.MADE_WAY, utc_s)]

    def needed(self) -> Batch:
        """The batch that is running.

        Raises:
            Refused: none is.
        """
        if self.batch is None:
            raise Refused(Refusal.NO_BATCH_RUNNING)
        return self.batch

    def did(self, batch: Batch, deed: BatchDeed, utc_s: float, remark: str = "") -> Batch:
        """Write a deed on a batch: the record of it, which is the latest from now on."""
        state = {
            BatchDeed.PAUSED: BatchState.PAUSED,
            BatchDeed.MADE_WAY: BatchState.PAUSED,
            BatchDeed.FINISHED: BatchState.FINISHED,
            BatchDeed.RESUMED: BatchState.RUNNING,
        }.get(deed, batch.state)
        place = self.place
        return self.take(
            replace(
                batch,
                bench=place.bench,
                deed=deed,
                state=state,
                sheet_hash=place.sheet.content_hash if batch.sheet == place.sheet.name else batch.sheet_hash,
                operator=place.operator or batch.operator,
                remark=remark,
                changed=batch.changed if deed is BatchDeed.SPOOL_CHANGED else (),
                utc_s=utc_s,
            )
        )

    def take(self, batch: Batch) -> Batch:
        """Keep the latest record of a batch."""
        self.known.pop(batch.batch, None)  # the latest stands last
        self.known[batch.batch] = batch
        if batch.state is BatchState.RUNNING:
            self.count = self.count if self.running == batch.batch else 0
            self.running = batch.batch
        elif self.running == batch.batch:
            self.running = ""
        return batch
