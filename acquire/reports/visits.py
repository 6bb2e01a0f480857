"""A unit's visits to the bench: the one model that certificate, label, batch, returned, look-back stand on.

A visit goes from "put on the bench" to its result; one that a power cut interrupted goes on as the same one,
and what is typed in later belongs to the visit before it. What a unit's result is, is asked of `Visit` alone.
Not for judging anything: what counted then counts here.
"""

from __future__ import annotations

import json
from collections.abc import Callable, Iterable, Iterator, Sequence
from contextlib import suppress
from dataclasses import dataclass, field, replace
from typing import Any, Generic, NamedTuple, TypeVar

import msgspec

from acquire.errors import InputImpossible, JournalUnusable
from acquire.journal.entry import Entry
from acquire.journal.plain import KINDS, evidence_from_plain
from acquire.journal.question import OF_A_STAY, Question, Record
from acquire.journal.upgrade import of_today, upgraded
from acquire.records import (
    BalanceFound,
    BalanceKind,
    Basis,
    Batch,
    Evidence,
    Hypothesis,
    ImportedResult,
    Notice,
    Outcome,
    Purpose,
    Recorded,
    TypedResult,
    UnitResult,
    UnitStarted,
    Untested,
    Verdict,
)
from acquire.records.codes import WARM_CHECK
from acquire.records.words import FAILING
from acquire.unit_result import judged, settled, worst
from acquire.words.units import findings_words, result_words, why_not
from drivers.reading import Quantity

T = TypeVar("T", bound=Recorded)


class OnRecord(NamedTuple, Generic[T]):
    """A record with the id of its entry."""

    id: str
    record: T


class Value(msgspec.Struct, gc=False):
    """One step as one verdict has it; the whole verdict and its evidence where `entry` is at hand.

    The names are those of `Verdict`, so that one is read from a verdict's JSON at once.
    """

    utc_s: float
    serial: str
    step: str
    outcome: Outcome
    counts: bool
    pin_a: str
    pin_b: str
    reference_celsius: float
    meter_id: str
    operator: str
    bench: str
    purpose: Purpose
    sheet: str
    sheet_hash: str
    reference_ohm: float | None = None
    standard_uncertainty_ohm: float | None = None
    expanded_ohm: float | None = None
    lower_ohm: float | None = None
    upper_ohm: float | None = None
    nominal_ohm: float | None = None
    basis: Basis = Basis.MEASURED
    winding_celsius: float | None = None
    range_full_scale_ohm: float | None = None
    rule: str = ""
    meter_hash: str = ""
    quantity: str = Quantity.RESISTANCE
    lead_ohm: float = 0.0
    id: str = ""
    entry: Entry | None = None

    @property
    def verdict(self) -> Verdict:
        """The whole verdict; of a unit that was read in full."""
        assert self.entry is not None  # noqa: S101  (a value of one unit has its entry)
        return record_of(self.entry, Verdict)

    @property
    def evidence(self) -> Evidence | None:
        """What it rests on; None where none is kept."""
        return None if self.entry is None else evidence_of(self.entry)


