"""What the record is asked afterwards: what rests on an unfit instrument or spool, and what good units read.

ISO 9001:2015, 7.1.5.2 asks for the first: where a measuring device is found unfit, earlier results are judged
again. These are they: all of them. Derived from what stands behind the verdicts; the record itself is never
changed. And a sheet is learnt from units that somebody called good. Not for judging them again, for when to
zero leads (duties), nor for finding the circuit (steps/learn).
"""

from __future__ import annotations

import math
import tomllib
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass, field
from pathlib import Path
from types import SimpleNamespace
from typing import Any, NamedTuple

from acquire.choices import PASSING
from acquire.errors import FileInvalid, InputImpossible
from acquire.files.toml_file import TomlFile
from acquire.files.toml_template import toml_from
from acquire.journal.entry import Entry
from acquire.journal.query import Query, Record
from acquire.outlets.payload import iso_time
from acquire.physics.leads import moved
from acquire.quantity import counted
from acquire.records import CheckStandard, Code, LeadZero, Pair
from acquire.reports.document import moment
from acquire.reports.visits import Visit, brief_visits, record_of, visits_on
from acquire.sheets import sheet_of
from acquire.steps.learn import Learnt, Readings, Structure, learn
from drivers.reading import Quantity
from drivers.toml_lines import find_lines


@dataclass(frozen=True, slots=True)
class Doubts:
    """The lead zeros of a journal that found their leads changed, oldest first."""

    zeros: tuple[LeadZero, ...] = ()

    @classmethod
    def of(cls, record: Record) -> Doubts:
        """Look them up in a record. Raises JournalUnusable where it cannot be read."""
        found = (entry.record for entry in record.find(Query(kinds=("lead_zero",))))
        return cls.among(zero for zero in found if isinstance(zero, LeadZero))

    @classmethod
    def among(cls, zeros: Iterable[LeadZero]) -> Doubts:
        """Those of some zeros that make earlier verdicts doubtful."""
        return cls(tuple(zero for zero in zeros if zero.doubtful_since_utc_s is not None))

    def why(self, verdict: Any) -> str:
        """Why a verdict is doubtful, in one sentence; empty where it is not.

        A two-wire verdict between the zero it rests on and the one that found the leads changed is doubtful
        when that change is more than half the uncertainty it was given with (`physics.leads.moved`): low
        resistances are, high ones need not be. Takes whatever has a verdict's bench, meter_id, quantity,
        utc_s, lead_ohm and expanded_ohm.
        """
        v = verdict
        if not self.zeros or v.quantity != Quantity.RESISTANCE or v.expanded_ohm is None:
            return ""
        for zero in self.zeros:
            since_s = zero.doubtful_since_utc_s
            if (zero.bench, zero.meter_id) != (v.bench, v.meter_id) or since_s is None:
                continue
            rested_on = LeadZero(v.bench, v.meter_id, v.lead_ohm, 0.0, since_s)
            if since_s <= v.utc_s < zero.utc_s and moved(rested_on, zero, v.expanded_ohm):
                change_ohm = zero.value_ohm - v.lead_ohm
                return f"doubtful: the leads had changed by {change_ohm:+.3f} Ω when they were zeroed next"
        return ""


@dataclass(frozen=True, slots=True)
class Span:
    """A time within which results are looked for: first moment that counts, first that does not.

    None is the beginning, or the end; `sentence` says how it was found.
    """

    since_utc_s: float | None
    until_utc_s: float | None
    sentence: str


class MeterRow(NamedTuple):
    """One verdict that rests on a meter. The fields are the columns of the CSV."""

    id: str
    time_utc: str
    bench: str
    meter_id: str
    serial: str
    batch: str
    sheet: str
    purpose: str
    step: str
    pin_a: str
    pin_b: str
    outcome: str
    counts: bool
    reference_ohm: float | None
    expanded_ohm: float | None
    operator: str
    doubt: str


class SpoolRow(NamedTuple):
    """One visit of a unit on a bench with a winding from a spool. The fields are the columns of the CSV."""

    id: str
    time_utc: str
    bench: str
    spool: str
    windings: str
    serial: str
    batch: str
    sheet: str
    purpose: str
    outcome: str
    held: str
    operator: str


