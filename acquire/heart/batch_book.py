"""The batches that a bench knows, each by the latest deed on it; their spools and the look at a first unit.

One batch at a time takes units. A spool is for windings whose wire its card fits. Pure. Not for the order of
units in a batch (batches), measuring a spool (physics/wire) nor the comparison itself (verdict/first_unit).
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace

from acquire.physics.common import PairReading
from acquire.physics.wire import SpoolCard
from acquire.records import (
    Batch,
    BatchEvent,
    BatchState,
    Branch,
    BranchKind,
    ChangeSpool,
    Circumstances,
    Code,
    Event,
    Fact,
    Notice,
    Refusal,
    Refused,
    Severity,
    Sheet,
    UnitResult,
    WoundFrom,
)
from acquire.verdict.first_unit import first_look, prepare

FITS = 0.11
"""A spool fits a winding whose wire on the sheet has as many ohms per metre within this fraction: half an
American gauge is 12 %, and spools of one gauge lie up to 9 % off the table."""


def wound_from(winding: str, spool: str, cards: Mapping[str, SpoolCard]) -> WoundFrom:
    """A winding with its spool, and what the card says where there is one."""
    card = cards.get(spool)
    if card is None:
        return WoundFrom(winding, spool)
    return WoundFrom(winding, spool, card.ohms_per_metre, card.relative_u)


def fitting(command: ChangeSpool, sheet: Sheet, cards: Mapping[str, SpoolCard]) -> list[str]:
    """Names of the windings that a spool is for: those that were said, else all whose wire is like its own.

    Raises:
        Refused: no such winding, or none was said and the card fits none.
    """
    windings = {b.name: b for b in sheet.branches if b.kind is BranchKind.WINDING}
    if not command.spool.strip():
        raise Refused(Refusal.SPOOL_NAMELESS)
    said = [name.strip() for name in command.windings.split(",") if name.strip()]
    for name in said:
        if name not in windings:
            known = tuple(windings)
            raise Refused(Refusal.WINDING_UNKNOWN, sheet=sheet.name, winding=name, windings=known)
    if said:
        return list(dict.fromkeys(said))
    card = cards.get(command.spool)
    names = [name for name, branch in windings.items() if card is not None and _off(branch, card) < FITS]
    if not names:
        first = next(iter(windings))
        if card is None:
            raise Refused(Refusal.SPOOL_NO_CARD, spool=command.spool, winding=first)
        raise Refused(Refusal.SPOOL_UNLIKE, spool=command.spool, winding=first, sheet=sheet.name)
    return names


def mismatch(spool: str, names: list[str], sheet: Sheet, cards: Mapping[str, SpoolCard]) -> dict[str, Fact]:
    """By how much a spool's card is another gauge than the sheet wants, a fraction; empty where it is not."""
    card = cards.get(spool)
    windings = {branch.name: branch for branch in sheet.branches}
    wrong = [name for name in names if card is not None and not _off(windings[name], card) < FITS]
    wanted = windings[wrong[0]].ohm_per_m if wrong else None
    if card is None or wanted is None:
        return {}
    return {"spool": spool, "off": card.ohms_per_metre / wanted - 1.0, "windings": tuple(wrong)}


def _off(branch: Branch, card: SpoolCard) -> float:
    """How far a card lies off the wire that the sheet names, as a fraction; 0 where it names none."""
    if branch.ohm_per_m is None:
        return 0.0
    return abs(card.ohms_per_metre / branch.ohm_per_m - 1.0)


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
        return Notice(Severity.INFO, Code.BATCH_STANDING, utc_s, facts=facts)

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
        return [self.did(batch, BatchEvent.MADE_WAY, utc_s)]

    def needed(self) -> Batch:
        """The batch that is running.

        Raises:
            Refused: none is.
        """
        if self.batch is None:
            raise Refused(Refusal.NO_BATCH_RUNNING)
        return self.batch

    def did(self, batch: Batch, deed: BatchEvent, utc_s: float, remark: str = "") -> Batch:
        """Write a deed on a batch: the record of it, which is the latest from now on."""
        state = {
            BatchEvent.PAUSED: BatchState.PAUSED,
            BatchEvent.MADE_WAY: BatchState.PAUSED,
            BatchEvent.FINISHED: BatchState.FINISHED,
            BatchEvent.RESUMED: BatchState.RUNNING,
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
                changed=batch.changed if deed is BatchEvent.SPOOL_CHANGED else (),
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


def compared(
    batch: Batch,
    result: UnitResult,
    readings: Sequence[PairReading],
    place: Circumstances,
    cards: Mapping[str, SpoolCard],
    *,
    four_wire_below_ohm: float,
) -> tuple[Batch, list[Notice]]:
    """Compare a unit with what sheet and spool cards predict.

    Args:
        batch: that it belongs to.
        result: of the unit.
        readings: of it, those that count.
        place: the bench, with the sheet.
        cards: spool cards by what is written on the spool.
        four_wire_below_ohm: pairs of a smaller nominal were measured with four wires.

    Returns:
        The batch afterwards, and what the operator must be told.
    """
    look = first_look(
        place.sheet,
        batch.spools,
        readings,
        cards=_of(cards),
        purpose=place.purpose,
        four_wire_below_ohm=four_wire_below_ohm,
    )
    seen = replace(batch, first_serial=result.serial, compared=look.compared, first_doubt=look.doubt)
    if look.doubt is None:
        return seen, []
    facts: dict[str, Fact] = {"batch": batch.batch, "probability": look.doubt.probability}
    return seen, [Notice(Severity.WARNING, Code.BATCH_FIRST_UNIT, result.utc_s, result.serial, facts=facts)]


def prepared(
    batch: Batch, place: Circumstances, cards: Mapping[str, SpoolCard], *, four_wire_below_ohm: float
) -> None:
    """Solve beforehand what the first unit will be compared with; arguments as for `compared`."""
    prepare(
        place.sheet,
        batch.spools,
        cards=_of(cards),
        purpose=place.purpose,
        four_wire_below_ohm=four_wire_below_ohm,
    )


def _of(cards: Mapping[str, SpoolCard]) -> tuple[WoundFrom, ...]:
    return tuple(wound_from("", name, cards) for name in cards)
