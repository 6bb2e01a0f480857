"""The command about batches: batch."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Annotated

import typer

from acquire.choices import Purpose
from acquire.cli.papers import PLACE


def add_to(app: typer.Typer) -> None:
    """Register it."""
    app.command()(batch)


def batch(
    name: Annotated[str | None, typer.Argument(help="Of the batch; left out: the list of all.")] = None,
    *,
    journal: Annotated[str, typer.Option(help=PLACE)] = "journal",
    html: Annotated[Path | None, typer.Option(help="Write the report here, as one HTML file.")] = None,
    pdf: Annotated[Path | None, typer.Option(help="Write the report here, as a PDF.")] = None,
    as_json: Annotated[bool, typer.Option("--json", help="One JSON object, for programs.")] = False,
    as_csv: Annotated[
        bool, typer.Option("--csv", help="The values that count as CSV, one row a unit and step.")
    ] = False,
    subgroup: Annotated[
        int | None, typer.Option(min=2, max=25, help="Chart the means of so many neighbours too.")
    ] = None,
    purpose: Annotated[
        Purpose | None, typer.Option(help="What it was measured for; left out: final, else the latest.")
    ] = None,
) -> None:
    """Report a batch: yield, charts, capability, what was found; or list the batches of a journal."""
    from acquire.answers import batch as answers
    from acquire.reports.export import batch_csv, report_plain

    if name is None:
        found = answers.all_batches(journal)
        for line in [answers.list_json(found)] if as_json else answers.list_lines(found):
            typer.echo(line)
        return
    report = answers.report_from(journal, name, purpose, subgroup)
    for path in answers.write_report(report, html, pdf) if html or pdf else ():
        typer.echo(f"Written: {path}", err=as_json or as_csv)
    if as_json:
        typer.echo(json.dumps(report_plain(report), ensure_ascii=False, indent=2))
    elif as_csv:
        typer.echo(batch_csv(report), nl=False)
    elif not (html or pdf):
        from acquire.outlets.console import BenchConsole
        from acquire.reports.batch_document import batch_document
        from acquire.reports.terminal import as_terminal

        BenchConsole().print(as_terminal(batch_document(report)))
