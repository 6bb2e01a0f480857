"""`steadyohm history` and `lookback`: the record as lines for people; what rests on an unfit meter or spool.

Not for outlets, and not for statistics.
"""

from __future__ import annotations

import math
from collections import deque
from collections.abc import Iterator, Sequence
from dataclasses import fields, replace
from datetime import UTC, date, datetime, time, timedelta
from pathlib import Path
from typing import Annotated, Any

import typer

from acquire.answers.options import AsJsonLines, JournalPlace, OnlyBench, Since, Until, say, say_json
from acquire.errors import InputImpossible
from acquire.files.new_file import new_file
from acquire.journal.entry import Entry
from acquire.journal.plain import KINDS, spelt
from acquire.journal.query import Query, Record
from acquire.line.places import record_at
from acquire.outlets.csv_log import BOM
from acquire.outlets.terminal import batch_text
from acquire.quantity import counted, show
from acquire.records import (
    Batch,
    CheckStandard,
    ImportedResult,
    LeadZero,
    Notice,
    Outcome,
    Recorded,
    TypedResult,
    UnitResult,
    UnitStarted,
    Verdict,
)
from acquire.reports.export import csv_lines, export_csv, export_jsonl, export_parquet
from acquire.reports.figures import moment
from acquire.reports.lookback import (
    Doubts,
    MeterRow,
    RowTally,
    Span,
    SpoolRow,
    by_meter,
    by_spool,
    span_since_check,
)
from acquire.words.beside import check_text
from acquire.words.faults import sentence
from acquire.words.notices import said
from acquire.words.units import findings_words, missing_words, result_words
from acquire.words.verdicts import OUTCOME_WORDS, verdict_word


def history_entries(
    place: str | Path, *, doubtful: bool = False, since_check: bool = False, **parts: Any
) -> Iterator[tuple[Entry, str]]:
    """Entries that answer the query, oldest first, each with why it is doubtful (else empty).

    Args:
        place: folder of a bench's journal, address of a line's database, or a collector file.
        doubtful: True for doubtful verdicts only.
        since_check: True for verdicts only that a meter gave since its check standard was last in control.
        parts: of the query, as `query_of` takes them.

    Raises:
        InputImpossible: a day or a time is none.
        JournalUnusable: there is no journal in that folder, or it cannot be read.
    """
    query = query_of(**parts)
    with record_at(place) as record:
        yield from entries_of(record, query, doubtful=doubtful, since_check=since_check)


def query_of(
    *, day: str | None = None, since: str | None = None, until: str | None = None, **parts: Any
) -> Query:
    """A query from words as they are typed.

    Args:
        day: a UTC day, as 2026-11-25.
        since: a day or a time, from its beginning on.
        until: a day or a time; a day counts to its end.
        parts: the other fields of a query, as they are.

    Raises:
        InputImpossible: a day or a time is none.
    """
    try:
        when = date.fromisoformat(day) if day else None
    except ValueError as error:
        raise InputImpossible(f'"{day}" is no day.', "Write it as 2026-11-25.") from error
    return Query(
        day=when,
        since_utc_s=None if since is None else moment_s(since),
        until_utc_s=None if until is None else moment_s(until, end=True),
        **parts,
    )


def kinds_named(names: Sequence[str]) -> tuple[str, ...]:
    """Kinds of entries as they are typed.

    Raises:
        InputImpossible: there is none of that name.
    """
    for name in names:
        if name not in KINDS:
            raise InputImpossible(f'There are no entries of kind "{name}".', f"Kinds are {', '.join(KINDS)}.")
    return tuple(names)


