"""Commands about the record: history, replay."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Annotated

import typer


def add_to(app: typer.Typer) -> None:
    """Register these commands."""
    for command in (history, replay):
        app.command()(command)


def history(
    journal: Annotated[Path, typer.Argument(help="Folder of a bench's journal.")],
    *,
    serial: Annotated[str | None, typer.Option(help="Only this unit.")] = None,
    batch: Annotated[str | None, typer.Option(help="Only this batch.")] = None,
    day: Annotated[str | None, typer.Option(help="Only this day (UTC), as 2026-11-25.")] = None,
    limit: Annotated[int, typer.Option(min=1, help="At most so many entries, the latest.")] = 200,
    as_json: Annotated[bool, typer.Option("--json", help="One JSON object a line, for programs.")] = False,
) -> None:
    """Show what is on the record: verdicts, units, lead zeros, notices."""
    from acquire.answers.history import history_entries, history_line

    for entry in history_entries(journal, serial=serial, batch=batch, day=day, limit=limit):
        if as_json:
            typer.echo(json.dumps({"id": entry.id, "kind": entry.kind, **entry.payload}, ensure_ascii=False))
        else:
            typer.echo(history_line(entry))


def replay(
    recording: Annotated[Path, typer.Argument(help="Recording that `steadyohm run --record` wrote.")],
    *,
    sheet: Annotated[
        Path | None, typer.Option(help="Judge by this sheet instead of the recorded one.")
    ] = None,
    journal: Annotated[
        Path | None, typer.Option(help="Compare with the verdicts in this journal; exit 1 if any differs.")
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