@dataclass(slots=True)
class Visit:
    """One stay of a unit on a bench.

    Attributes:
        id: of the entry that began it.
        values: all verdicts, oldest first, whether they count or not.
        typed: results typed in for it; notices: that name the unit.
        results: how it ended, the latest revision last; empty while it is on the bench.
        result: how it stands: that revision, with all that was typed in since.
    """

    id: str
    started: UnitStarted
    values: list[Value] = field(default_factory=list)
    typed: list[OnRecord[TypedResult]] = field(default_factory=list)
    notices: list[OnRecord[Notice]] = field(default_factory=list)
    results: list[OnRecord[UnitResult]] = field(default_factory=list)
    result: UnitResult | None = None

    @property
    def result_id(self) -> str:
        """Entry of the result in force; of the start while there is none."""
        return self.results[-1].id if self.results else self.id

    def entry_ids(self) -> Iterator[str]:
        """Entries of its values, typed results and results."""
        for entries in (self.values, self.typed, self.results):
            yield from (each.id for each in entries)

    @property
    def purpose(self) -> Purpose:
        """Why the unit came."""
        return self.started.purpose

    @property
    def judged(self) -> tuple[TypedResult, ...]:
        """The typed results that count, each with an outcome."""
        return tuple(judged(each.record for each in self.typed).values())

    @property
    def outcome(self) -> Outcome | None:
        """The unit's result; None where it was held, given up or is unfinished."""
        return None if self.result is None else self.result.outcome

    @property
    def revision(self) -> tuple[int, Outcome | None]:
        """Tells one state of the result from a later one."""
        return (0, None) if self.result is None else (self.result.revision, self.result.outcome)

    @property
    def failed(self) -> bool:
        """Whether it ended with a failing outcome."""
        return self.outcome in FAILING

    @property
    def ended(self) -> str:
        """How it ended, in words: its outcome, or why it was held or given up."""
        return "no result on record" if self.result is None else result_words(self.result)

    @property
    def why_not(self) -> str:
        """Why a visit that ended has no outcome, in words; empty where it has one, or has not ended."""
        return "" if self.result is None else why_not(self.result)

    @property
    def hypotheses(self) -> tuple[Hypothesis, ...]:
        """What explains the readings, most likely first; empty for a unit that passed."""
        return self.result.hypotheses if self.result else ()

    def findings(self) -> tuple[str, ...]:
        """What rules over the whole unit found and what typed results did not pass, a sentence each."""
        return () if self.result is None else findings_words(self.result)

    def untested(self) -> tuple[Untested, ...]:
        """What sheet and circuit ask for and no result on record has tested, by id."""
        return () if self.result is None else self.result.untested

    def deciding(self) -> dict[str, Value]:
        """The verdict that decides each step: the last that counts, in the order of the first touches."""
        order: dict[str, Value | None] = dict.fromkeys(each.step for each in self.values)
        order |= {each.step: each for each in self.values if each.counts}
        return {step: each for step, each in order.items() if each is not None}

    def resistances(self) -> dict[str, Value]:
        """As `deciding`, without the repetition that only asks whether the unit is warm."""
        return {step: each for step, each in self.deciding().items() if step != WARM_CHECK}


def apart(rule: BalanceFound) -> BalanceFound:
    """A rule over two windings by their difference, as the sheet states it; old records have half of it."""
    if len(rule.windings) != 2 or rule.kind is BalanceKind.APART:
        return rule
    deviation, expanded, limit = (
        2.0 * each for each in (rule.deviation, rule.expanded_deviation, rule.limit)
    )
    return replace(
        rule, kind=BalanceKind.APART, deviation=deviation, expanded_deviation=expanded, limit=limit
    )


# ---------------------------------------------------------------- one unit


def visits_of(entries: Iterable[Entry]) -> list[Visit]:
    """Split the record of one unit, oldest first, into its visits. Raises JournalUnusable."""
    visits: list[Visit] = []
    for entry in entries:
        record = value_of(entry) if entry.kind == "verdict" else recorded(entry)
        if isinstance(record, UnitStarted):
            visits.append(Visit(entry.id, record))
        elif visits:
            _add(visits[-1], entry.id, record)
    return visits


def value_of(entry: Entry) -> Value:
    """The value of a verdict's entry. Raises JournalUnusable where it cannot be read as one."""
    record_of(entry, Verdict)
    try:
        value = msgspec.convert(entry.payload, Value)
    except msgspec.MsgspecError as error:
        raise JournalUnusable(f"Entry {entry.id} cannot be read as a verdict: {error}.") from error
    value.id, value.entry = entry.id, entry
    return value


def _add(visit: Visit, id_: str, record: Recorded | Value) -> None:
    match record:
        case Value():
            visit.values.append(record)
            return
        case Notice():
            visit.notices.append(OnRecord(id_, record))
            return
        case UnitResult():
            visit.results.append(OnRecord(id_, record))
            visit.result = record
        case TypedResult():
            visit.typed.append(OnRecord(id_, record))
    if visit.typed and visit.results:
        visit.result = settled(visit.results[-1].record, [each.record for each in visit.typed])


def visits_on(record: Record, serial: str) -> list[Visit]:
    """All visits of one unit, in full. Raises InputImpossible, JournalUnusable."""
    visits = visits_of(record.by_serial(serial))
    if not visits:
        what = f"{serial} was never on a bench of this record."
        raise InputImpossible(what, "Check the serial: steadyohm history lists them.")
    return visits


