"""The batch that units belong to: opened, paused, resumed, finished; its spools, its first unit.

Pure, like the pipeline that calls it: what the record says of batches and units is told, never looked up. Not
for statistics of a batch (acquire.reports).
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace

from acquire.errors import InputImpossible
from acquire.heart.first_look import compared
from acquire.heart.spools import fitting, mismatch, wound_from
from acquire.physics.wire import SpoolCard
from acquire.records import (
    AcceptFirstUnit,
    Batch,
    BatchDeed,
    BatchState,
    ChangeSpool,
    Circumstances,
    Event,
    FinishBatch,
    Notice,
    OpenBatch,
    PauseBatch,
    Purpose,
    ResumeBatch,
    StartUnit,
    UnitKnown,
    UnitResult,
    UnitStarted,
    Weight,
)
from acquire.verdict.first_unit import Reading

BatchCommand = OpenBatch | PauseBatch | ResumeBatch | FinishBatch | ChangeSpool | AcceptFirstUnit | UnitKnown
"""Commands that are carried out here."""

REMEMBERED = 1000
"""Units of this run that are remembered: what was just started may not be on the record yet."""

COMPARED = frozenset({Purpose.WINDING, Purpose.FINAL})
"""Purposes whose first unit is compared with sheet and spool cards; cores that come in were wound
elsewhere."""


@dataclass(slots=True)
class Batches:
    """The batches of one bench.

    Attributes:
        place: who measures what, where; its `batch` is what the bench file says.
        cards: spool cards by what is written on the spool.
        known: the latest record of every batch, in the order in which they were last touched.
        running: name of the one that takes units, empty for none.
    """

    place: Circumstances
    cards: Mapping[str, SpoolCard] = field(default_factory=dict)
    known: dict[str, Batch] = field(default_factory=dict)
    running: str = ""
    _units: dict[str, tuple[str, int]] = field(default_factory=dict)

    @property
    def batch(self) -> Batch | None:
        """The one that is running."""
        return self.known.get(self.running)

    @property
    def next_unit(self) -> str:
        """What is asked of the operator between two units."""
        batch = self.batch
        if batch is not None and batch.doubt:
            return f"{batch.first_serial} is in doubt: type .accept and why, or .spool, or measure it again."
        return "Scan or type the serial of the next unit."

    def recall(self, batches: Sequence[Batch]) -> None:
        """Take up what the record says, oldest first."""
        for batch in batches:
            self._take(batch)

    def go_on(self, before: Batches) -> None:
        """Take up what was going on under other files."""
        self.known, self.running, self._units = before.known, before.running, before._units

    # ------------------------------------------------------------------ the operator

    def between_units(self, utc_s: float) -> list[Event]:
        """Open the batch that the bench file names, the first time that it does."""
        name = self.place.batch
        if not name or name in self.known:
            return []
        return self._open(OpenBatch(name, remark="named by the bench file"), utc_s)

    def obey(self, command: BatchCommand, utc_s: float) -> list[Event]:  # noqa: PLR0911  (one line a command)
        """Carry out a command.

        Raises:
            InputImpossible: it cannot be carried out now; says why.
        """
        match command:
            case UnitKnown():
                self._remember(command.serial, command.batch, command.attempts)
                return []
            case OpenBatch():
                return self._open(command, utc_s)
            case ResumeBatch():
                return self._resume(command, utc_s)
            case PauseBatch():
                return [self._did(self._needed(), BatchDeed.PAUSED, utc_s, command.remark)]
            case FinishBatch():
                return [self._did(self._needed(), BatchDeed.FINISHED, utc_s, command.remark)]
            case ChangeSpool():
                return self._change_spool(command, utc_s)
            case AcceptFirstUnit():
                return [self._accept(command, utc_s)]

    def _open(self, command: OpenBatch, utc_s: float) -> list[Event]:
        name, place = command.batch.strip(), self.place
        if not name:
            raise InputImpossible("A batch needs a name.", "Type it behind the word, such as .batch lot 12.")
        there = self.known.get(name)
        if there is not None:
            if there.state is BatchState.PAUSED:
                return self._resume(ResumeBatch(name, command.remark), utc_s)
            raise InputImpossible(
                f"The batch {name} is {there.state.value} already.",
                "Type .resume and its name to add units to it, or give the new one another name.",
            )
        fresh = Batch(
            bench=place.bench,
            batch=name,
            deed=BatchDeed.OPENED,
            state=BatchState.RUNNING,
            sheet=place.sheet.name,
            sheet_hash=place.sheet.content_hash,
            expected=command.expected,
            spools=(),
            first_serial="",
            doubt="",
            doubt_probability=None,
            operator=command.operator or place.operator,
            remark=command.remark,
            utc_s=utc_s,
        )
        return [*self._made_way(utc_s), self._take(fresh)]

    def _resume(self, command: ResumeBatch, utc_s: float) -> list[Event]:
        batch = self._named(command.batch)
        if batch.batch == self.running:
            raise InputImpossible(f"The batch {batch.batch} is running.", "Scan the next unit.")
        self._same_sheet(batch)
        return [*self._made_way(utc_s), self._did(batch, BatchDeed.RESUMED, utc_s, command.remark)]

    def _named(self, name: str) -> Batch:
        """The batch of a name; without one the one that was paused last."""
        if name:
            if name not in self.known:
                raise InputImpossible(f"There is no batch {name}.", "Type .batch and its name to begin it.")
            return self.known[name]
        paused = [batch for batch in self.known.values() if batch.state is BatchState.PAUSED]
        if not paused:
            raise InputImpossible("No batch is paused.", "Type .batch and a name to begin one.")
        return paused[-1]

    def _same_sheet(self, batch: Batch) -> None:
        if batch.sheet != self.place.sheet.name:
            raise InputImpossible(
                f"The batch {batch.batch} is of {batch.sheet}, and the bench has {self.place.sheet.name}.",
                "Change the sheet, or take another batch.",
            )

    def _made_way(self, utc_s: float) -> list[Event]:
        """One batch at a time: the one that is running is paused."""
        batch = self.batch
        if batch is None:
            return []
        return [self._did(batch, BatchDeed.PAUSED, utc_s, "another batch took its place")]

    def _needed(self) -> Batch:
        if self.batch is None:
            raise InputImpossible("No batch is running.", "Type .batch and a name to begin one.")
        return self.batch

    def _change_spool(self, command: ChangeSpool, utc_s: float) -> list[Event]:
        batch, sheet = self._needed(), self.place.sheet
        names = fitting(command, sheet, self.cards)
        fresh = {name: wound_from(name, command.spool, self.cards) for name in names}
        kept = {each.winding: each for each in batch.spools} | fresh
        remark = f"{command.spool} for {', '.join(names)}"
        changed = replace(
            batch, spools=tuple(kept.values()), first_serial="", doubt="", doubt_probability=None
        )
        events: list[Event] = [self._did(changed, BatchDeed.SPOOL_CHANGED, utc_s, remark)]
        if text := mismatch(command.spool, names, sheet, self.cards):
            events.append(Notice(Weight.WARNING, "batch.spool", text, utc_s))
        return events

    def _accept(self, command: AcceptFirstUnit, utc_s: float) -> Batch:
        doubted = [batch for batch in self.known.values() if batch.doubt]
        batch = self.batch or (doubted[-1] if doubted else None)
        if batch is None or not batch.doubt:
            raise InputImpossible("No first unit waits for a word.", "Scan the next unit.")
        self._same_sheet(batch)
        calm = replace(batch, state=BatchState.RUNNING, doubt="", doubt_probability=None)
        return self._did(calm, BatchDeed.ACCEPTED, utc_s, command.reason)

    # ------------------------------------------------------------------ units

    def start(self, command: StartUnit, utc_s: float) -> tuple[UnitStarted | None, list[Event]]:
        """Open the record of a unit, with the batch that it belongs to.

        Returns:
            The record, None where the batch does not take the unit; and what is to be told.

        Raises:
            InputImpossible: it belongs to another batch, or its batch takes no units.
        """
        name, place = command.batch or self.running, self.place
        batch = self.known.get(name)
        before, attempts = self._units.get(command.serial, ("", 0))
        if before and name and before != name:
            raise InputImpossible(
                f"{command.serial} belongs to the batch {before}, not to {name}.",
                f"Look at the serial; to measure it again, type .resume {before}, or .pause to measure it "
                "outside any batch.",
            )
        if batch is not None:
            self._takes_units(batch)
            if batch.doubt and command.serial != batch.first_serial:
                return None, self._stopped(batch, utc_s)
        attempt = attempts + 1 if name and before == name else 1
        started = UnitStarted(
            bench=place.bench,
            serial=command.serial,
            sheet=place.sheet.name,
            sheet_hash=place.sheet.content_hash,
            purpose=place.purpose,
            batch=name,
            operator=command.operator or place.operator or (batch.operator if batch else ""),
            utc_s=utc_s,
            spools=batch.spools if batch else (),
            attempt=attempt,
        )
        return started, self._told(started)

    def _takes_units(self, batch: Batch) -> None:
        if batch.state is not BatchState.RUNNING:
            raise InputImpossible(
                f"The batch {batch.batch} is {batch.state.value}.",
                f"Type .resume {batch.batch} to go on with it.",
            )
        self._same_sheet(batch)

    def _told(self, started: UnitStarted) -> list[Event]:
        """Say so where a unit comes again, or belongs to no batch although one waits."""
        serial, text, code = started.serial, "", "unit.again"
        if started.attempt > 1:
            text = f"{serial} is measured again, attempt {started.attempt}; its first result stays."
        elif not started.batch:
            paused = [batch.batch for batch in self.known.values() if batch.state is BatchState.PAUSED]
            code = "batch.paused"
            text = f"{serial} belongs to no batch: {paused[-1]} is paused." if paused else ""
        return [Notice(Weight.REMARK, code, text, started.utc_s, serial)] if text else []

    def begin(self, started: UnitStarted) -> None:
        """A unit is on the bench now."""
        if started.batch:
            self._remember(started.serial, started.batch, started.attempt)

    def ended(
        self, result: UnitResult, readings: Sequence[Reading], four_wire_below_ohm: float
    ) -> list[Event]:
        """A unit has its result: the first of a batch, or of a spool, is compared with what is foretold."""
        batch = self.known.get(result.batch)
        if batch is None or result.outcome is None or self.place.purpose not in COMPARED:
            return []
        if batch.first_serial and not (batch.doubt and result.serial == batch.first_serial):
            return []
        seen, remark, notices = compared(
            batch, result, readings, self.place, self.cards, four_wire_below_ohm=four_wire_below_ohm
        )
        return [self._did(seen, BatchDeed.FIRST_UNIT, result.utc_s, remark), *notices]

    def _stopped(self, batch: Batch, utc_s: float) -> list[Event]:
        """Nobody said a word to the doubt: the batch rests until somebody does."""
        remark = f"the first unit, {batch.first_serial}, was not accepted"
        text = (
            f"The batch {batch.batch} is paused: {remark}. {batch.doubt} Type .accept and why to go on, or "
            ".spool and the name of the spool that is on."
        )
        paused = self._did(batch, BatchDeed.PAUSED, utc_s, remark)
        return [paused, Notice(Weight.WARNING, "command.refused", text, utc_s)]

    # ------------------------------------------------------------------ state

    def _did(self, batch: Batch, deed: BatchDeed, utc_s: float, remark: str) -> Batch:
        state = {
            BatchDeed.PAUSED: BatchState.PAUSED,
            BatchDeed.FINISHED: BatchState.FINISHED,
            BatchDeed.RESUMED: BatchState.RUNNING,
        }.get(deed, batch.state)
        place = self.place
        return self._take(
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

    def _take(self, batch: Batch) -> Batch:
        self.known.pop(batch.batch, None)  # the latest stands last
        self.known[batch.batch] = batch
        if batch.state is BatchState.RUNNING:
            self.running = batch.batch
        elif self.running == batch.batch:
            self.running = ""
        return batch

    def _remember(self, serial: str, batch: str, attempts: int) -> None:
        before = self._units.pop(serial, ("", 0))
        same = before[0] in ("", batch) or not batch
        self._units[serial] = (batch or before[0], max(attempts, before[1]) if same else attempts)
        while len(self._units) > REMEMBERED:
            del self._units[next(iter(self._units))]
