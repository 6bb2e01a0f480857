"""A study's report as one HTML file: words, tables and drawings, no script and nothing from elsewhere.

Prints on A4 and Letter, in the look of the shop's other papers; the same study gives the same bytes. Not for
what is said (`report`) or drawn (`pictures`).
"""

from __future__ import annotations

import html
import math
from collections.abc import Iterator
from datetime import UTC, datetime

from acquire.quantity import show
from acquire.reports.paper import Mark, shown
from acquire.reports.paper_style import COLOUR, STYLE
from acquire.stats.crossed import Row
from acquire.stats.fitness import Fitness
from acquire.study.pictures import pictures_of
from acquire.study.printed import NAMES, component_name, heading, ndc_line, share
from acquire.study.report import StudyReport, component_order

MARKS = {
    Fitness.GOOD: Mark.PASS,
    Fitness.CONDITIONAL: Mark.NEAR_PASS,
    Fitness.UNFIT: Mark.FAIL,
    Fitness.UNTOLD: Mark.ASKING,
}
"""A shape beside the words, so that no colour is needed."""

POLICY = "default-src 'none'; style-src 'unsafe-inline'"

OWN_STYLE = """
.finding .shape{font-size:20pt;line-height:1}
.finding strong{white-space:normal;font-size:13pt}
.study td{white-space:nowrap}
.study td:first-child{white-space:pre}
.study th,.study td{text-align:right;font-variant-numeric:tabular-nums}
.study th:first-child,.study td:first-child{text-align:left}
.all{table-layout:auto;font-size:7.6pt}
.study{break-inside:avoid}
.all{break-inside:auto}
figure{margin:2mm 0 4mm}
figcaption{font-size:8.4pt;color:#333}
footer{margin-top:6mm;font-size:8pt;color:#333}
"""


def as_html(report: StudyReport) -> bytes:
    """The file.

    Raises:
        LibraryMissing: matplotlib is not installed.
    """
    return ("\n".join(_lines(report)) + "\n").encode("utf-8")


def _text(text: str) -> str:
    return html.escape(shown(text), quote=True)


def _lines(report: StudyReport) -> Iterator[str]:
    subject, study = report.record.subject, report.study
    title = f"Gauge study: {subject.step} of {subject.sheet}"
    yield '<!DOCTYPE html>\n<html lang="en">\n<head>\n<meta charset="utf-8">'
    yield f'<meta http-equiv="Content-Security-Policy" content="{POLICY}">'
    yield '<meta name="viewport" content="width=device-width, initial-scale=1">'
    yield f"<title>{_text(title)}</title>\n<style>{STYLE}{OWN_STYLE}</style>\n</head>\n<body>"
    yield f'<div class="title"><h1>{_text(title)}</h1></div>\n<main>'
    yield from (f"<p>{_text(line)}.</p>" for line in heading(report))
    yield from _verdict(report)
    yield "<h2>Where the spread comes from</h2>"
    yield from _components(report)
    yield f"<p>{_text(ndc_line(report))}.</p>"
    yield "<h2>Table of variance</h2>"
    yield from _table(study.table)
    if study.pooled:
        yield "<p>Without interaction:</p>"
        yield from _table(study.pooled)
    yield "<h2>What to know of this study</h2>\n<ul>"
    yield from (f"<li>{_text(sentence)}</li>" for sentence in report.remarks)
    yield "</ul>"
    for picture in pictures_of(report):
        yield f"<h2>{_text(picture.title)}</h2>"
        yield f"<figure>{picture.svg}<figcaption>{_text(picture.how)}</figcaption></figure>"
    yield "<h2>All values</h2>"
    yield from _values(report)
    yield "</main>"
    yield from _footer(report)
    yield "</body>\n</html>"


def _verdict(report: StudyReport) -> Iterator[str]:
    first, *rest = report.verdict
    mark = MARKS[report.fitness]
    colour = COLOUR[mark]
    yield f'<div class="finding" style="border-left-color:{colour}">'
    yield f'<span class="shape" style="color:{colour}" aria-hidden="true">{mark.value}</span>'
    yield f"<div><strong>{_text(first)}</strong>"
    yield from (f"<p>{_text(sentence)}</p>" for sentence in rest)
    yield "</div></div>"


def _components(report: StudyReport) -> Iterator[str]:
    width = f"{report.study.sigmas:g} sigma of the tolerance"
    yield _head("", ("source", "sigma", "of the variance", "of the study's spread", width))
    for source in component_order(report.study):
        part = report.study.components[source]
        tolerance = "" if part.tolerance is None else share(part.tolerance)
        yield _row(
            (
                component_name(source).strip(),
                show(part.sigma, "Ω", digits=4),
                share(part.contribution),
                share(part.study),
                tolerance,
            )
        )
    yield "</table>"


def _table(rows: tuple[Row, ...]) -> Iterator[str]:
    yield _head("", ("source", "sum of squares, Ω²", "degrees of freedom", "mean square, Ω²", "F", "p"))
    for row in rows:
        f = "" if row.f is None else f"{row.f:.4g}"
        p = "" if row.p is None else f"{row.p:.2g}"
        yield _row((NAMES[row.source], f"{row.square:.5g}", str(row.freedom), f"{row.mean_square:.5g}", f, p))
    yield "</table>"


def _values(report: StudyReport) -> Iterator[str]:
    """One row a part, one column for each operator's rounds."""
    study = report.study
    ohms = {(p.part, p.operator, p.trial): p.ohm for p in report.points}
    rounds = range(1, report.rounds + 1)
    digits = max(0, 2 - math.floor(math.log10(report.study.gauge.sigma or 1e-3)))
    heads = [f"{operator}, {trial}" for operator in study.operators for trial in rounds]
    yield _head(" all", ("part (tag)", *heads))
    for part in report.record.plan.parts:
        cells = (ohms[part.name, operator, trial] for operator in study.operators for trial in rounds)
        yield _row((f"{part.name} ({part.label})", *(f"{ohm:.{digits}f}" for ohm in cells)))
    yield "</table>"
    yield "<p>Ω at the reference temperature, without leads.</p>"


def _head(kind: str, heads: tuple[str, ...]) -> str:
    cells = "".join(f"<th>{_text(head)}</th>" for head in heads)
    return f'<table class="study{kind}"><thead><tr>{cells}</tr></thead>'


def _row(cells: tuple[str, ...]) -> str:
    return f"<tr>{''.join(f'<td>{_text(cell)}</td>' for cell in cells)}</tr>"


def _footer(report: StudyReport) -> Iterator[str]:
    subject = report.record.subject
    first, last = report.points[0].utc_s, report.points[-1].utc_s
    files = f"Sheet {subject.sheet_hash[:12]}, meter file {subject.meter_hash[:12]}"
    yield (
        f"<footer><p>Measured {_when(first)} to {_when(last)}. Seed of the order: "
        f"{report.record.plan.seed}. {files}, {_text(subject.software)}.</p>"
    )
    yield (
        "<p>Bands of 10 and 30 % and ndc: AIAG, Measurement Systems Analysis, 4th ed. A gauge study tells "
        "how well a bench repeats itself, not how true it is.</p></footer>"
    )


def _when(utc_s: float) -> str:
    return datetime.fromtimestamp(utc_s, UTC).strftime("%Y-%m-%d %H:%M UTC")