def span_since_check(record: Record, meter_id: str, bench: str | None = None) -> Span:
    """The time in which a meter's results are in question, by its check standard.

    Where the latest checks found it out of control: from the last one in control before them to the next one
    after, if there is one. Else from its last check in control to now.

    Args:
        record: of the shop.
        meter_id: name of the meter on its bench.
        bench: where several benches have a meter of that name; None: all of them.

    Raises:
        JournalUnusable: the record cannot be read.
    """
    found = record.find(Query(kinds=("check_standard",), meter_id=meter_id, bench=bench))
    checks = sorted((record_of(entry, CheckStandard) for entry in found), key=lambda check: check.utc_s)
    bad = [number for number, check in enumerate(checks) if not check.in_control]
    if not checks:
        return Span(None, None, f"No check standard of {meter_id} is on record: all its results are listed.")
    if not bad:
        last_s = checks[-1].utc_s
        return Span(last_s, None, f"{meter_id} was last in control at {moment(last_s)}; since then:")
    first = bad[-1]
    while first > 0 and not checks[first - 1].in_control:
        first -= 1
    before = checks[first - 1].utc_s if first else None
    after = checks[bad[-1] + 1].utc_s if bad[-1] + 1 < len(checks) else None
    was = "never before in control" if before is None else f"last in control before that at {moment(before)}"
    told = f"{meter_id} was found out of control at {moment(checks[first].utc_s)}, and {was}"
    told += f"; in control again at {moment(after)}" if after is not None else ""
    return Span(before, after, f"{told}. In question:")


def by_meter(record: Record, meter_id: str, span: Span, bench: str | None = None) -> Iterator[MeterRow]:
    """Every verdict that a meter gave within a time, oldest first. Raises JournalUnusable."""
    doubts = Doubts.of(record)
    since_s, until_s = span.since_utc_s, span.until_utc_s
    query = Query(
        kinds=("verdict",), meter_id=meter_id, bench=bench, since_utc_s=since_s, until_utc_s=until_s
    )
    own = [name for name in MeterRow._fields if name not in ("time_utc", "doubt")]
    for utc_s, quantity, lead_ohm, *values in record.values(query, ["utc_s", "quantity", "lead_ohm", *own]):
        of = SimpleNamespace(
            utc_s=utc_s, quantity=quantity, lead_ohm=lead_ohm, **dict(zip(own, values, strict=True))
        )
        row = {name: getattr(of, name) for name in own} | {"counts": bool(of.counts)}
        yield MeterRow(time_utc=iso_time(utc_s), doubt=doubts.why(of), **row)


def by_spool(record: Record, spool: str, span: Span | None = None) -> Iterator[SpoolRow]:
    """Every visit of a unit that had a winding from a spool (exactly as written on it), oldest first.

    Raises:
        JournalUnusable: the record cannot be read.
    """
    since_s, until_s = (None, None) if span is None else (span.since_utc_s, span.until_utc_s)
    for visit in brief_visits(record, since_s):
        started, outcome = visit.started, visit.outcome
        windings = ", ".join(each.winding for each in started.spools if each.spool == spool)
        if windings and (until_s is None or started.utc_s < until_s):
            yield SpoolRow(
                visit.id, iso_time(started.utc_s), started.bench, spool, windings, started.serial,
                started.batch, started.sheet, started.purpose, outcome or "", "" if outcome else visit.ended,
                started.operator,
            )  # fmt: skip


@dataclass(slots=True)
class RowTally:
    """Counts rows as they go by, for the last line: how many, of which units, and which of those passed."""

    rows: int = 0
    passed: dict[str, bool] = field(default_factory=dict)

    def count(self, rows: Iterable[MeterRow | SpoolRow]) -> Iterator[MeterRow | SpoolRow]:
        """The same rows, counted."""
        for self.rows, row in enumerate(rows, start=1):
            self.passed[row.serial] = row.outcome in PASSING or self.passed.get(row.serial, False)
            yield row

    def sentence(self, what: str) -> str:
        """How many there were; `what` a row is, such as "verdict"."""
        if not self.rows:
            return "None on record. Are the name and the dates right? steadyohm history shows what is there."
        of_units = f"{counted(self.rows, what)} of {counted(len(self.passed), 'unit')}"
        return f"{of_units}; {sum(self.passed.values())} of them with a pass among these."


LEAST_OHM = 1e-4
"""Stands for a bond that reads nothing, or less: leads are taken off no better than that."""

