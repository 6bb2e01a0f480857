"""The batches that a bench knows, each by the latest deed on it; one at a time takes units.

Pure. Not for units and spools (batches).
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace

from acquire.errors import InputImpossible
from acquire.physics.wire import SpoolCard
from acquire.records import Batch, BatchDeed, BatchState, Circumstances, Event, UnitResult


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

    @property
    def standing(self) -> str:
        """Where the bench is with its batches, one sentence; empty where none is open."""
        if self.batch is not None:
            spools = ", ".join(dict.fromkeys(each.spool for each in self.batch.spools))
            return f"The batch {self.running} goes on{f', wound from {spools}' if spools else ''}."
        return (
            ""
            if self.paused is None
            else f"The batch {self.paused.batch} is paused: .resume goes on with it."
        )

    def recall(self, batches: Sequence[Batch]) -> None:
        """Take up what the record says, oldest first."""
        for batch in batches:
            self.take(batch)

    def doubts(self, result: UnitResult) -> bool:
        """Whether a unit is the first of its batch, and what speaks against it waits for a word."""
        batch = self.known.get(result.batch)
        return batch is not None and bool(batch.doubt) and batch.first_serial == result.serial

    def named(self, name: str) -> Batch:
        """The batch of a name; without one the one that was paused last.

        Raises:
            InputImpossible: there is none.
        """
        if name:
            if name not in self.known:
                raise InputImpossible(f"There is no batch {name}.", "Type .batch and its name to begin it.")
            return self.known[name]
        if self.paused is None:
            raise InputImpossible("No batch is paused.", "Type .batch and a name to begin one.")
        return self.paused

    def same_sheet(self, batch: Batch) -> None:
        """Make sure that the bench has the sheet that the batch is of.

        Raises:
            InputImpossible: it has another.
        """
        if batch.sheet != self.place.sheet.name:
            raise InputImpossible(
                f"The batch {batch.batch} is of {batch.sheet}, and the bench has {self.place.sheet.name}.",
                "Change the sheet, or take another batch.",
            )

    def made_way(self, utc_s: float) -> list[Event]:
        """One batch at a time: the one that is running is paused."""
        batch = self.batch
        if batch is None:
            return []
        return [self.did(batch, BatchDeed.PAUSED, utc_s, "another batch took its place")]

    def needed(self) -> Batch:
        """The batch that is running.

        Raises:
            InputImpossible: none is.
        """
        if self.batch is None:
            raise InputImpossible("No batch is running.", "Type .batch and a name to begin one.")
        return self.batch

    def did(self, batch: Batch, deed: BatchDeed, utc_s: float, remark: str) -> Batch:
        """Write a deed on a batch: the record of it, which is the latest from now on."""
        state = {
            BatchDeed.PAUSED: BatchState.PAUSED,
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
