"""A study's report in the terminal: what it was, verdict, where the spread comes from. Not for browsers."""

from __future__ import annotations

from collections.abc import Iterator

from acquire.quantity import counted, show
from acquire.stats.crossed import Row, Source
from acquire.study.report import StudyReport, component_order

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


def lines_of(report: StudyReport) -> Iterator[str]:
    """The report line by line, at most 80 columns but for sentences."""
    yield from heading(report)
    yield ""
    yield from report.verdict
    yield ""
    yield f"{'where the spread comes from':<28}{'sigma':>12}{'variance':>10}{'study':>9}{'tolerance':>11}"
    for source in component_order(report.study):
        part = report.study.components[source]
        tolerance = "" if part.tolerance is None else share(part.tolerance)
        sigma = show(part.sigma, "Ω", digits=4)
        variance, study = share(part.contribution), share(part.study)
        yield f"{component_name(source):<28}{sigma:>12}{variance:>10}{study:>9}{tolerance:>11}"
    yield ndc_line(report)
    yield ""
    yield f"{'table of variance':<20}{'squares':>13}{'df':>5}{'mean square':>14}{'F':>10}{'p':>9}"
    for row in report.study.table:
        yield row_line(row)
    if report.study.pooled:
        yield "without interaction"
        for row in report.study.pooled:
            yield row_line(row)
    yield ""
    yield from report.remarks


def heading(report: StudyReport) -> tuple[str, ...]:
    """What was studied, where, and against what."""
    subject, study = report.record.subject, report.study
    limits = [
        f"{word} {show(end, 'Ω')}"
        for word, end in (("at least", subject.lower_ohm), ("at most", subject.upper_ohm))
        if end is not None
    ]
    wires = "4 wires" if subject.four_wire else "2 wires"
    parts, people = counted(len(study.parts), "part"), counted(len(study.operators), "operator")
    return (
        (
            f"Gauge study of {subject.step} ({subject.pin_a}–{subject.pin_b}) of {subject.sheet}, on "
            f"{subject.bench} with {subject.meter}, {wires}"
        ),
        f"{parts} × {people} × {counted(report.rounds, 'round')}, in random order",
        (
            f"Limits at {subject.reference_celsius:g} °C: {', '.join(limits) or 'none'}; mean of the parts "
            f"{show(study.mean, 'Ω')}"
        ),
    )


def ndc_line(report: StudyReport) -> str:
    """Kinds of parts that can be told apart, by both methods, each named."""

    def said(count: int | None) -> str:
        return "no end of" if count is None else str(count)

    return (
        f"kinds of parts told apart (ndc): {said(report.study.distinct)} by {report.study.method.value}, "
        f"{said(report.by_ranges.distinct)} by {report.by_ranges.method.value}"
    )


def component_name(source: Source) -> str:
    """A source in the table of where the spread comes from: a sum has its sign before it."""
    return f"{'=' if source in SUMS else ' '} {NAMES[source]}"


def share(of_one: float) -> str:
    """A share as a percentage."""
    return f"{100.0 * of_one:.1f} %"


def row_line(row: Row) -> str:
    """One row of a table of variance."""
    f = "" if row.f is None else f"{row.f:.4g}"
    p = "" if row.p is None else f"{row.p:.2g}"
    name = NAMES[row.source]
    return f"  {name:<18}{row.square:>13.5g}{row.freedom:>5}{row.mean_square:>14.5g}{f:>10}{p:>9}"
