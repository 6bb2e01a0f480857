"""A unit's visits to the bench: the one model that certificate, label, batch, returned, look-back stand on.

A visit goes from "put on the bench" to its result; one that a power cut interrupted goes on as the same one,
and what is typed in later belongs to the visit before it. What a unit's result is, is asked of `Visit` alone.
Not for judging anything: what counted then counts here.
"""

from __future__ import annotations

import gc
import json
from collections.abc import Callable, Iterable, Iterator, Sequence
from contextlib import contextmanager
from dataclasses import dataclass, field, replace
from itertools import islice
from typing import Any, Generic, NamedTuple, TypeVar

import msgspec

from acquire.errors import InputImpossible, JournalUnusable
from acquire.journal.entry import Entry
from acquire.journal.plain import KINDS, evidence_from_plain
from acquire.journal.query import OF_A_VISIT, Query, Record
from acquire.journal.upgrade import sign_of_today, upgraded
from acquire.records import (
    BalanceFound,
    BalanceKind,
    Basis,
    Batch,
    Evidence,
    Hypothesis,
    Notice,
    Outcome,
    Purpose,
    Recorded,
    Rule,
    TypedResult,
    UnitResult,
    UnitStarted,
    Untested,
    Verdict,
)
from acquire.records.codes import WARM_CHECK
from acquire.unit_result import counting_typed, with_typed
from acquire.words.units import findings_words, result_words, why_not
from drivers.reading import Quantity

T = TypeVar("T", bound=Recorded)


class OnRecord(NamedTuple, Generic[T]):
    """A record with the id of its entry."""

    id: str
    record: T


class Value(msgspec.Struct, gc=False, kw_only=True):
    """One step as one verdict has it; the whole verdict and its evidence where `entry` is at hand.

    Names and order are those of `Verdict`: so one is read from a verdict's JSON fastest.
    """

    bench: str
    serial: str
    step: str
    pin_a: str
    pin_b: str
    outcome: Outcome
    lead_ohm: float = 0.0
    winding_celsius: float | None = None
    reference_celsius: float
    reference_ohm: float | None = None
    nominal_ohm: float | None = None
    lower_ohm: float | None = None
    upper_ohm: float | None = None
    standard_uncertainty_ohm: float | None = None
    expanded_ohm: float | None = None
    rule: Rule | None = None
    counts: bool
    utc_s: float
    quantity: Quantity = Quantity.RESISTANCE
    meter_id: str
    operator: str
    basis: Basis
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
    """One visit of a unit on a bench.

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

    def add(self, id_: str, record: Recorded) -> None:
        """Take up what came after its start, of this unit, and how it stands with that."""
        match record:
            case Notice():
                self.notices.append(OnRecord(id_, record))
                return
            case UnitResult():
                self.results.append(OnRecord(id_, record))
                self.result = record
            case TypedResult():
                self.typed.append(OnRecord(id_, record))
        if self.typed and self.results:
            self.result = with_typed(self.results[-1].record, [each.record for each in self.typed])

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
        return tuple(counting_typed(each.record for each in self.typed).values())

    @property
    def outcome(self) -> Outcome | None:
        """The unit's result; None where it was held, given up or is unfinished."""
        return None if self.result is None else self.result.outcome

    @property
    def revision(self) -> tuple[int, Outcome | None]:
        """Tells one state of the result from a later one."""
        return (0, None) if self.result is None else (self.result.revision, self.result.outcome)

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
        counting = {each.step: each for each in self.values if each.counts}
        if len(counting) == len(self.values):
            return counting
        order = dict.fromkeys(each.step for each in self.values)
        return {step: counting[step] for step in order if step in counting}

    def resistances(self) -> dict[str, Value]:
        """As `deciding`, without the repetition that only asks whether the unit is warm."""
        deciding = self.deciding()
        deciding.pop(WARM_CHECK, None)
        return deciding


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
    own = (entry for entry in entries if entry.serial)
    return _visits(
        (each.id, value_of(each) if each.kind == "verdict" else recorded(each), each.payload) for each in own
    )


def value_of(entry: Entry) -> Value:
    """The value of a verdict's entry. Raises JournalUnusable where it cannot be read as one."""
    record_of(entry, Verdict)
    try:
        value = msgspec.convert(entry.payload, Value)
    except msgspec.MsgspecError as error:
        raise JournalUnusable(f"Entry {entry.id} cannot be read as a verdict: {error}.") from error
    value.id, value.entry = entry.id, entry
    return value


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


def brief_visits(
    record: Record, since_utc_s: float | None = None, deeds: list[Batch] | None = None
) -> list[Visit]:
    """Every visit that began since then, without its values: how it began and what its result is now.

    What was done to batches is added to `deeds`, where they are given.
    """
    kinds = OF_A_VISIT if deeds is None else (*OF_A_VISIT, "batch")
    return _visits(_read(record, Query(kinds=kinds, since_utc_s=since_utc_s)), deeds)