def moment_s(text: str, *, end: bool = False) -> float:
    """Seconds since 1970-01-01T00:00:00 UTC of a day or a time as it is typed; UTC where it names no zone.

    Args:
        text: as 2026-11-25, 2026-11-25T14:30 or 2026-11-25T14:30:00+01:00.
        end: a day means its end, not its beginning.

    Raises:
        InputImpossible: it is neither.
    """
    try:
        if len(text) == len("2026-11-25"):
            start = datetime.combine(date.fromisoformat(text), time(), UTC)
            return (start + timedelta(days=1 if end else 0)).timestamp()
        when = datetime.fromisoformat(text)
    except (ValueError, OverflowError) as error:
        raise InputImpossible(
            f'"{text}" is neither a day nor a time.', "Write 2026-11-25 or 2026-11-25T14:30 (UTC)."
        ) from error
    return (when if when.tzinfo else when.replace(tzinfo=UTC)).timestamp()


def entries_of(
    record: Record, query: Query, *, doubtful: bool = False, since_check: bool = False
) -> Iterator[tuple[Entry, str]]:
    """As `history_entries`, of any record; memory holds no more than `query.limit` entries.

    Raises:
        InputImpossible: `since_check` of a record without check standards.
        JournalUnusable: the record cannot be read.
    """
    doubts = Doubts.of(record)
    query = replace(query, with_evidence=False)
    if not (doubtful or since_check):
        yield from ((entry, _doubt(entry, doubts)) for entry in record.find(query))
        return
    good = _last_good_check_s(record) if since_check else {}
    if since_check and not good:
        raise InputImpossible(
            "No check standard is on record.",
            "Leave --since-check out, or add a [check] table to the bench file.",
        )

    def kept() -> Iterator[tuple[Entry, str]]:
        for entry in record.find(replace(query, kinds=("verdict",), limit=None)):
            doubt = _doubt(entry, doubts)
            meter = (entry.payload["bench"], entry.payload["meter_id"])
            late = entry.utc_s > good.get(meter, -math.inf)
            if (doubt or not doubtful) and (late or not since_check):
                yield entry, doubt

    yield from kept() if query.limit is None else deque(kept(), maxlen=query.limit)


def _last_good_check_s(reader: Record) -> dict[tuple[str, str], float]:
    """When the check standard of each bench and meter was last in control; minus infinity: never."""
    good: dict[tuple[str, str], float] = {}
    for entry in reader.find(Query(kinds=("check_standard",))):
        check = entry.payload
        meter = (check["bench"], check["meter_id"])
        good[meter] = check["utc_s"] if check["in_control"] else good.get(meter, -math.inf)
    return good


def _doubt(entry: Entry, doubts: Doubts) -> str:
    record = entry.record if doubts.zeros and entry.kind == "verdict" else None
    return doubts.why(record) if isinstance(record, Verdict) else ""


def history_line(entry: Entry, doubt: str = "") -> str:
    """One line: when, which unit, what; a second one for why it is doubtful."""
    when = moment(entry.utc_s, "%Y-%m-%d %H:%M:%S")
    line = f"{when}  {entry.serial or '-':<12}  {_what(entry.record)}"
    return f"{line}\n{'':35}{doubt}" if doubt else line


def _what(record: Recorded) -> str:
    match record:
        case Verdict():
            return verdict_line(record)
        case UnitStarted():
            again = f", attempt {record.attempt}" if record.attempt > 1 else ""
            spools = ", ".join(dict.fromkeys(each.spool for each in record.spools))
            of = f", wound from {spools}" if spools else ""
            return f"put on the bench as {record.sheet} ({record.purpose}{again}{of})"
        case UnitResult():
            return _result_line(record)
        case _:
            return _beside(record)


def _result_line(result: UnitResult) -> str:
    why = sentence(result.hypotheses[0]) if result.hypotheses else " ".join(findings_words(result))
    missing = "".join(f"  ({each})" for each in missing_words(result))
    now = f", revision {result.revision}" if result.revision else ""
    return f"unit{now}: {result_words(result)}  {why}".rstrip() + missing


