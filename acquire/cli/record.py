"""Commands about the record: history."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Annotated

import typer


def add_to(app: typer.Typer) -> None:
    """Register these commands."""
    for command in (history,):
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
