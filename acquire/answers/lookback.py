"""`steadyohm lookback`: what rests on a meter found unfit, or holds wire of a bad spool."""

from __future__ import annotations

from dataclasses import fields
from pathlib import Path
from typing import Annotated

import typer

from acquire.answers.history import moment_s
from acquire.answers.options import AsJsonLines, JournalPlace, OnlyBench, say_json
from acquire.errors import InputImpossible
from acquire.files.new_file import new_file
from acquire.journal.plain import spelt
from acquire.line.places import record_at
from acquire.outlets.csv_log import BOM
from acquire.quantity import show
from acquire.records import Outcome
from acquire.reports.export import csv_lines
from acquire.reports.lookback import MeterRow, Span, SpoolRow, Tally, by_meter, by_spool, span_since_check
from acquire.words.outcomes import OUTCOME_WORDS


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
    since: Annotated[str | None, typer.Option(help="From this day or time on (UTC).")] = None,
    until: Annotated[str | None, typer.Option(help="To the end of this day, or before this time.")] = None,
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
        raise InputImpossible("--since-check goes with --meter, without --since and --until.")
    tally = Tally()
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
    told = tally.sentence("verdict" if meter is not None else "stay")
    typer.echo(f"{csv}: {told}" if csv is not None else told, err=as_json)