def _beside(record: LeadZero | CheckStandard | TypedResult | Batch | ImportedResult | Notice) -> str:
    """What stands on the record beside units and their verdicts."""
    match record:
        case LeadZero():
            return f"leads zeroed at {show(record.value_ohm, 'Ω')}"
        case CheckStandard():
            state = "in control" if record.in_control else f"OUT OF CONTROL: {check_text(record)}"
            shown = show(record.reading_ohm, "Ω", record.expanded_ohm)
            return f"check standard {record.resistor}: {shown}, {state}"
        case Batch():
            return f"batch {batch_text(record)}"
        case ImportedResult():
            return _from_paper(record)
        case TypedResult():
            word = OUTCOME_WORDS[record.outcome] if record.outcome else "recorded"
            return f"typed: {record.typed}: {word}{' as stated' if record.stated else ''}"
        case Notice():
            return f"{record.severity.value}: {said(record)}"


def _from_paper(result: ImportedResult) -> str:
    day = moment(result.measured_utc_s, "%Y-%m-%d")
    shown = "open" if result.value_ohm is None else show(result.value_ohm, "Ω", result.expanded_ohm)
    warm = "" if result.celsius is None else f" at {result.celsius:g} °C"
    word = f", {OUTCOME_WORDS[result.outcome]} as stated" if result.outcome else ""
    return f"from paper of {day}: {result.pin_a}–{result.pin_b} {result.step}: {shown}{warm}{word}"


def verdict_line(verdict: Verdict) -> str:
    """One verdict: pins, step, value, outcome."""
    value = verdict.reference_ohm
    shown = "open" if value is None else show(value, "Ω", verdict.expanded_ohm)
    once_more = "" if verdict.counts else " (did not count)"
    pins = f"{verdict.pin_a}–{verdict.pin_b}"
    return f"{pins:<8} {verdict.step:<20} {shown:>12}  {verdict_word(verdict)}{once_more}"


def history(
    journal: JournalPlace,
    *,
    serial: Annotated[str | None, typer.Option(help="Only this unit.")] = None,
    batch: Annotated[str | None, typer.Option(help="Only this batch.")] = None,
    day: Annotated[str | None, typer.Option(help="Only this day (UTC), as 2026-11-25.")] = None,
    since: Since = None,
    until: Until = None,
    outcome: Annotated[list[Outcome] | None, typer.Option(help="Only this outcome; may be repeated.")] = None,
    diagnosis: Annotated[
        str | None, typer.Option(help="Only units whose explanation or finding contains this text.")
    ] = None,
    meter: Annotated[str | None, typer.Option(help="Only what this meter gave, by its id.")] = None,
    sheet: Annotated[str | None, typer.Option(help="Only this unit type.")] = None,
    bench: OnlyBench = None,
    kind: Annotated[
        list[str] | None, typer.Option(help="Only this kind, such as verdict or lead_zero; may be repeated.")
    ] = None,
    doubtful: Annotated[
        bool, typer.Option("--doubtful", help="Only verdicts that a later lead zero has made doubtful.")
    ] = False,
    since_check: Annotated[
        bool,
        typer.Option("--since-check", help="Only verdicts since the check standard was last in control."),
    ] = False,
    limit: Annotated[
        int | None,
        typer.Option(min=1, max=10**9, help="At most so many, the latest; default: 200 here, all in files."),
    ] = None,
    as_json: AsJsonLines = False,
    csv: Annotated[
        Path | None, typer.Option(help="Verdicts into this CSV file, as the bench writes it.")
    ] = None,
    jsonl: Annotated[
        Path | None, typer.Option(help="Entries into this file, one JSON object a line.")
    ] = None,
    parquet: Annotated[Path | None, typer.Option(help="Verdicts into this Parquet file, with types.")] = None,
) -> None:
    """Show what is on the record, or write it into files: verdicts, units, lead zeros, notices."""
    wanted: dict[str, Any] = {
        "serial": serial,
        "batch": batch,
        "day": day,
        "since": since,
        "until": until,
        "outcomes": tuple(outcome or ()),
        "diagnosis": diagnosis,
        "meter_id": meter,
        "sheet": sheet,
        "bench": bench,
        "kinds": kinds_named(kind or ()),
        "doubtful": doubtful,
        "since_check": since_check,
    }
    if csv or jsonl or parquet:
        say(_exported(journal, wanted, limit, (csv, jsonl, parquet)))
        return
    found = 0
    for entry, doubt in history_entries(journal, **wanted, limit=limit or 200):
        found += 1
        if as_json:
            plain = {"id": entry.id, "kind": entry.kind, **entry.payload}
            if entry.kind == "verdict":
                plain["doubtful"] = doubt
            say_json(plain)
        else:
            typer.echo(history_line(entry, doubt))
    if not found:
        typer.echo("There are no matching entries on the record.", err=True)


