"""A study's report as a document: the verdict, where the spread comes from, drawings, all values.

Not for what is said (`report`) or drawn (`pictures`).
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping

from acquire.quantity import chance, counted, show
from acquire.reports import document as doc
from acquire.reports.document import Mark, Tone
from acquire.reports.figures import moment
from acquire.stats.crossed import Row, Source
from acquire.stats.fitness import Fitness
from acquire.study.report import StudyReport, component_order

MARKS = {
    Fitness.GOOD: Mark.PASS,
    Fitness.CONDITIONAL: Mark.NEAR_PASS,
    Fitness.UNFIT: Mark.FAIL,
    Fitness.UNTOLD: Mark.ASKING,
}

NAMES = {
    Source.REPEATABILITY: "repeatability",
    Source.OPERATOR: "operator",
    Source.INTERACTION: "operator × part",
    Source.REPRODUCIBILITY: "reproducibility",
    Source.GAUGE: "gauge",
    Source.PART: "part to part",
    Source.TOTAL: "total",
}
"""Names in tables and drawings."""

SUMS = frozenset({Source.REPRODUCIBILITY, Source.GAUGE, Source.TOTAL})
"""Sources that others add up to, in variance; each stands below these."""


def study_document(report: StudyReport, svg: Mapping[str, str] | None = None) -> doc.Document:
    """The report; with drawings of `pictures` also every value, for pages and paper."""
    subject = report.record.subject
    title = f"Gauge study: {subject.step} of {subject.sheet}"
    blocks = [*_blocks(report)]
    if svg:
        blocks += [*_drawn(svg), *_values(report)]
    blocks.append(doc.Text(_source(report), Tone.SMALL))
    return doc.Document(title, "", tuple(blocks), running=title, written_utc_s=report.points[-1].utc_s)


def _blocks(report: StudyReport) -> Iterator[doc.Block]:
    yield from (doc.Text(line) for line in _heading(report))
    can, *rest = report.verdict
    yield doc.Result(MARKS[report.fitness], can, tuple(rest))
    yield doc.Heading("Where the spread comes from")
    yield _components(report)
    yield doc.Text(_distinct(report))
    yield doc.Heading("Table of variance")
    yield _table(report.study.table)
    if report.study.pooled:
        yield doc.Text("Without interaction:")
        yield _table(report.study.pooled)
    yield doc.Heading("What to know of this study")
    yield doc.Bullets(report.remarks)


def _heading(report: StudyReport) -> Iterator[str]:
    """What was studied, where, and against what."""
    of, study = report.record.subject, report.study
    wires = "4 wires" if of.four_wire else "2 wires"
    yield f"{of.step} ({of.pin_a}–{of.pin_b}) of {of.sheet}, on {of.bench} with {of.meter}, {wires}."
    parts, people = counted(len(study.parts), "part"), counted(len(study.operators), "operator")
    yield f"{parts} × {people} × {counted(report.rounds, 'round')}, in random order."
    ends = (("at least", of.lower_ohm), ("at most", of.upper_ohm))
    limits = ", ".join(f"{word} {show(end, 'Ω')}" for word, end in ends if end is not None) or "none"
    yield f"Limits at {of.reference_celsius:g} °C: {limits}; mean of the parts {show(study.mean, 'Ω')}."


def share(of_one: float) -> str:
    """A share as a percentage; one beyond the whole only says so."""
    return f"{100.0 * of_one:.1f} %" if of_one <= 1.0 else "> 100 %"


def _components(report: StudyReport) -> doc.Table:
    rows = []
    for source in component_order(report.study):
        part = report.study.components[source]
        name = f"{'= ' if source in SUMS else ''}{NAMES[source]}"
        tolerance = "" if part.tolerance is None else share(part.tolerance)
        rows.append(
            (name, show(part.sigma, "Ω", digits=4), share(part.contribution), share(part.study), tolerance)
        )
    heads = "source 26 | sigma 14> | of the variance 14> | of the spread 14>"
    return doc.table(f"{heads} | {report.study.sigmas:g} sigma of the tolerance 18>", rows)


def _table(rows: tuple[Row, ...]) -> doc.Table:
    cells = (
        (NAMES[row.source], f"{row.square:.5g}", str(row.freedom), f"{row.mean_square:.5g}",
         "" if row.f is None else f"{row.f:.4g}", "" if row.p is None else chance(row.p))
        for row in rows
    )  # fmt: skip
    return doc.table("source 24 | sum of squares, Ω² 18> | df 8> | mean square, Ω² 18> | F 12> | 12>", cells)


def _distinct(report: StudyReport) -> str:
    """Kinds of parts that can be told apart, by both methods, each named."""
    said = (
        f"{'no end of' if of.distinct is None else of.distinct} by {of.method.value}"
        for of in (report.study, report.by_ranges)
    )
    return f"Kinds of parts told apart (ndc): {', '.join(said)}."


def _drawn(svg: Mapping[str, str]) -> Iterator[doc.Block]:
    for name, drawing in svg.items():
        title, _, how = name.partition(". ")
        yield doc.Heading(title)
        yield doc.Picture(drawing, caption=how)


def _values(report: StudyReport) -> Iterator[doc.Block]:
    """One row a part, one column for each operator's rounds."""
    study, ohms = report.study, {(p.part, p.operator, p.trial): p.ohm for p in report.points}
    columns = [(operator, trial) for operator in study.operators for trial in range(1, report.rounds + 1)]
    digits = max(0, 2 - math.floor(math.log10(study.gauge.sigma or 1e-3)))
    rows = tuple(
        (f"{part.name} ({part.label})", *(f"{ohms[(part.name, *column)]:.{digits}f}" for column in columns))
        for part in report.record.plan.parts
    )
    wide = 80.0 / len(columns)
    ohms_by = (doc.Column(f"{who}, {trial}", wide, right=True) for who, trial in columns)
    yield doc.Heading("All values, Ω at the reference temperature, without leads")
    yield doc.Table((doc.Column("part (tag)", 20.0), *ohms_by), rows, dense=True)


def _source(report: StudyReport) -> str:
    of, plan = report.record.subject, report.record.plan
    when = f"Measured {moment(report.points[0].utc_s)} to {moment(report.points[-1].utc_s)}"
    files = f"Sheet {of.sheet_hash[:12]}, meter file {of.meter_hash[:12]}, {of.software}"
    return (
        f"{when}. Seed of the order: {plan.seed}. {files}. Bands of 10 and 30 % and ndc: AIAG, Measurement "
        "Systems Analysis, 4th ed. A gauge study tells how well a bench repeats itself, not how true it is."
    )
