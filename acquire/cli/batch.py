"""The command about batches: batch."""

from __future__ import annotations

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

    if name is None:
        found = answers.all_batches(journal)
        for line in [answers.list_json(found)] if as_json else answers.list_lines(found):
            typer.echo(line)
        return
    report = answers.report_from(journal, name, purpose, subgroup)
    if html is not None:
        answers.write_html(report, html)
        typer.echo(f"Written: {html}", err=as_json or as_csv)
    if as_json:
        typer.echo(answers.report_json(report))
    elif as_csv:
        typer.echo(answers.report_csv(report), nl=False)
    elif html is None:
        from acquire.outlets.console import BenchConsole

        answers.print_report(report, BenchConsole())
