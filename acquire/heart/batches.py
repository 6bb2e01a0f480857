"""The batch that units belong to: opened, paused, resumed, finished; its spools, its first unit.

Pure, like the pipeline that calls it: what the record says of batches and units is told, never looked up. Not
for statistics of a batch (acquire.reports).
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field, replace

from acquire.heart.batch_book import BatchBook, compared, fitting, mismatch, wound_from
from acquire.physics.common import PairReading
from acquire.records import (
    AcceptFirstUnit,
    Ask,
    Batch,
    BatchEvent,
    BatchState,
    ChangeSpool,
    Code,
    Event,
    Fact,
    FinishBatch,
    Notice,
    OpenBatch,
    PauseBatch,
    Prompt,
    Purpose,
    Refusal,
    Refused,
    ResumeBatch,
    Severity,
    StartUnit,
    UnitKnown,
    UnitResult,
    UnitStarted,
    Why,
)

BatchCommand = OpenBatch | PauseBatch | ResumeBatch | FinishBatch | ChangeSpool | AcceptFirstUnit | UnitKnown
"""Commands that are carried out here."""

REMEMBERED = 1000
"""Units of this run that are remembered: what was just started may not be on the record yet."""

COMPARED = frozenset({Purpose.WINDING, Purpose.FINAL})
"""Purposes whose first unit is compared with sheet and spool cards; cores that come in were wound
elsewhere."""


@dataclass(slots=True)
class Batches(BatchBook):
    """The batches of one bench, with the units that come to them."""

    _units: dict[str, tuple[str, int]] = field(default_factory=dict)
    _others: int = 0
    _held: tuple[str, float] = ("", 0.0)  # a unit that was held as warm, and when: it may come back

    def prompt(self) -> Prompt:
        """What is asked of the operator between two units."""
        batch = self.batch
        if batch is not None and batch.first_doubt:
            return Prompt(Ask.START_UNIT, why=Why.DOUBT, facts={"first": batch.first_serial})
        if batch is not None and self.count and batch.expected is not None:
            facts: dict[str, Fact] = {"batch": batch.batch, "count": self.count, "expected": batch.expected}
            return Prompt(Ask.START_UNIT, why=Why.COUNTED, facts=facts)
        return Prompt(Ask.START_UNIT)

    def go_on(self, before: Batches) -> None:
        """Take up what was going on under other files."""
        self.known, self.running, self.count = before.known, before.running, before.count
        self._units = before._units

    # ------------------------------------------------------------------ the operator

    def between_units(self, utc_s: float) -> list[Event]:
        """Open the batch that the bench file names, the first time that it does."""
        name = self.place.batch
        if not name or name in self.known:
            return []
        return self._open(OpenBatch(name), utc_s)

    def obey(self, command: BatchCommand, utc_s: float) -> list[Event]:  # noqa: PLR0911  (one line a command)
        """Carry out a command.

        Raises:
            Refused: it cannot be carried out now.
        """
        match command:
            case UnitKnown():
                self._remember(command.serial, command.batch, command.attempts)
                self._others = command.others
                if command.held_utc_s is not None:
                    self._held = (command.serial, command.held_utc_s)
                return []
            case OpenBatch():
                return self._open(command, utc_s)
            case ResumeBatch():
                return self._resume(command, utc_s)
            case PauseBatch():
                return [self.did(self.needed(), BatchEvent.PAUSED, utc_s, command.remark)]
            case FinishBatch():
                return [self.did(self.needed(), BatchEvent.FINISHED, utc_s, command.remark)]
            case ChangeSpool():
                return self._change_spool(command, utc_s)
            case AcceptFirstUnit():
                return [self._accept(command, utc_s)]

    def _open(self, command: OpenBatch, utc_s: float) -> list[Event]:
        name, place = command.batch.strip(), self.place
        if not name:
            raise Refused(Refusal.BATCH_NAMELESS)
        there = self.known.get(name)
        if there is not None:
            if there.state is BatchState.PAUSED:
                return self._resume(ResumeBatch(name, command.remark), utc_s)
            finished = there.state is BatchState.FINISHED
            raise Refused(Refusal.BATCH_FINISHED if finished else Refusal.BATCH_TAKEN, batch=name)
        fresh = Batch(
            bench=place.bench,
            batch=name,
            deed=BatchEvent.OPENED,
            state=BatchState.RUNNING,
            sheet=place.sheet.name,
            sheet_hash=place.sheet.content_hash,
            expected=command.expected,
            spools=(),
            first_serial="",
            operator=command.operator or place.operator,
            remark=command.remark,
            utc_s=utc_s,
        )
        self._others = 0  # what was told last was of the batch before
        return [*self.made_way(utc_s), self.take(fresh)]

    def _resume(self, command: ResumeBatch, utc_s: float) -> list[Event]:
        batch = self.named(command.batch)
        if batch.batch == self.running:
            raise Refused(Refusal.BATCH_RUNNING, batch=batch.batch)
        self.same_sheet(batch)
        return [*self.made_way(utc_s), self.did(batch, BatchEvent.RESUMED, utc_s, command.remark)]

    def _change_spool(self, command: ChangeSpool, utc_s: float) -> list[Event]:
        batch, sheet = self.needed(), self.place.sheet
        names = fitting(command, sheet, self.cards)
        fresh = {name: wound_from(name, command.spool, self.cards) for name in names}
        kept = {each.winding: each for each in batch.spools} | fresh
        changed = replace(
            batch,
            spools=tuple(kept.values()),
            first_serial="",
            compared=None,
            first_doubt=None,
            changed=tuple(fresh.values()),
        )
        events: list[Event] = [self.did(changed, BatchEvent.SPOOL_CHANGED, utc_s)]
        if facts := mismatch(command.spool, names, sheet, self.cards):
            events.append(Notice(Severity.WARNING, Code.BATCH_SPOOL, utc_s, facts=facts))
        return events

    def _accept(self, command: AcceptFirstUnit, utc_s: float) -> Batch:
        doubted = [batch for batch in self.known.values() if batch.first_doubt]
        batch = self.batch or (doubted[-1] if doubted else None)
        if batch is None or not batch.first_doubt:
            raise Refused(Refusal.NO_DOUBT)
        self.same_sheet(batch)
        calm = replace(batch, state=BatchState.RUNNING, first_doubt=None)
        return self.did(calm, BatchEvent.ACCEPTED, utc_s, command.reason)

    # ------------------------------------------------------------------ units

    def start(self, command: StartUnit, utc_s: float) -> tuple[UnitStarted | None, list[Event]]:
        """Open the record of a unit, with the batch that it belongs to.

        Returns:
            The record, None where the batch does not take the unit; and what is to be told.

        Raises:
            Refused: it belongs to another batch, or its batch takes no units.
        """
        name, place = command.batch or self.running, self.place
        batch = self.known.get(name)
        before, attempts = self._units.get(command.serial, ("", 0))
        if before and name and before != name:
            raise Refused(Refusal.BATCH_OF_OTHERS, serial=command.serial, batch=before, wanted=name)
        if batch is not None:
            self._takes_units(batch)
            if batch.first_doubt and command.serial != batch.first_serial:
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
            meter_hash=place.meter_hash,
            bench_hash=place.bench_hash,
            rested_s=max(0.0, utc_s - self._held[1]) if self._held[0] == command.serial else None,
        )
        return started, self._told(started)

    def _takes_units(self, batch: Batch) -> None:
        if batch.state is not BatchState.RUNNING:
            raise Refused(Refusal.BATCH_NOT_RUNNING, batch=batch.batch, state=batch.state.value)
        self.same_sheet(batch)

    def _told(self, started: UnitStarted) -> list[Event]:
        """Say so where a unit comes again, or belongs to no batch although one waits."""
        utc_s, serial = started.utc_s, started.serial
        if started.attempt > 1:
            facts = {"attempt": started.attempt}
            return [Notice(Severity.INFO, Code.UNIT_AGAIN, utc_s, serial, facts=facts)]
        if not started.batch and self.paused is not None:
            waiting = {"batch": self.paused.batch}
            return [Notice(Severity.INFO, Code.BATCH_PAUSED, utc_s, serial, facts=waiting)]
        return []

    def move_times(self, by_s: float) -> None:
        """The clock was set: a unit that is held has rested no longer for that."""
        self._held = (self._held[0], self._held[1] + by_s)

    def begin(self, started: UnitStarted) -> None:
        """A unit is on the bench now."""
        if started.batch:
            self._remember(started.serial, started.batch, started.attempt)
        if started.batch == self.running:
            self.count = self._others + 1

    def ended(
        self, result: UnitResult, readings: Sequence[PairReading], four_wire_below_ohm: float
    ) -> list[Event]:
        """A unit has its result: the first of a batch, or of a spool, is compared with what is predicted."""
        self._held = (result.serial, result.utc_s) if result.must_rest else ("", 0.0)
        batch = self.known.get(result.batch)
        if batch is None or result.outcome is None:
            return []
        return [*self._compared(batch, result, readings, four_wire_below_ohm), *self._complete(batch, result)]

    def _complete(self, batch: Batch, result: UnitResult) -> list[Event]:
        """Say so when the last of the expected units has its result."""
        if batch.batch != self.running or batch.expected is None or self.count != batch.expected:
            return []
        facts: dict[str, Fact] = {"batch": batch.batch, "units": batch.expected}
        return [Notice(Severity.INFO, Code.BATCH_COMPLETE, result.utc_s, result.serial, facts=facts)]

    def _compared(
        self, batch: Batch, result: UnitResult, readings: Sequence[PairReading], four_wire_below_ohm: float
    ) -> list[Event]:
        if self.place.purpose not in COMPARED:
            return []
        if batch.first_serial and not (batch.first_doubt and result.serial == batch.first_serial):
            return []
        seen, notices = compared(
            batch, result, readings, self.place, self.cards, four_wire_below_ohm=four_wire_below_ohm
        )
        return [self.did(seen, BatchEvent.FIRST_UNIT, result.utc_s), *notices]

    def _stopped(self, batch: Batch, utc_s: float) -> list[Event]:
        """Nobody said a word to the doubt: the batch rests until somebody does."""
        paused = self.did(batch, BatchEvent.PAUSED, utc_s)
        refused = Refused(Refusal.BATCH_STOPPED, batch=batch.batch, first=batch.first_serial)
        return [paused, refused.notice(utc_s)]

    def _remember(self, serial: str, batch: str, attempts: int) -> None:
        before = self._units.pop(serial, ("", 0))
        same = before[0] in ("", batch) or not batch
        self._units[serial] = (batch or before[0], max(attempts, before[1]) if same else attempts)
        while len(self._units) > REMEMBERED:
            del self._units[next(iter(self._units))]
