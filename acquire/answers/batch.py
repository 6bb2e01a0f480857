"""`steadyohm batch`: the report of one batch in the form that was asked for, or the list of all.

And what nobody types: a report as plain data, for which the bench page asks in a process of its own.
"""

from __future__ import annotations

import sys
from dataclasses import asdict
from enum import StrEnum
from pathlib import Path
from typing import Annotated

import typer

from acquire.answers.options import PLACE, AsJson, Html, Pdf, argument, option, say, say_document, say_json
from acquire.answers.papers import write_document
from acquire.journal.plain import spelt
from acquire.line.places import record_at
from acquire.quantity import counted
from acquire.records import Purpose
from acquire.reports.batch import BatchLine, batch_report, batches_of
from acquire.reports.batch_document import batch_document
from acquire.reports.document import Document
from acquire.reports.export import batch_csv
from acquire.reports.figures import moment


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
    name: Annotated[str | None, argument("Of the batch; left out: the list of all.")] = None,
    *,
    journal: Annotated[str, option(PLACE)] = "journal",
    html: Html = None,
    pdf: Pdf = None,
    as_json: AsJson = False,
    as_csv: Annotated[
        bool, option("The values that count as CSV, one row a unit and step.", "--csv")
    ] = False,
    subgroup: Annotated[
        int | None, option("Chart the means of so many neighbours too.", min=2, max=25)
    ] = None,
    purpose: Annotated[
        Purpose | None, option("What it was measured for; left out: final, else the latest.")
    ] = None,
) -> None:
    """Report a batch: yield, charts, capability, what was found; or list the batches of a journal."""
    if name is None:
        with record_at(journal) as record:
            found = batches_of(record)
        say_json([asdict(line) for line in found], indent=2) if as_json else say(list_lines(found))
        return
    with record_at(journal) as record:
        report = batch_report(record, name, purpose=purpose, subgroup=subgroup)
    if html or pdf:
        from acquire.reports.pictures import svg_pictures

        for path in write_document(batch_document(report, svg_pictures(report)), html, pdf):
            typer.echo(f"Written: {path}", err=as_json or as_csv)
    if as_json:
        say_json(spelt(report), indent=2)
    elif as_csv:
        typer.echo(batch_csv(report), nl=False)
    elif not (html or pdf):
        say_document(batch_document(report))


class ReportKind(StrEnum):
    """What is reported to a page."""

    BATCH = "batch"
    RETURNED = "returned"
    STUDY = "study"


def document(
    kind: ReportKind,
    place: Annotated[str, argument("Journal; file of a study.")],
    name: Annotated[str, argument("Of the batch; serial of a unit.")] = "",
) -> None:
    """Print a report as one JSON object."""
    import msgspec

    from acquire.reports.document import as_data

    sys.stdout.buffer.write(msgspec.json.encode(as_data(_document(kind, place, name))))


def _document(kind: ReportKind, place: str, name: str) -> Document:
    if kind is ReportKind.STUDY:
        from acquire.study.document import study_document
        from acquire.study.document import svg_pictures as drawings
        from acquire.study.record import read_study
        from acquire.study.report import report_of

        study = report_of(read_study(Path(place)))
        return study_document(study, drawings(study))
    with record_at(place) as record:
        if kind is ReportKind.RETURNED:
            from acquire.reports.returned import returned
            from acquire.reports.returned_document import returned_document

            return returned_document(returned(record, name), None, "A4", 0.0)
        from acquire.reports.pictures import svg_pictures

        report = batch_report(record, name)
        return batch_document(report, svg_pictures(report))
