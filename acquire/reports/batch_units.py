"""The units of a batch as its record has them: each stay on a bench, what counted in it, and what was typed.

Only the lean fields of verdicts are read, so that a batch of thousands takes seconds and little memory. Not
for statistics (batch_steps) nor for one unit in full (visits).
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass, field
from typing import Any

from acquire.journal.question import Question, Record
from acquire.records import Batch, Outcome, Purpose, Recorded, TypedResult, UnitResult, UnitStarted
from acquire.records.words import FAILING
from acquire.reports.visits import record_of
from acquire.steps.warm import WARM_CHECK
from acquire.unit_result import settled

FIELDS = (
    "id",
    "utc_s",
    "serial",
    "step",
    "outcome",
    "counts",
    "pin_a",
    "pin_b",
    "reference_ohm",
    "standard_uncertainty_ohm",
    "expanded_ohm",
    "lower_ohm",
    "upper_ohm",
    "nominal_ohm",
    "reference_celsius",
    "meter_id",
    "operator",
    "purpose",
    "bench",
    "sheet",
    "sheet_hash",
    "rule",
)
"""Of each verdict."""


@dataclass(frozen=True, slots=True)
class Value:
    """One step of one stay, as it counts.

    Attributes:
        ohm: at the reference temperature; None for an open pair.
        u_ohm, expanded_ohm: its standard and its expanded uncertainty; None likewise.
        touches: how many verdicts it took.
    """

    step: str
    pin_a: str
    pin_b: str
    outcome: Outcome
    ohm: float | None
    u_ohm: float | None
    expanded_ohm: float | None
    lower_ohm: float | None
    upper_ohm: float | None
    nominal_ohm: float | None
    reference_celsius: float
    meter: str
    operator: str
    rule: str
    utc_s: float
    touches: int = 1


@dataclass(slots=True)
class Stay:
    """One stay of a unit on a bench.

    Attributes:
        id: of the entry that began it.
        utc_s: when.
        spools: spool of each winding, as far as known.
        values: what counted, by step, in the order of the steps.
        typed: results typed in for it.
        result: how it stands, with all of those; None where it did not end.
        steps: verdicts of each step so far, for `Value.touches`.
    """

    id: str
    serial: str
    bench: str
    purpose: Purpose
    operator: str
    sheet: str
    sheet_hash: str
    utc_s: float
    spools: dict[str, str] = field(default_factory=dict)
    values: dict[str, Value] = field(default_factory=dict)
    typed: list[TypedResult] = field(default_factory=list)
    result: UnitResult | None = None
    steps: dict[str, int] = field(default_factory=dict)

    @property
    def outcome(self) -> Outcome | None:
        """Of what was measured and typed; None where it was held, given up or is unfinished."""
        return None if self.result is None else self.result.outcome

    @property
    def failed(self) -> bool:
        """Whether it ended with a failing outcome."""
        return self.outcome in FAILING


@dataclass(slots=True)
class Unit:
    """One unit of the batch with all its stays, oldest first."""

    serial: str
    stays: list[Stay] = field(default_factory=list)

    @property
    def first(self) -> Stay | None:
        """The first stay with an outcome: the one that counts for the yield."""
        return next((stay for stay in self.stays if stay.outcome is not None), None)

    @property
    def last(self) -> Stay | None:
        """The last stay with an outcome: how the unit is now."""
        return next((stay for stay in reversed(self.stays) if stay.outcome is not None), None)


@dataclass(frozen=True, slots=True)
class BatchUnits:
    """All units of a batch that were measured for one purpose.

    Attributes:
        name: of the batch.
        deeds: what was done to it, oldest first; empty where it was never opened by name.
        purpose: of these stays.
        other_purposes: others that the batch was measured for as well.
        units: in the order in which they first came.
        sheets: name and hash of every sheet that was in force, in order.
    """

    name: str
    deeds: tuple[Batch, ...]
    purpose: Purpose
    other_purposes: tuple[Purpose, ...]
    units: tuple[Unit, ...]
    sheets: tuple[tuple[str, str], ...]


def units_of(record: Record, name: str, purpose: Purpose | None = None) -> BatchUnits | None:
    """Read the units of a batch.

    Args:
        record: of one bench or of many.
        name: of the batch, exactly.
        purpose: only stays of this purpose; None: final ones where there are any, else the latest purpose.

    Returns:
        None where the record has nothing of such a batch.

    Raises:
        JournalUnusable: the record cannot be read.
    """
    kinds = ("unit_started", "unit_result", "typed_result", "batch")
    found = record.find(Question(batch=name, kinds=kinds, with_evidence=False))
    records = [(entry.id, record_of(entry)) for entry in found]
    rows = record.values(Question(batch=name, kinds=("verdict",)), FIELDS)
    stays = _stays(records, rows)
    deeds = tuple(each for _, each in records if isinstance(each, Batch))
    if not stays and not deeds:
        return None
    chosen = purpose or _usual([stay.purpose for stay in stays])
    units: dict[str, Unit] = {}
    for stay in stays:
        if stay.purpose is chosen:
            units.setdefault(stay.serial, Unit(stay.serial)).stays.append(stay)
    others = dict.fromkeys(stay.purpose for stay in stays if stay.purpose is not chosen)
    kept = tuple(units.values())
    sheets = dict.fromkeys((stay.sheet, stay.sheet_hash) for unit in kept for stay in unit.stays)
    return BatchUnits(name, deeds, chosen, tuple(others), kept, tuple(sheets))


def _usual(purposes: list[Purpose]) -> Purpose:
    if Purpose.FINAL in purposes or not purposes:
        return Purpose.FINAL
    return purposes[-1]


def _stays(records: Sequence[tuple[str, Recorded]], rows: Iterable[tuple[Any, ...]]) -> list[Stay]:
    """Put everything where it belongs: what follows the start of a unit is of that stay, until the next."""
    found: list[Stay] = []
    latest: dict[tuple[str, str], list[Stay]] = {}
    for entry_id, record in records:
        if isinstance(record, UnitStarted):
            stay = _begun(entry_id, record)
            found.append(stay)
            latest.setdefault((record.serial, _birth(entry_id)), []).append(stay)
    for row in rows:
        _add_verdict(found, latest, row)
    for entry_id, record in records:
        if isinstance(record, UnitResult) and (of := _stay_at(latest, record.serial, entry_id)):
            of.result = record
        elif isinstance(record, TypedResult) and (of := _stay_at(latest, record.serial, entry_id)):
            of.typed.append(record)
    for of in found:
        of.result = None if of.result is None else settled(of.result, of.typed)
    return found


def _begun(entry_id: str, record: UnitStarted) -> Stay:
    return Stay(
        entry_id,
        record.serial,
        record.bench,
        record.purpose,
        record.operator,
        record.sheet,
        record.sheet_hash,
        record.utc_s,
        {each.winding: each.spool for each in record.spools},
    )


def _add_verdict(found: list[Stay], latest: dict[tuple[str, str], list[Stay]], row: tuple[Any, ...]) -> None:
    (entry_id, utc_s, serial, step, outcome, counts, pin_a, pin_b, *numbers) = row
    if step == WARM_CHECK:
        return
    ohm, u_ohm, expanded, lower, upper, nominal, celsius, meter, operator, purpose, bench, *sheet = numbers
    stay = _stay_at(latest, serial, entry_id)
    if stay is None:  # a verdict that no start stands before: imported, or its start is in another record
        stay = Stay(entry_id, serial, bench, Purpose(purpose), operator, sheet[0], sheet[1], utc_s)
        found.append(stay)
        latest.setdefault((serial, _birth(entry_id)), []).append(stay)
    touches = stay.steps[step] = stay.steps.get(step, 0) + 1
    if counts:
        stay.values[step] = Value(
            step,
            pin_a,
            pin_b,
            Outcome(outcome),
            ohm,
            u_ohm,
            expanded,
            lower,
            upper,
            nominal,
            celsius,
            meter,
            operator,
            sheet[2],
            utc_s,
            touches,
        )


def _stay_at(latest: dict[tuple[str, str], list[Stay]], serial: str, entry_id: str) -> Stay | None:
    """The stay of a unit that was under way, or had just ended, when an entry was written."""
    seq = _seq(entry_id)
    stays: Iterator[Stay] = reversed(latest.get((serial, _birth(entry_id)), []))
    return next((stay for stay in stays if _seq(stay.id) <= seq), None)


def _birth(entry_id: str) -> str:
    return entry_id.partition("-")[0]


def _seq(entry_id: str) -> int:
    return int(entry_id.partition("-")[2])
