"""`steadyohm batch`: the report of one batch in the form that was asked for, or the list of all."""

from __future__ import annotations

from dataclasses import asdict
from pathlib import Path
from typing import Annotated

import typer

from acquire.answers.options import PLACE, AsJson, Html, Pdf, say, say_document, say_json
from acquire.answers.papers import Targets, write_document
from acquire.journal.plain import spelt
from acquire.line.places import record_at
from acquire.quantity import counted
from acquire.records import Purpose
from acquire.reports.batch import BatchLine, BatchReport, batch_report, batches_of
from acquire.reports.batch_document import batch_document
from acquire.reports.export import batch_csv
from acquire.reports.figures import moment


def report_from(
    journal: str | Path, name: str, purpose: Purpose | None = None, subgroup: int | None = None
) -> BatchReport:
    """The report of a batch from a journal's folder or file, or a line's database; as `batch_report`.

    Raises:
        InputImpossible: no such batch, or a subgroup that cannot be.
        JournalUnusable: there is no journal, or it cannot be read.
    """
    with record_at(journal) as record:
        return batch_report(record, name, purpose=purpose, subgroup=subgroup)


def all_batches(journal: str | Path) -> list[BatchLine]:
    """Every batch of a journal, the one that was heard of last first. Raises JournalUnusable."""
    with record_at(journal) as record:
        return batches_of(record)


def list_lines(batches: list[BatchLine]) -> list[str]:
    """One line a batch, for people."""
    if not batches:
        return ["There is no batch on this record: type .batch and a name at the bench to begin one."]
    wide = max(len(line.name) for line in batches)
    lines = []
    for line in batches:
        state = line.state.value if line.state else "by name"
        of = "" if line.expected is None else f"{line.units} of "
        count = of + counted(line.units if line.expected is None else line.expected, "unit")
        passed = f"{line.passed} passed" if line.units else "none measured"
        doubt = "   FIRST UNIT IN DOUBT" if line.doubt else ""
        lines.append(
            f"{line.name:<{wide}}  {state:<8}  {line.sheet:<14}  {count + ',':<16} {passed:<12}  "
            f"{moment(line.latest_utc_s)[:16]}{doubt}"
        )
    return lines


def batch(
    name: Annotated[str | None, typer.Argument(help="Of the batch; default: the list of all.")] = None,
    *,
    journal: Annotated[str, typer.Option(help=PLACE)] = "journal",
    html: Html = None,
    pdf: Pdf = None,
    as_json: AsJson = False,
    as_csv: Annotated[
        bool, typer.Option("--csv", help="The values that count as CSV, one row a unit and step.")
    ] = False,
    subgroup: Annotated[
        int | None, typer.Option(min=2, max=25, help="Chart the means of so many neighbours too.")
    ] = None,
    purpose: Annotated[
        Purpose | None, typer.Option(help="What it was measured for; default: final, else the latest.")
    ] = None,
) -> None:
    """Report a batch: yield, charts, capability, what was found; or list the batches of a journal."""
    if name is None:
        found = all_batches(journal)
        say_json([asdict(line) for line in found], indent=2) if as_json else say(list_lines(found))
        return
    report, targets = report_from(journal, name, purpose, subgroup), Targets(html, pdf)
    if html or pdf:
        from acquire.reports.pictures import svg_pictures

        for path in write_document(batch_document(report, svg_pictures(report)), targets):
            typer.echo(f"Written: {path}", err=as_json or as_csv)
    if as_json:
        say_json(spelt(report), indent=2)
    elif as_csv:
        typer.echo(batch_csv(report), nl=False)
    elif not (html or pdf):
        say_document(batch_document(report))