def judged_visit(visits: Sequence[Visit], purpose: Purpose | None = None) -> Visit:
    """The visit that a certificate or label is about: the latest with an outcome, of a purpose if given.

    Raises:
        InputImpossible: no visit ended with an outcome.
    """
    serial = visits[0].started.serial
    of_purpose = [visit for visit in visits if purpose is None or visit.purpose is purpose]
    if not of_purpose:
        raise InputImpossible(f"{serial} was never measured for purpose {purpose}.")
    judged = [visit for visit in of_purpose if visit.outcome is not None]
    if not judged:
        why = of_purpose[-1].why_not or "it is still on the bench"
        raise InputImpossible(f"{serial} has no verdict to certify: {why}.", "Measure it to the end first.")
    return judged[-1]


def record_of(entry: Entry, kind: type[T]) -> T:
    """The record of an entry. Raises JournalUnusable where it is damaged, or of another program."""
    record = recorded(entry)
    assert isinstance(record, kind)  # noqa: S101  (the kind of the entry says so)
    return record


def recorded(entry: Entry) -> Recorded:
    """As `record_of`, whatever it is."""
    try:
        return entry.record
    except ValueError as error:
        raise JournalUnusable(f"Entry {entry.id} cannot be read as a {entry.kind}: {error}.") from error


def evidence_of(entry: Entry) -> Evidence | None:
    """The evidence of an entry. Raises JournalUnusable where it is damaged."""
    try:
        return None if entry.evidence is None else evidence_from_plain(entry.evidence)
    except ValueError as error:
        raise JournalUnusable(f"The evidence of entry {entry.id} is damaged: {error}.") from error


def paper_visit(record: Record, serial: str) -> Visit:
    """The latest day of a unit's imported paper record as if it were a visit; only on request.

    What the paper does not say (readings, leads, budget) stays empty.

    Raises:
        InputImpossible: no paper of the unit was imported, or none of it states a temperature.
        JournalUnusable: the record cannot be read.
    """
    found = record.find(Question(serial=serial, kinds=("imported_result",)))
    values = [OnRecord(entry.id, record_of(entry, ImportedResult)) for entry in found]
    if not values:
        raise InputImpossible(f"No paper record of {serial} was imported.", "steadyohm import takes them.")
    values = [
        each for each in values if each.record.reference_ohm is not None or each.record.value_ohm is None
    ]
    if not values:
        what = f"The paper record of {serial} states no temperature, so its values cannot be compared."
        raise InputImpossible(what)
    last_s = max(each.record.measured_utc_s for each in values)
    of_the_day = [each for each in values if last_s - each.record.measured_utc_s < 86_400.0]
    id_, p = of_the_day[0]
    started = UnitStarted(
        p.bench, serial, p.sheet, p.sheet_hash, p.purpose, p.batch, p.operator, p.measured_utc_s
    )
    outcome = worst(each.record.outcome for each in of_the_day)
    result = UnitResult(
        p.bench, serial, p.sheet, p.sheet_hash, p.purpose, p.batch, p.operator, outcome, None, 0,
        len(of_the_day), (), None, p.measured_utc_s, p.measured_utc_s, measured=outcome,
    )  # fmt: skip
    return Visit(
        id_,
        started,
        [_paper_value(each) for each in of_the_day],
        results=[OnRecord(id_, result)],
        result=result,
    )


def _paper_value(of: OnRecord[ImportedResult]) -> Value:
    p = of.record
    factor = 1.0 if not p.value_ohm or p.reference_ohm is None else p.reference_ohm / p.value_ohm
    expanded = None if p.expanded_ohm is None else p.expanded_ohm * factor
    return Value(
        p.measured_utc_s, p.serial, p.step, p.outcome or Outcome.CANNOT_JUDGE, counts=True, pin_a=p.pin_a,
        pin_b=p.pin_b, reference_celsius=p.reference_celsius, meter_id=p.instrument or "paper",
        operator=p.operator, bench=p.bench, purpose=p.purpose, sheet=p.sheet, sheet_hash=p.sheet_hash,
        reference_ohm=p.reference_ohm, expanded_ohm=expanded, winding_celsius=p.celsius, id=of.id,
        standard_uncertainty_ohm=None if expanded is None else expanded / 2.0,
    )  # fmt: skip


def brief_visits(record: Record, since_utc_s: float | None = None) -> list[Visit]:
    """Every visit that began since then, without its values: how it began and what its result is now."""
    return _visits(_read(record, Question(kinds=OF_A_STAY, since_utc_s=since_utc_s)))


# ---------------------------------------------------------------- a batch


