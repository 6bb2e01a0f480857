"""`steadyohm returned`: what has changed in a unit that came back, and whether it is ours."""

from __future__ import annotations

from math import floor
from pathlib import Path
from typing import Annotated

import typer

from acquire.answers.options import AsJson, JournalPlace, say_document, say_json
from acquire.answers.papers import Targets, letterhead_of, write_document
from acquire.clock import RealClock
from acquire.files.settings import load_bench
from acquire.line.places import record_at
from acquire.reports import returned as reports
from acquire.reports.returned_document import as_plain, returned_document


def returned(
    journal: JournalPlace,
    serial: Annotated[str, typer.Argument(help="Of the unit that came back.")],
    *,
    prior: Annotated[
        float,
        typer.Option(
            min=0.001, max=0.999, help="How likely it is ours before any ohms are compared, 0 to 1."
        ),
    ] = 0.5,
    paper: Annotated[
        bool, typer.Option("--paper", help="Compare with its imported paper record, not with a visit.")
    ] = False,
    html: Annotated[Path | None, typer.Option(help="A page for the customer.")] = None,
    pdf: Annotated[Path | None, typer.Option(help="The same as PDF.")] = None,
    bench: Annotated[Path | None, typer.Option(help="Bench file: heading and size of paper.")] = None,
    as_json: AsJson = False,
) -> None:
    """Compare a returned unit with what it read when it left: what has changed, and is it ours?"""
    targets = Targets(html, pdf)
    with record_at(journal) as record:
        found = reports.returned(record, serial, prior, from_paper=paper)
    head, size, signed = letterhead_of(None if bench is None else load_bench(bench))
    document = returned_document(found, head, size, float(floor(RealClock().utc_s())), signed)
    write_document(document, targets)
    if as_json:
        say_json(as_plain(found))
    else:
        say_document(document)
