"""The gauge study: measured hands-free, and what it says."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from acquire import logs
from acquire.answers.options import AsJson, Html, Pdf, say_document, say_json
from acquire.answers.papers import Targets, write_document
from acquire.errors import InputImpossible
from acquire.study.begin import Wish
from acquire.study.document import study_document
from acquire.study.plan import names_in, parts_named
from acquire.study.record import read_study
from acquire.study.report import as_plain, report_of
from acquire.study.run import run_study
from system.ending import run_loop


def study(
    bench: Annotated[
        Path | None, typer.Argument(help="Bench file; left out where only a report is wanted.")
    ] = None,
    sheet: Annotated[Path | None, typer.Argument(help="Sheet, if not the bench's own.")] = None,
    *,
    step: Annotated[str, typer.Option(help="Name of the step that is studied.")] = "",
    parts: Annotated[
        str, typer.Option(help="How many units, or their serials with commas: 10 is usual.")
    ] = "",
    operators: Annotated[str, typer.Option(help="Who measures, with commas: ann,bo.")] = "",
    trials: Annotated[int, typer.Option(help="Rounds: how often everybody measures every unit.")] = 3,
    seed: Annotated[int | None, typer.Option(help="The same seed gives the same random order.")] = None,
    to: Annotated[
        Path, typer.Option(help="File of the record; one that is not complete is continued.")
    ] = Path("study.jsonl"),
    report: Annotated[
        Path | None, typer.Option(help="Report on the study of this record; nothing is measured.")
    ] = None,
    html: Html = None,
    pdf: Pdf = None,
    as_json: AsJson = False,
    pool_above: Annotated[
        float,
        typer.Option(min=0.0, max=1.0, help="An interaction with a larger p goes into the repeatability."),
    ] = 0.25,
) -> None:
    """Find out whether this bench can judge a step: several units, operators and rounds, in random order."""
    if (bench is None) == (report is None):
        raise InputImpossible(
            "What is to be done?", "Give a bench file to measure by, or --report FILE for what was measured."
        )
    if bench is not None:
        logs.set_up(level="warning")
        who = names_in(operators)
        wish = Wish(bench, sheet, step, parts_named(parts) if parts else (), who, trials, seed, to)
        report = run_loop(run_study(wish))
        if read_study(report).missing:
            return
    if report is not None:
        _report(report, html, pdf, as_json=as_json, pool_above=pool_above)


def _report(record: Path, html: Path | None, pdf: Path | None, *, as_json: bool, pool_above: float) -> None:
    """Print a report, and write its page where one is wanted."""
    for file in filter(None, (html, pdf)):
        if file.resolve() == record.resolve():
            raise InputImpossible(f"{file} is the study's record.", "Name another file for its report.")
    found, targets = report_of(read_study(record), pool_above=pool_above), Targets(html, pdf)
    if html is not None or pdf is not None:
        from acquire.study.document import svg_pictures

        write_document(study_document(found, svg_pictures(found)), targets)
    if as_json:
        say_json(as_plain(found))
    else:
        say_document(study_document(found))