@dataclass(slots=True)
class Unit:
    """One unit of a batch with all its visits, oldest first."""

    serial: str
    visits: list[Visit] = field(default_factory=list)

    @property
    def first(self) -> Visit | None:
        """The first visit with an outcome: the one that counts for the yield."""
        return next((visit for visit in self.visits if visit.outcome is not None), None)

    @property
    def last(self) -> Visit | None:
        """The last visit with an outcome: how the unit is now."""
        return next((visit for visit in reversed(self.visits) if visit.outcome is not None), None)


@dataclass(frozen=True, slots=True)
class BatchUnits:
    """All units of a batch that were measured for one purpose.

    Attributes:
        deeds: what was done to it, oldest first; empty where it was never opened by name.
        purpose: of these visits; other_purposes: others that the batch was measured for as well.
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
    """Read the units of a batch: of verdicts the fields alone, so that thousands take seconds.

    Args:
        record: of one bench or of many.
        name: of the batch, exactly.
        purpose: only visits for this; None: final ones where there are any, else the latest purpose.

    Returns:
        None where the record has nothing of such a batch.

    Raises:
        JournalUnusable: the record cannot be read.
    """
    deeds: list[Batch] = []
    visits = _visits(_read(record, Question(batch=name, kinds=("verdict", "batch", *OF_A_STAY))), deeds)
    if not visits and not deeds:
        return None
    purposes = [visit.purpose for visit in visits]
    usual = Purpose.FINAL if Purpose.FINAL in purposes or not purposes else purposes[-1]
    chosen = purpose or usual
    units: dict[str, Unit] = {}
    for visit in visits:
        if visit.purpose is chosen:
            units.setdefault(visit.started.serial, Unit(visit.started.serial)).visits.append(visit)
    kept = tuple(units.values())
    sheets = dict.fromkeys((v.started.sheet, v.started.sheet_hash) for unit in kept for v in unit.visits)
    others = dict.fromkeys(each for each in purposes if each is not chosen)
    return BatchUnits(name, tuple(deeds), chosen, tuple(others), kept, tuple(sheets))


OfAStay = Value | UnitStarted | UnitResult | TypedResult | Batch

_READERS: dict[str, Callable[[str], Any]] = {
    kind: msgspec.json.Decoder(KINDS[kind]).decode for kind in (*OF_A_STAY, "batch")
} | {"verdict": msgspec.json.Decoder(Value).decode}
"""Reads what a kind of entry holds from its JSON in one go; only what fits exactly."""


def _read(record: Record, question: Question) -> Iterator[tuple[str, OfAStay]]:
    """Ids with what their entries hold, of verdicts a value: ten thousand units in a second."""
    for id_, kind, payload in record.payloads(question):
        found: Any = None
        if of_today(kind, payload):
            with suppress(msgspec.MsgspecError, UnicodeError):
                found = _READERS[kind](payload)
        if found is None:
            found = _read_slowly(id_, kind, payload)
        if kind == "verdict":
            found.id = id_
        yield id_, found


def _read_slowly(id_: str, kind: str, payload: str) -> Recorded | Value:
    """The same of an entry of an earlier program, or one that is damaged: that is told."""
    try:
        plain = upgraded(kind, json.loads(payload))
    except ValueError as error:
        raise JournalUnusable(f"Entry {id_} of the journal is damaged: {error}.") from error
    entry = Entry(0, id_, kind, 0.0, "", plain)
    return value_of(entry) if kind == "verdict" else recorded(entry)


def _visits(read: Iterable[tuple[str, OfAStay]], deeds: list[Batch] | None = None) -> list[Visit]:
    """Put everything where it belongs: what follows the start of a unit is of that visit, until the next.

    What was done to batches is added to `deeds`.
    """
    found: list[Visit] = []
    open_visits: dict[tuple[str, str], Visit] = {}
    for id_, each in read:
        if isinstance(each, Batch):
            if deeds is not None:
                deeds.append(each)
            continue
        if isinstance(each, Value) and each.step == WARM_CHECK:
            continue
        place = (each.serial, id_[: id_.index("-")])
        start = each if isinstance(each, UnitStarted) else None
        if isinstance(each, Value) and place not in open_visits:  # its start is in another record
            v = each
            start = UnitStarted(v.bench, v.serial, v.sheet, v.sheet_hash, v.purpose, "", v.operator, v.utc_s)
        if start is not None:
            open_visits[place] = Visit(id_, start)
            found.append(open_visits[place])
        if start is not each and place in open_visits:
            _add(open_visits[place], id_, each)
    return found