# ---------------------------------------------------------------- a batch


@dataclass(slots=True)
class Unit:
    """One unit of a batch with all its visits, oldest first.

    Attributes:
        first: the first visit with an outcome: the one that counts for the yield.
        last: the last visit with an outcome: how the unit is now.
    """

    serial: str
    visits: list[Visit] = field(default_factory=list)
    first: Visit | None = None
    last: Visit | None = None

    def add(self, visit: Visit) -> None:
        """Take up its next visit, read to the end."""
        self.visits.append(visit)
        if visit.outcome is not None:
            self.first, self.last = self.first or visit, visit


def units_in(visits: Iterable[Visit]) -> tuple[Unit, ...]:
    """The units of some visits, in the order in which they first came."""
    units: dict[str, Unit] = {}
    for visit in visits:
        serial = visit.started.serial
        (units.get(serial) or units.setdefault(serial, Unit(serial))).add(visit)
    return tuple(units.values())


def batch_visits(record: Record, name: str, deeds: list[Batch]) -> list[Visit]:
    """Every visit of a batch (exactly of this name): of verdicts the fields alone, so thousands take seconds.

    What was done to the batch is added to `deeds`. Raises JournalUnusable where the record cannot be read.
    """
    return _visits(_read(record, Query(batch=name, kinds=("verdict", "batch", *OF_A_VISIT))), deeds)


@contextmanager
def without_collecting() -> Iterator[None]:
    """Nothing is looked through for what could be freed: thousands of units come, and all of them stay."""
    was_on = gc.isenabled()
    gc.disable()
    try:
        yield
    finally:
        if was_on:
            gc.enable()


_READERS: dict[str, tuple[Callable[[bytes], Any], bytes]] = {
    kind: (msgspec.json.Decoder(KINDS[kind]).decode, sign_of_today(kind)) for kind in (*OF_A_VISIT, "batch")
} | {"verdict": (msgspec.json.Decoder(Value).decode, b"")}
"""Reads what a kind holds from its JSON in one go, only what fits exactly; and the sign of today's.

A verdict's is its `basis`, without which there is no value.
"""


AT_ONCE = 512
"""Entries that are decoded in one go; the processor keeps them at hand."""


def _read(record: Record, query: Query) -> Iterator[tuple[str, Any, bytes]]:
    """Ids with what their entries hold, of verdicts a value, and their JSON."""
    rows = record.payloads(query)
    while block := list(islice(rows, AT_ONCE)):
        yield from [(id_, _held(id_, kind, payload), payload) for id_, kind, payload in block]


def _held(id_: str, kind: str, payload: bytes) -> Any:
    decode, sign = _READERS[kind]
    try:
        return decode(payload) if sign in payload else _read_slowly(id_, kind, payload)
    except (msgspec.MsgspecError, UnicodeError):
        return _read_slowly(id_, kind, payload)


def _read_slowly(id_: str, kind: str, payload: bytes) -> Value | Recorded:
    """The same of an entry of an earlier program, or one that is damaged: that is told."""
    try:
        plain = upgraded(kind, json.loads(payload.decode("utf-8", "surrogatepass")))
    except ValueError as error:
        raise JournalUnusable(f"Entry {id_} of the journal is damaged: {error}.") from error
    entry = Entry(0, id_, kind, 0.0, "", plain)
    return value_of(entry) if kind == "verdict" else recorded(entry)


def _visits(read: Iterable[tuple[str, Any, Any]], deeds: list[Batch] | None = None) -> list[Visit]:
    """Put everything where it belongs: what follows the start of a unit is of that visit, until the next.

    On the record of many benches it is of the visit to the same bench, if there is one. What was done to
    batches is added to `deeds`.
    """
    found: list[Visit] = []
    latest: dict[str, Visit] = {}
    open_visits: dict[str, Visit] = {}
    for id_, each, payload in read:
        if isinstance(each, Batch):
            if deeds is not None:
                deeds.append(each)
            continue
        serial = each.serial
        here = id_[: id_.index("-") + 1] + serial
        visit = open_visits.get(here)
        if isinstance(each, Value) and visit is not None:
            visit.values.append(each)
        elif isinstance(each, Value | UnitStarted):  # the start of a verdict's visit may be in another record
            visit = Visit(id_, each if isinstance(each, UnitStarted) else _started(payload))
            found.append(visit)
            latest[serial] = open_visits[here] = visit
            if isinstance(each, Value):
                visit.values.append(each)
        elif visit := visit or latest.get(serial):
            visit.add(id_, each)
    return found


def _started(payload: bytes | dict[str, Any]) -> UnitStarted:
    """How a visit began, as far as a verdict of it tells."""
    plain = json.loads(payload) if isinstance(payload, bytes) else payload
    names = "bench", "serial", "sheet", "sheet_hash", "purpose", "batch", "operator", "utc_s"
    return msgspec.convert({name: plain[name] for name in names}, UnitStarted)