LEAST_TOLERANCE, MOST_TOLERANCE = 0.01, 0.3
"""No tolerance is proposed below the first: repeatability and temperature alone come near it. Above the
second the units were too few or not alike: it is left out. Workshop choices."""


def called_good(record: Record) -> dict[str, Readings]:
    """What the good units of the latest sheet read at its reference temperature, without leads, by serial.

    Args:
        record: of a bench. A unit that was called good twice counts as it stood the last time.

    Raises:
        InputImpossible, JournalUnusable: a unit of the record cannot be read.
    """
    asked = Query(kinds=("notice",), with_evidence=False)
    marks = [entry for entry in record.find(asked) if entry.payload.get("code") == Code.UNIT_GOOD]
    visits = [_visit(record, mark) for mark in marks]
    return {
        visit.started.serial: {
            Pair(value.pin_a, value.pin_b): _ohm(value.reference_ohm)
            for value in visit.resistances().values()
        }
        for visit in visits
        if visit.started.sheet_hash == visits[-1].started.sheet_hash
    }


def _visit(record: Record, mark: Entry) -> Visit:
    """The visit that a unit was called good after: the latest that had begun by then."""
    visits = visits_on(record, mark.serial)
    return next(visit for visit in reversed(visits) if visit.started.utc_s <= mark.utc_s)


def _ohm(ohm: float | None) -> float:
    return math.inf if ohm is None else max(ohm, LEAST_OHM)


def learnt(units: Mapping[str, Readings], name: str, core: str, celsius: float = 20.0) -> str:
    """A sheet proposed from good units.

    Args:
        units: what each read, by its name.
        name: of the unit type.
        core: name of the core, empty where there is none; left out where it was not touched.
        celsius: temperature that the readings hold at.

    Raises:
        InputImpossible: no sheet can be made of that; says why.
    """
    touched = any(core in pair for readings in units.values() for pair in readings)
    core = core if touched else ""
    text = sheet_text(name, learn(list(units.values()), core), units=len(units), core=core, celsius=celsius)
    try:
        sheet_of(TomlFile(Path("the proposed sheet"), tomllib.loads(text), find_lines(text), ""))
    except tomllib.TOMLDecodeError as error:
        raise InputImpossible("The names cannot be written into a sheet.", "Use plain letters.") from error
    except FileInvalid as error:
        fault = error.faults[0]
        raise InputImpossible(f"No sheet can be made of that: {fault.what}", fault.remedy) from error
    return text


def sheet_text(name: str, found: Structure, *, units: int, core: str = "", celsius: float = 20.0) -> str:
    """Write a sheet.

    Args:
        name: of the unit type.
        found: from `learn`.
        units: how many good units it rests on.
        core: name of the core, "" when it was not touched.
        celsius: reference temperature of the readings.
    """
    return toml_from(
        Path(__file__).with_name("templates") / "learnt_sheet.toml",
        name=name,
        found=found,
        units=units,
        core=core,
        celsius=celsius,
        steps=_steps(found),
        shown=_shown,
        percent_of=_percent,
        most_percent=100.0 * MOST_TOLERANCE,
    )


def _steps(found: Structure) -> list[tuple[str, Pair]]:
    """Every branch; a star whose middle cannot be touched from pin to pin, all the way round; then sums."""
    pairs = [Pair(each.a, each.b) for each in found.branches if {each.a, each.b} <= set(found.pins)]
    middles: dict[str, list[str]] = {}
    for branch in found.branches:
        if branch.b not in found.pins:
            middles.setdefault(branch.b, []).append(branch.a)
    pairs += [pair for u, v, w in middles.values() for pair in (Pair(u, v), Pair(v, w), Pair(u, w))]
    named = [(f"{pair.a} to {pair.b}", pair) for pair in pairs]
    return named + [(f"{pair.a} to {pair.b}, sum", pair) for pair in found.sums]


def _percent(branch: Learnt) -> float | None:
    """The tolerance to propose, rounded up to a tenth of a percent; None where one unit shows no spread."""
    if branch.tolerance is None:
        return None
    return math.ceil(max(branch.tolerance, LEAST_TOLERANCE) * 1000.0 - 1e-9) / 10.0


def _shown(ohm: float) -> str:
    """Five significant digits without an exponent; four in milliohms."""
    if ohm < 1.0:
        return f"{1000 * ohm:.4g} mohm"
    return f"{ohm:.{max(0, 4 - math.floor(math.log10(ohm)))}f} ohm"