def _exported(
    journal: str, wanted: dict[str, Any], limit: int | None, files: tuple[Path | None, ...]
) -> Iterator[str]:
    """Write what was found into each file that is wanted; a line for each."""
    csv, jsonl, parquet = files
    kind = wanted["kinds"][0] if len(wanted["kinds"]) == 1 else "verdict"

    def found() -> Iterator[Entry]:
        return (entry for entry, _ in history_entries(journal, **wanted, limit=limit))

    if csv is not None:
        yield f"{csv}: {counted(export_csv(csv, found(), kind), 'row')}"
    if jsonl is not None:
        yield f"{jsonl}: {counted(export_jsonl(jsonl, found()), 'line')}"
    if parquet is not None:
        yield f"{parquet}: {counted(export_parquet(parquet, found(), kind), 'row')}"


def line_of(row: MeterRow | SpoolRow) -> str:
    """One row for a terminal."""
    when = row.time_utc[:19].replace("T", " ")
    word = OUTCOME_WORDS[Outcome(row.outcome)] if row.outcome else ""
    if isinstance(row, SpoolRow):
        who = f"{row.serial:<12}  {row.batch:<12}  {row.windings:<24}"
        return f"{when}  {who}  {row.purpose}: {word or row.held}"
    value = "open" if row.reference_ohm is None else show(row.reference_ohm, "Ω", row.expanded_ohm)
    word += "" if row.counts else " (did not count)"
    line = f"{when}  {row.serial:<12}  {row.pin_a}–{row.pin_b:<6} {row.step:<20} {value:>12}  {word}"
    return f"{line}\n{'':35}{row.doubt}" if row.doubt else line


def lookback(
    journal: JournalPlace,
    *,
    meter: Annotated[str | None, typer.Option(help="Every verdict that this meter gave, by its id.")] = None,
    spool: Annotated[
        str | None, typer.Option(help="Every unit wound from this spool, as written on it.")
    ] = None,
    since: Since = None,
    until: Until = None,
    since_check: Annotated[
        bool, typer.Option("--since-check", help="Since the meter's check standard was last in control.")
    ] = False,
    bench: OnlyBench = None,
    csv: Annotated[Path | None, typer.Option(help="Write the table into this CSV file.")] = None,
    as_json: AsJsonLines = False,
) -> None:
    """List what rests on a meter found unfit, or which units hold wire of a bad spool."""
    if (meter is None) == (spool is None):
        raise InputImpossible("A look-back is for one meter or one spool.", "Give --meter or --spool.")
    if since_check and (meter is None or since or until):
        raise InputImpossible("--since-check needs --meter, and takes neither --since nor --until.")
    tally = RowTally()
    ends = None if since is None else moment_s(since), None if until is None else moment_s(until, end=True)
    with record_at(journal) as record:
        span = span_since_check(record, meter, bench) if since_check and meter else Span(*ends, "")
        if span.sentence:
            typer.echo(span.sentence, err=as_json)
        rows = tally.count(
            by_meter(record, meter, span, bench) if meter is not None else by_spool(record, spool or "", span)
        )
        if csv is not None:
            names = [each.name for each in fields(SpoolRow if meter is None else MeterRow)]
            with new_file(csv) as file:
                file.write(BOM)
                file.writelines(csv_lines(names, ([getattr(row, name) for name in names] for row in rows)))
        for row in rows:  # none is left where they went into the file
            say_json(spelt(row)) if as_json else typer.echo(line_of(row))
    told = tally.sentence("verdict" if meter is not None else "visit")
    typer.echo(f"{csv}: {told}" if csv is not None else told, err=as_json)
