"""A unit's visits to the bench: the one model that certificate, label, batch, returned, look-back stand on.

A visit goes from "put on the bench" to its result; one that a power cut interrupted goes on as the same one,
and what is typed in later belongs to the visit before it. What a unit's result is, is asked of `Visit` alone.
Not for judging anything: what counted then counts here.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass, field, replace
from operator import itemgetter
from typing import Any, Generic, NamedTuple, TypeVar

from acquire.errors import InputImpossible, JournalUnusable
from acquire.journal.entry import Entry
from acquire.journal.plain import evidence_from_plain
from acquire.journal.question import OF_A_STAY, Question, Record
from acquire.records import (
    BalanceFound,
    BalanceKind,
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
    WoundFrom,
)
from acquire.records.codes import WARM_CHECK
from acquire.records.words import FAILING
from acquire.unit_result import judged, settled, worst
from acquire.words.units import findings_words, result_words, why_not
from drivers.reading import Quantity

T = TypeVar("T", bound=Recorded)

FIELDS = (
    "step", "outcome", "counts", "pin_a", "pin_b", "reference_ohm", "standard_uncertainty_ohm",
    "expanded_ohm", "lower_ohm", "upper_ohm", "nominal_ohm", "reference_celsius", "winding_celsius",
    "meter_id", "operator", "rule",
    "bench", "purpose", "sheet", "sheet_hash", "meter_hash", "quantity", "range_full_scale_ohm", "lead_ohm",
)  # fmt: skip
"""Of each verdict, beside its place: all that needs no evidence."""

STARTED = ("bench", "serial", "sheet", "sheet_hash", "batch", "operator", "utc_s", "purpose", "spools")
"""Of the start of each visit of a batch."""

_PAYLOAD = itemgetter(*FIELDS)
_OUTCOMES = {each.value: each for each in Outcome}


class OnRecord(NamedTuple, Generic[T]):
    """A record with the id of its entry."""

    id: str
    record: T


class Value(NamedTuple):
    """One step as one verdict has it; the whole verdict and its evidence where `entry` is at hand."""

    id: str
    utc_s: float
    serial: str
    step: str
    outcome: Outcome
    counts: bool
    pin_a: str
    pin_b: str
    reference_ohm: float | None
    standard_uncertainty_ohm: float | None
    expanded_ohm: float | None
    lower_ohm: float | None
    upper_ohm: float | None
    nominal_ohm: float | None
    reference_celsius: float
    winding_celsius: float | None
    meter_id: str
    operator: str
    rule: str
    bench: str
    purpose: str
    sheet: str
    sheet_hash: str
    meter_hash: str
    quantity: str
    range_full_scale_ohm: float | None
    lead_ohm: float
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
        if entry.kind == "unit_started":
            visits.append(Visit(entry.id, record_of(entry, UnitStarted)))
        elif visits and entry.kind == "verdict":
            visits[-1].values.append(value_of(entry))
        elif visits:
            _add(visits[-1], entry)
    return visits


def value_of(entry: Entry) -> Value:
    """The value of a verdict's entry. Raises JournalUnusable where it cannot be read as one."""
    record_of(entry, Verdict)
    return _value((entry.id, entry.utc_s, entry.serial, *_PAYLOAD(entry.payload), entry))


def _value(row: Iterable[Any]) -> Value:
    id_, utc_s, serial, step, outcome, counts, *others = row
    return Value(id_, utc_s, serial, step, _OUTCOMES[outcome], bool(counts), *others)


