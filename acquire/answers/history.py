"""What is on the record: history, lookback, replay, and the schema of it all.

The record as lines for people or as files; what rests on an unfit meter or spool; whether a recording gives
the verdicts that are on it. Not for outlets, and not for statistics.
"""

from __future__ import annotations

import json
import math
from collections import deque
from collections.abc import Callable, Iterator, Sequence
from dataclasses import replace
from datetime import UTC, date, datetime, time, timedelta
from pathlib import Path
from typing import Annotated

import typer

from acquire.answers import AsJsonLines, JournalPlace, OnlyBench, argument, option, say, say_json
from acquire.errors import InputImpossible
from acquire.files.new_file import new_file
from acquire.journal.entry import Entry
from acquire.journal.plain import KINDS, to_plain
from acquire.journal.query import Query, Record
from acquire.line.places import record_at
from acquire.outlets import schemas
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
from acquire.reports.document import moment
from acquire.reports.export import csv_lines, export_csv, export_jsonl, export_parquet
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
from acquire.sheets import load_sheet
from acquire.words.beside import check_text
from acquire.words.faults import sentence
from acquire.words.notices import said
from acquire.words.units import findings_words, missing_words, result_words
from acquire.words.verdicts import OUTCOME_WORDS, verdict_word


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
            f'"{text}" is no day and no time.', "Write 2026-11-25 or 2026-11-25T14:30 (UTC)."
        ) from error
    return (when if when.tzinfo else when.replace(tzinfo=UTC)).timestamp()


def end_s(text: str) -> float:
    """As `moment_s`; a day means its end."""
    return moment_s(text, end=True)


def day_of(text: str) -> date:
    """A UTC day as it is typed, as 2026-11-25. Raises InputImpossible."""
    try:
        return date.fromisoformat(text)
    except ValueError as error:
        raise InputImpossible(f'"{text}" is no day.', "Write it as 2026-11-25.") from error


SINCE = Annotated[
    float | None, option("From this day or time on (UTC), as 2026-11-25.", parser=moment_s, metavar="<time>")
]
TO = Annotated[
    float | None, option("To the end of this day, or before this time (UTC).", parser=end_s, metavar="<time>")
]


def entries_of(
    record: Record, query: Query, *, doubtful: bool = False, since_check: bool = False
) -> Iterator[tuple[Entry, str]]:
    """Entries that answer a query, oldest first, each with why it is doubtful (else empty).

    Args:
        record: of one bench or of many; memory holds no more than `query.limit` entries.
        query: what is looked for.
        doubtful: True for doubtful verdicts only.
        since_check: True for verdicts only that a meter gave since its check standard was last in control.

    Raises:
        InputImpossible: `since_check` of a record without check standards.
        JournalUnusable: the record cannot be read.
    """
    doubts = Doubts.of(record)
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
            return f"{record.weight.value}: {said(record)}"


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
    serial: Annotated[str | None, option("Only this unit.")] = None,
    batch: Annotated[str | None, option("Only this batch.")] = None,
    day: Annotated[
        date | None, option("Only this day (UTC), as 2026-11-25.", parser=day_of, metavar="<day>")
    ] = None,
    since: SINCE = None,
    until: TO = None,
    outcome: Annotated[list[Outcome] | None, option("Only this outcome; may be repeated.")] = None,
    diagnosis: Annotated[
        str | None, option("Only units whose explanation or finding contains this text.")
    ] = None,
    meter: Annotated[str | None, option("Only what this meter gave, by its id.")] = None,
    sheet: Annotated[str | None, option("Only this unit type.")] = None,
    bench: OnlyBench = None,
    kind: Annotated[
        list[str] | None, option("Only this kind, such as verdict or lead_zero; may be repeated.")
    ] = None,
    doubtful: Annotated[
        bool, option("Only verdicts that a later lead zero has made doubtful.", "--doubtful")
    ] = False,
    since_check: Annotated[
        bool, option("Only verdicts since the check standard was last in control.", "--since-check")
    ] = False,
    limit: Annotated[
        int | None, option("At most so many, the latest; left out: 200 here, all in files.", min=1, max=10**9)
    ] = None,
    as_json: AsJsonLines = False,
    csv: Annotated[Path | None, option("Verdicts into this CSV file, as the bench writes it.")] = None,
    jsonl: Annotated[Path | None, option("Entries into this file, one JSON object a line.")] = None,
    parquet: Annotated[Path | None, option("Verdicts into this Parquet file, with types.")] = None,
) -> None:
    """Show what is on the record, or write it into files: verdicts, units, lead zeros, notices."""
    query = Query(
        serial, batch, day, kinds_named(kind or ()), limit, tuple(outcome or ()), diagnosis, meter, sheet,
        bench, since, until, with_evidence=False,
    )  # fmt: skip

    def asked(query: Query) -> Iterator[tuple[Entry, str]]:
        with record_at(journal) as record:
            yield from entries_of(record, query, doubtful=doubtful, since_check=since_check)

    if csv or jsonl or parquet:
        say(_exported(lambda: (entry for entry, _ in asked(query)), query, csv, jsonl, parquet))
        return
    told = 0
    for entry, doubt in asked(replace(query, limit=limit or 200)):
        told += 1
        if as_json:
            plain = {"id": entry.id, "kind": entry.kind, **entry.payload}
            if entry.kind == "verdict":
                plain["doubtful"] = doubt
            say_json(plain)
        else:
            typer.echo(history_line(entry, doubt))
    if not told:
        typer.echo("There are no matching entries on the record.", err=True)


