"""Look-back: what rests on an instrument that was found unfit, and which units hold wire of a bad spool.

ISO 9001:2015, 7.1.5.2 asks for it: where a measuring device is found unfit, earlier results are judged again.
These are they: all of them, as iterators. Not for judging them again.
"""

from __future__ import annotations

import csv
import io
from collections.abc import Iterable, Iterator
from dataclasses import dataclass, field, fields
from datetime import UTC, datetime

from acquire.journal.entry import Entry
from acquire.journal.question import OF_A_STAY, Question, Record
from acquire.outlets.payload import disarmed, iso_time
from acquire.quantity import counted
from acquire.records import CheckStandard, UnitResult
from acquire.records.words import PASSING
from acquire.reports.doubtful import Doubts
from acquire.reports.visits import record_of
from acquire.unit_result import stay_of, stays_of
from acquire.words.units import why_not


@dataclass(frozen=True, slots=True)
class Span:
    """A time within which results are looked for.

    Attributes:
        since_utc_s: first moment that counts, None: from the beginning.
        until_utc_s: first moment that does not, None: to the end.
        sentence: how it was found.
    """

    since_utc_s: float | None
    until_utc_s: float | None
    sentence: str


@dataclass(frozen=True, slots=True)
class MeterRow:
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


@dataclass(frozen=True, slots=True)
class SpoolRow:
    """One stay of a unit on a bench with a winding from a spool. The fields are the columns of the CSV."""

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
    found = (
        record_of(e) for e in record.find(Question(kinds=("check_standard",), meter_id=meter_id, bench=bench))
    )
    checks = sorted((c for c in found if isinstance(c, CheckStandard)), key=lambda check: check.utc_s)
    bad = [number for number, check in enumerate(checks) if not check.in_control]
    if not checks:
        return Span(None, None, f"No check standard of {meter_id} is on record: all its results are listed.")
    if not bad:
        last = checks[-1]
        return Span(last.utc_s, None, f"{meter_id} was last in control at {_clock(last.utc_s)}; since then:")
    first = bad[-1]
    while first > 0 and not checks[first - 1].in_control:
        first -= 1
    before = checks[first - 1].utc_s if first else None
    after = checks[bad[-1] + 1].utc_s if bad[-1] + 1 < len(checks) else None
    told = f"{meter_id} was found out of control at {_clock(checks[first].utc_s)}"
    told += (
        f", and last in control before that at {_clock(before)}"
        if before is not None
        else ", and never before in control"
    )
    told += f"; in control again at {_clock(after)}" if after is not None else ""
    return Span(before, after, f"{told}. In question:")


def _clock(utc_s: float) -> str:
    return datetime.fromtimestamp(utc_s, UTC).strftime("%Y-%m-%d %H:%M UTC")


def by_meter(record: Record, meter_id: str, span: Span, bench: str | None = None) -> Iterator[MeterRow]:
    """Every verdict that a meter gave within a time, oldest first.

    Raises:
        JournalUnusable: the record cannot be read.
    """
    doubts = Doubts.of(record)
    question = Question(
        kinds=("verdict",),
        meter_id=meter_id,
        bench=bench,
        since_utc_s=span.since_utc_s,
        until_utc_s=span.until_utc_s,
    )
    own = [each.name for each in fields(MeterRow) if each.name not in ("time_utc", "doubt")]
    names = ["utc_s", "quantity", "lead_ohm", *own]
    for utc_s, quantity, lead_ohm, *values in record.values(question, names):
        row = dict(zip(own, values, strict=True))
        meter = row["bench"], row["meter_id"]
        doubt = doubts.why_of(meter, quantity, utc_s, lead_ohm, row["expanded_ohm"]) if doubts.zeros else ""
        row["counts"] = bool(row["counts"])
        yield MeterRow(time_utc=iso_time(utc_s), doubt=doubt, **row)