def _add(visit: Visit, entry: Entry) -> None:
    if entry.kind == "notice":
        visit.notices.append(OnRecord(entry.id, record_of(entry, Notice)))
    elif entry.kind == "unit_result":
        visit.results.append(OnRecord(entry.id, record_of(entry, UnitResult)))
        visit.result = visit.results[-1].record
    elif entry.kind == "typed_result":
        visit.typed.append(OnRecord(entry.id, record_of(entry, TypedResult)))
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
    try:
        record = entry.record
    except ValueError as error:
        raise JournalUnusable(f"Entry {entry.id} cannot be read as a {entry.kind}: {error}.") from error
    assert isinstance(record, kind)  # noqa: S101  (the kind of the entry says so)
    return record


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
    counts = True  # nothing on paper says otherwise
    return Value(
        of.id, p.measured_utc_s, p.serial, p.step, p.outcome or Outcome.CANNOT_JUDGE, counts, p.pin_a,
        p.pin_b, p.reference_ohm, None if expanded is None else expanded / 2.0, expanded, None, None, None,
        p.reference_celsius, p.celsius, p.instrument or "paper", p.operator, "", p.bench, p.purpose,
        p.sheet, p.sheet_hash, "", Quantity.RESISTANCE, None, 0.0,
    )  # fmt: skip


def brief_visits(record: Record, since_utc_s: float | None = None) -> list[Visit]:
    """Every visit that began since then, without its values: how it began and what its result is now."""
    question = Question(kinds=OF_A_STAY, since_utc_s=since_utc_s, with_evidence=False)
    entries = list(record.find(question))
    starts = (Visit(e.id, record_of(e, UnitStarted)) for e in entries if e.kind == "unit_started")
    return _visits(starts, entries, ())


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
    kinds = ("unit_result", "typed_result", "batch")
    entries = list(record.find(Question(batch=name, kinds=kinds, with_evidence=False)))
    starts = record.values(Question(batch=name, kinds=("unit_started",)), ("id", *STARTED))
    deeds = tuple(record_of(entry, Batch) for entry in entries if entry.kind == "batch")
    rows = record.values(Question(batch=name, kinds=("verdict",)), ("id", "utc_s", "serial", *FIELDS))
    visits = _visits(map(_begun, starts), entries, rows)
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
    return BatchUnits(name, deeds, chosen, tuple(others), kept, tuple(sheets))


def _begun(row: Iterable[Any]) -> Visit:
    id_, *fields, purpose, spools = row
    wound = tuple(WoundFrom(**each) for each in spools or ())
    bench, serial, sheet, sheet_hash, batch, operator, utc_s = fields
    of = (bench, serial, sheet, sheet_hash)
    return Visit(id_, UnitStarted(*of, Purpose(purpose), batch, operator, utc_s, wound))


def _visits(
    starts: Iterable[Visit], entries: Sequence[Entry], rows: Iterable[tuple[Any, ...]]
) -> list[Visit]:
    """Put everything where it belongs: what follows the start of a unit is of that visit, until the next."""
    found: list[Visit] = []
    open_visits: dict[tuple[str, str], list[tuple[int, Visit]]] = {}

    def begin(visit: Visit) -> None:
        found.append(visit)
        birth, seq = _place(visit.id)
        open_visits.setdefault((visit.started.serial, birth), []).append((seq, visit))

    def at(serial: str, entry_id: str) -> Visit | None:
        birth, seq = _place(entry_id)
        visits: Iterator[tuple[int, Visit]] = reversed(open_visits.get((serial, birth), ()))
        return next((visit for begun, visit in visits if begun <= seq), None)

    for visit in starts:
        begin(visit)
    for row in rows:
        value = _value(row)
        if value.step == WARM_CHECK:
            continue
        of = at(value.serial, value.id)
        if of is None:  # no start stands before it: that is in another record
            v, purpose = value, Purpose(value.purpose)
            start = UnitStarted(v.bench, v.serial, v.sheet, v.sheet_hash, purpose, "", v.operator, v.utc_s)
            of = Visit(v.id, start)
            begin(of)
        of.values.append(value)
    for entry in entries:
        if entry.kind in ("unit_result", "typed_result") and (of := at(entry.serial, entry.id)) is not None:
            _add(of, entry)
    return found


def _place(entry_id: str) -> tuple[str, int]:
    birth, _, seq = entry_id.partition("-")
    return birth, int(seq)
