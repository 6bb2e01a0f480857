"""Commands about the record: history, restore, replay, chart, result."""

from __future__ import annotations

import json
from collections.abc import Iterator
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any

import typer

from acquire.choices import Outcome
from acquire.cli.papers import PLACE

if TYPE_CHECKING:
    from acquire.journal.entry import Entry


def add_to(app: typer.Typer) -> None:
    """Register these commands."""
    for command in (history, restore, replay, chart, result):
        app.command()(command)


def history(
    journal: Annotated[str, typer.Argument(help=PLACE)],
    *,
    serial: Annotated[str | None, typer.Option(help="Only this unit.")] = None,
    batch: Annotated[str | None, typer.Option(help="Only this batch.")] = None,
    day: Annotated[str | None, typer.Option(help="Only this day (UTC), as 2026-11-25.")] = None,
    since: Annotated[str | None, typer.Option(help="From this day or time on (UTC).")] = None,
    until: Annotated[
        str | None, typer.Option(help="To the end of this day, or before this time (UTC).")
    ] = None,
    outcome: Annotated[list[Outcome] | None, typer.Option(help="Only this outcome; may be repeated.")] = None,
    diagnosis: Annotated[
        str | None, typer.Option(help="Only units whose explanation or finding contains this text.")
    ] = None,
    meter: Annotated[str | None, typer.Option(help="Only what this meter gave, by its id.")] = None,
    sheet: Annotated[str | None, typer.Option(help="Only this unit type.")] = None,
    bench: Annotated[str | None, typer.Option(help="Only this bench, of a line's record.")] = None,
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
        typer.Option(min=1, max=10**9, help="At most so many, the latest; left out: 200 here, all in files."),
    ] = None,
    as_json: Annotated[bool, typer.Option("--json", help="One JSON object a line, for programs.")] = False,
    csv: Annotated[
        Path | None, typer.Option(help="Verdicts into this CSV file, as the bench writes it.")
    ] = None,
    jsonl: Annotated[
        Path | None, typer.Option(help="Entries into this file, one JSON object a line.")
    ] = None,
    parquet: Annotated[Path | None, typer.Option(help="Verdicts into this Parquet file, with types.")] = None,
) -> None:
    """Show what is on the record, or write it into files: verdicts, units, lead zeros, notices."""
    from acquire.answers.history import history_entries, history_line, kinds_named

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
        for line in _exported(journal, wanted, limit, (csv, jsonl, parquet)):
            typer.echo(line)
        return
    found = 0
    for entry, doubt in history_entries(journal, **wanted, limit=limit or 200):
        found += 1
        if as_json:
            plain = {"id": entry.id, "kind": entry.kind, **entry.payload}
            if entry.kind == "verdict":
                plain["doubtful"] = doubt
            typer.echo(json.dumps(plain, ensure_ascii=False))
        else:
            typer.echo(history_line(entry, doubt))
    if not found:
        typer.echo("Nothing on the record is like that.", err=True)


def _exported(
    journal: str, wanted: dict[str, Any], limit: int | None, files: tuple[Path | None, ...]
) -> Iterator[str]:
    """Write what was found into each file that is wanted; a line for each."""
    from acquire.answers.history import history_entries
    from acquire.quantity import counted
    from acquire.reports.export import export_csv, export_jsonl, export_parquet

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


def chart(
    journal: Annotated[str, typer.Argument(help=PLACE)],
    *,
    resistor: Annotated[str | None, typer.Option(help="Only this check standard.")] = None,
    limit: Annotated[
        int, typer.Option(min=2, max=10**9, help="At most so many readings of each, the latest.")
    ] = 50,
    bench: Annotated[str | None, typer.Option(help="Only this bench, of a line's record.")] = None,
) -> None:
    """Draw the check standard's readings between their limits: is the bench still what it was?"""
    from acquire.answers.check_chart import chart_lines

    for line in chart_lines(journal, resistor, limit, bench):
        typer.echo(line)


def result(
    bench: Annotated[Path, typer.Argument(help="Bench file: names sheet, purpose and journal.")],
    results: Annotated[
        list[str] | None,
        typer.Argument(
            help='Such as "insulation = 120 Mohm, 500 V, 21 °C"; left out: what is wanted, and how.'
        ),
    ] = None,
    *,
    serial: Annotated[str, typer.Option(help="Of the unit; it must have been on this bench.")] = "",
    as_json: Annotated[bool, typer.Option("--json", help="One JSON object a line, for programs.")] = False,
) -> None:
    """Type in results from elsewhere (insulation, inductance, surge, hipot) while no bench is at work."""
    from acquire.answers.typing_in import type_in, wanted_lines
    from acquire.errors import InputImpossible
    from acquire.journal.plain import to_plain
    from acquire.words.beside import typed_answer
    from acquire.words.outcomes import OUTCOME_WORDS

    if not results:
        for line in wanted_lines(bench):
            typer.echo(line)
        return
    if not serial:
        raise InputImpossible("Whose results are these?", "Give --serial.")
    for record in type_in(bench, serial, results):
        if as_json:
            typer.echo(json.dumps(to_plain(record), ensure_ascii=False))
        else:
            word = OUTCOME_WORDS[record.outcome] if record.outcome else "recorded"
            typer.echo(f"{record.serial}: {record.name}: {word}: {typed_answer(record)}".removesuffix(": "))


def restore(
    folder: Annotated[Path, typer.Argument(help="Folder of the bench's journal; the bench is stopped.")],
    *,
    copies: Annotated[
        list[str],
        typer.Option(
            "--from",
            help="A copy, best first: a journal's folder or file, a line's database, a folder of CSV files.",
        ),
    ],
    bench: Annotated[str, typer.Option(help="Only this bench, of a line's record.")] = "",
) -> None:
    """Bring back what a journal has lost, from its copies and under the same ids; nothing is changed."""
    from acquire.answers.restoring import restore as bring_back
    from acquire.answers.restoring import restored_lines

    for line in restored_lines(bring_back(folder, copies, bench)):
        typer.echo(line)


def replay(
    recording: Annotated[Path, typer.Argument(help="Recording that `steadyohm run --record` wrote.")],
    *,
    sheet: Annotated[
        Path | None, typer.Option(help="Judge by this sheet instead of the recorded one.")
    ] = None,
    journal: Annotated[
        str | None, typer.Option(help="Compare with the verdicts in this record; exit 1 if any differs.")
    ] = None,
    as_json: Annotated[bool, typer.Option("--json", help="One JSON object a line, for programs.")] = False,
) -> None:
    """Feed a recording to the heart again: the same verdicts, or what another sheet would have said."""
    from acquire.answers.replay import compare, replayed

    verdicts = list(replayed(recording, sheet))
    for verdict in verdicts:
        typer.echo(verdict.as_json if as_json else verdict.line)
    if journal is not None:
        same, sentence = compare(verdicts, journal)
        typer.echo(sentence, err=not same)
        raise typer.Exit(0 if same else 1)