def _exported(
    found: Callable[[], Iterator[Entry]],
    query: Query,
    csv: Path | None,
    jsonl: Path | None,
    parquet: Path | None,
) -> Iterator[str]:
    """Write what is found into each file that is wanted; a line for each."""
    kind = query.kinds[0] if len(query.kinds) == 1 else "verdict"
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
    meter: Annotated[str | None, option("Every verdict that this meter gave, by its id.")] = None,
    spool: Annotated[str | None, option("Every unit wound from this spool, as written on it.")] = None,
    since: SINCE = None,
    until: TO = None,
    since_check: Annotated[
        bool, option("Since the meter's check standard was last in control.", "--since-check")
    ] = False,
    bench: OnlyBench = None,
    csv: Annotated[Path | None, option("Write the table into this CSV file.")] = None,
    as_json: AsJsonLines = False,
) -> None:
    """List what rests on a meter found unfit, or which units hold wire of a bad spool."""
    if (meter is None) == (spool is None):
        raise InputImpossible("A look-back is for one meter or one spool.", "Give --meter or --spool.")
    if since_check and (meter is None or since or until):
        raise InputImpossible("--since-check goes with --meter, without --since and --until.")
    tally = RowTally()
    with record_at(journal) as record:
        span = span_since_check(record, meter, bench) if since_check and meter else Span(since, until, "")
        if span.sentence:
            typer.echo(span.sentence, err=as_json)
        rows = tally.count(
            by_meter(record, meter, span, bench) if meter is not None else by_spool(record, spool or "", span)
        )
        if csv is not None:
            with new_file(csv) as file:
                file.write(BOM)
                file.writelines(csv_lines((SpoolRow if meter is None else MeterRow)._fields, rows))
        for row in rows:  # none is left where they went into the file
            say_json(row._asdict()) if as_json else typer.echo(line_of(row))
    told = tally.sentence("verdict" if meter is not None else "visit")
    typer.echo(f"{csv}: {told}" if csv is not None else told, err=as_json)


def schema(
    name: Annotated[str | None, argument("One record, such as verdict; all of them if left out.")] = None,
    *,
    asyncapi: Annotated[bool, option("The AsyncAPI document of MQTT.", "--asyncapi")] = False,
) -> None:
    """Print the JSON Schemas of everything that is recorded and sent."""
    known = schemas.json_schemas()
    if asyncapi:
        known, name = schemas.asyncapi(), None
    elif name is not None and name not in known:
        raise InputImpossible(f'There is no record "{name}".', f"There are {', '.join(known)}.")
    say_json(known if name is None else known[name], indent=2)


def compare(verdicts: Sequence[Verdict], place: str | Path) -> tuple[bool, str]:
    """Set replayed verdicts against those on record, byte for byte.

    Args:
        verdicts: of a replay.
        place: folder of a bench's journal, address of a line's database, or a collector file.

    Returns:
        (whether each replayed verdict stands on record, a sentence); nothing replayed proves nothing.
    """
    if not verdicts:
        return False, "The recording gives no verdict, so there is nothing to compare."
    on_record: set[str] = set()
    with record_at(place) as record:
        for serial in dict.fromkeys(verdict.serial for verdict in verdicts):
            asked = Query(serial=serial, kinds=("verdict",), with_evidence=False)
            on_record.update(_canonical(entry.payload) for entry in record.find(asked))
    missing = [verdict for verdict in verdicts if _canonical(to_plain(verdict)) not in on_record]
    if missing:
        are = "is not on record" if len(missing) == 1 else "are not on record; the first"
        of_all = f"{len(missing)} of {counted(len(verdicts), 'verdict')}"
        return False, f"{of_all} {are}: {_line(missing[0])}"
    if len(verdicts) == 1:
        return True, "The one verdict is on record, byte for byte."
    return True, f"All {len(verdicts)} verdicts are on record, byte for byte."


def _line(verdict: Verdict) -> str:
    return f"{verdict.serial:<12}  {verdict_line(verdict)}"


def _canonical(plain: dict[str, object]) -> str:
    return json.dumps(plain, separators=(",", ":"), sort_keys=True, ensure_ascii=False)


def replay_recording(
    recording: Annotated[Path, argument("Recording that `steadyohm run --record` wrote.")],
    *,
    sheet: Annotated[Path | None, option("Judge by this sheet instead of the recorded one.")] = None,
    journal: Annotated[
        str | None, option("Compare with the verdicts in this record; exit 1 if any differs.")
    ] = None,
    as_json: AsJsonLines = False,
) -> None:
    """Run recorded readings again: the same verdicts, or what another sheet would have said."""
    from acquire.bench.recording import replay, verdicts_of

    verdicts = list(verdicts_of(replay(recording, load_sheet(sheet) if sheet else None)))
    for verdict in verdicts:
        typer.echo(_canonical(to_plain(verdict)) if as_json else _line(verdict))
    if journal is not None:
        same, sentence = compare(verdicts, journal)
        typer.echo(sentence, err=not same)
        raise typer.Exit(0 if same else 1)