def by_spool(record: Record, spool: str, span: Span | None = None) -> Iterator[SpoolRow]:
    """Every stay of a unit that had a winding from a spool, oldest first.

    Args:
        record: of the shop.
        spool: what is written on it, exactly.
        span: None: any time.

    Raises:
        JournalUnusable: the record cannot be read.
    """
    since_s, until_s = (None, None) if span is None else (span.since_utc_s, span.until_utc_s)
    question = Question(kinds=("unit_started",), since_utc_s=since_s, until_utc_s=until_s)
    ends: dict[tuple[str, str, float], UnitResult] | None = None
    for entry in record.find(question):
        wound = [each for each in entry.payload.get("spools") or () if each.get("spool") == spool]
        if wound:
            ends = _ends(record, since_s) if ends is None else ends
            yield _spool_row(entry, spool, [str(each.get("winding", "")) for each in wound], ends)


def _ends(record: Record, since_s: float | None) -> dict[tuple[str, str, float], UnitResult]:
    """How each stay stands that is in question, by what names it: one pass in place of one a unit."""
    question = Question(kinds=OF_A_STAY, since_utc_s=since_s, with_evidence=False)
    stays = stays_of(record_of(entry) for entry in record.find(question))
    return {stay_of(result): result for stay in stays if (result := stay.result) is not None}


def _spool_row(
    entry: Entry, spool: str, windings: list[str], ends: dict[tuple[str, str, float], UnitResult]
) -> SpoolRow:
    started = entry.payload
    result = ends.get((str(started.get("bench", "")), entry.serial, round(started.get("utc_s") or 0.0, 3)))
    held = "no result on record" if result is None else why_not(result)
    named = {name: str(started.get(name, "")) for name in ("bench", "batch", "sheet", "purpose", "operator")}
    return SpoolRow(
        id=entry.id,
        time_utc=iso_time(entry.utc_s),
        spool=spool,
        windings=", ".join(windings),
        serial=entry.serial,
        outcome="" if result is None or result.outcome is None else result.outcome.value,
        held=held,
        **named,
    )


# ---------------------------------------------------------------- told


@dataclass(slots=True)
class Tally:
    """Counts rows as they go by, for the last line.

    Attributes:
        rows: how many.
        units: serials, in the order of their first rows.
        passed: those of them with a pass among their rows.
    """

    rows: int = 0
    units: dict[str, None] = field(default_factory=dict)
    passed: set[str] = field(default_factory=set)

    def count(self, rows: Iterable[MeterRow | SpoolRow]) -> Iterator[MeterRow | SpoolRow]:
        """The same rows, counted."""
        for row in rows:
            self.rows += 1
            self.units[row.serial] = None
            if row.outcome in PASSING:
                self.passed.add(row.serial)
            yield row

    def sentence(self, what: str) -> str:
        """How many there were.

        Args:
            what: a row is, such as "verdict".
        """
        if not self.rows:
            return "None on record. Are the name and the dates right? steadyohm history shows what is there."
        of_units = f"{counted(self.rows, what)} of {counted(len(self.units), 'unit')}"
        return f"{of_units}; {len(self.passed)} of them with a pass among these."


def csv_lines(rows: Iterable[MeterRow | SpoolRow], kind: type[MeterRow | SpoolRow]) -> Iterator[bytes]:
    """The rows as CSV (RFC 4180, UTF-8), head first; no text that a spreadsheet takes for a formula."""
    names = [each.name for each in fields(kind)]
    yield _csv_line(names)
    for row in rows:
        yield _csv_line([_cell(getattr(row, name)) for name in names])


def _cell(value: object) -> str:
    if value is None:
        return ""
    if isinstance(value, bool):
        return "true" if value else "false"
    return repr(value) if isinstance(value, float) else disarmed(str(value))


def _csv_line(cells: list[str]) -> bytes:
    text = io.StringIO()
    csv.writer(text, lineterminator="\r\n").writerow(cells)
    return text.getvalue().encode("utf-8", "replace")
