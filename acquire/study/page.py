"""A study's report as one HTML file: words, tables and drawings, no script and nothing from elsewhere.

Prints on A4 and Letter. Not for what is said (`report`) or drawn (`pictures`).
"""

from __future__ import annotations

import math
from collections.abc import Iterator
from datetime import UTC, datetime
from html import escape

from acquire.quantity import show
from acquire.stats.crossed import Row
from acquire.stats.fitness import Fitness
from acquire.study.pictures import pictures_of
from acquire.study.printed import NAMES, heading, ndc_line, share
from acquire.study.report import StudyReport, component_order

MARKS = {Fitness.GOOD: "●", Fitness.CONDITIONAL: "◑", Fitness.UNFIT: "✖", Fitness.UNTOLD: "?"}
"""A shape beside the word, so that no colour is needed."""

STYLE = """
body { font: 11pt/1.45 system-ui, sans-serif; color: #1a1a1a; background: #fff; margin: 2rem auto;
  max-width: 46rem; padding: 0 1rem; }
h1 { font-size: 1.5rem; margin: 0 0 .3rem; }
h2 { font-size: 1.1rem; margin: 1.8rem 0 .4rem; border-bottom: 1px solid #bbb; }
p { margin: .3rem 0; }
.verdict { border: 2px solid #1a1a1a; border-radius: .4rem; padding: .7rem 1rem; margin: 1.2rem 0; }
.verdict strong { font-size: 1.3rem; }
table { border-collapse: collapse; width: 100%; font-variant-numeric: tabular-nums; }
th, td { text-align: right; padding: .15rem .5rem; border-bottom: 1px solid #ddd; }
td { white-space: nowrap; }
th:first-child, td:first-child { text-align: left; white-space: pre; }
figure { margin: 1rem 0; break-inside: avoid; }
figure svg { width: 100%; height: auto; }
figcaption { color: #444; font-size: .9rem; }
footer { margin-top: 2rem; color: #444; font-size: .85rem; }
@page { margin: 16mm; }
@media print {
  body { margin: 0; max-width: none; padding: 0; font-size: 9.5pt; }
  table { break-inside: avoid; }
}
"""


def page_of(report: StudyReport) -> str:
    """The whole page.

    Raises:
        LibraryMissing: matplotlib is not installed.
    """
    return "\n".join(_lines(report)) + "\n"


def _lines(report: StudyReport) -> Iterator[str]:
    subject, study = report.record.subject, report.study
    title = f"Gauge study: {subject.step} of {subject.sheet}"
    yield '<!DOCTYPE html>\n<html lang="en">\n<head>\n<meta charset="utf-8">'
    yield '<meta name="viewport" content="width=device-width, initial-scale=1">'
    yield f"<title>{escape(title)}</title>\n<style>{STYLE}</style>\n</head>\n<body>"
    yield f"<h1>{escape(title)}</h1>"
    yield from (f"<p>{escape(line)}.</p>" for line in heading(report))
    first, *rest = report.verdict
    yield f'<div class="verdict"><p><strong>{MARKS[report.fitness]} {escape(first)}</strong></p>'
    yield from (f"<p>{escape(sentence)}</p>" for sentence in rest)
    yield "</div>"
    yield "<h2>Where the spread comes from</h2>"
    yield from _components(report)
    yield f"<p>{escape(ndc_line(report))}.</p>"
    yield "<h2>What to know of this study</h2>"
    yield from (f"<p>{escape(sentence)}</p>" for sentence in report.remarks)
    for picture in pictures_of(report):
        yield f"<h2>{escape(picture.title)}</h2>"
        yield f"<figure>{picture.svg}<figcaption>{escape(picture.how)}</figcaption></figure>"
    yield "<h2>Table of variance</h2>"
    yield from _table(study.table)
    if study.pooled:
        yield "<p>Without interaction:</p>"
        yield from _table(study.pooled)
    yield "<h2>All values</h2>"
    yield from _values(report)
    yield from _footer(report)
    yield "</body>\n</html>"


def _components(report: StudyReport) -> Iterator[str]:
    width = f"{report.study.sigmas:g} sigma of the tolerance"
    yield (
        "<table><tr><th>source</th><th>sigma</th><th>of the variance</th><th>of the study's spread</th>"
        f"<th>{escape(width)}</th></tr>"
    )
    for source in component_order(report.study):
        part = report.study.components[source]
        tolerance = "" if part.tolerance is None else share(part.tolerance)
        yield _row(
            (
                NAMES[source],
                show(part.sigma, "Ω", digits=4),
                share(part.contribution),
                share(part.study),
                tolerance,
            )
        )
    yield "</table>"


def _table(rows: tuple[Row, ...]) -> Iterator[str]:
    yield (
        "<table><tr><th>source</th><th>sum of squares, Ω²</th><th>degrees of freedom</th>"
        "<th>mean square, Ω²</th><th>F</th><th>p</th></tr>"
    )
    for row in rows:
        f = "" if row.f is None else f"{row.f:.4g}"
        p = "" if row.p is None else f"{row.p:.2g}"
        yield _row(
            (NAMES[row.source].strip(), f"{row.square:.5g}", str(row.freedom), f"{row.mean_square:.5g}", f, p)
        )
    yield "</table>"


def _values(report: StudyReport) -> Iterator[str]:
    """One row a part, one column for each operator's rounds."""
    study = report.study
    ohms = {(p.part, p.operator, p.trial): p.ohm for p in report.points}
    rounds = range(1, report.rounds + 1)
    digits = max(0, 2 - math.floor(math.log10(report.study.gauge.sigma or 1e-3)))
    heads = [f"{operator}, {trial}" for operator in study.operators for trial in rounds]
    yield f"<table><tr><th>part (tag)</th>{''.join(f'<th>{escape(head)}</th>' for head in heads)}</tr>"
    for part in report.record.plan.parts:
        cells = (ohms[part.name, operator, trial] for operator in study.operators for trial in rounds)
        yield _row((f"{part.name} ({part.label})", *(f"{ohm:.{digits}f}" for ohm in cells)))
    yield "</table>"
    yield "<p>Ω at the reference temperature, without leads.</p>"


def _row(cells: tuple[str, ...]) -> str:
    return f"<tr>{''.join(f'<td>{escape(cell)}</td>' for cell in cells)}</tr>"


def _footer(report: StudyReport) -> Iterator[str]:
    subject = report.record.subject
    first, last = report.points[0].utc_s, report.points[-1].utc_s
    files = f"Sheet {subject.sheet_hash[:12]}, meter file {subject.meter_hash[:12]}"
    yield (
        f"<footer><p>Measured {_when(first)} to {_when(last)}. Seed of the order: "
        f"{report.record.plan.seed}. {files}, {escape(subject.software)}.</p>"
    )
    yield (
        "<p>Bands of 10 and 30 % and ndc: AIAG, Measurement Systems Analysis, 4th ed. A gauge study tells "
        "how well a bench repeats itself, not how true it is.</p></footer>"
    )


def _when(utc_s: float) -> str:
    return datetime.fromtimestamp(utc_s, UTC).strftime("%Y-%m-%d %H:%M UTC")
