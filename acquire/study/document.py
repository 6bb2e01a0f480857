"""A study's report as a document: the verdict, where the spread comes from, drawings, all values.

Drawn as SVG by part, by operator, and who differs on which part; operators differ by shape as well as by
colour. Not for what is said (`report`), nor for how a drawing becomes SVG (`reports.pictures`).
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterator, Mapping, Sequence
from typing import TYPE_CHECKING, Any

from acquire.quantity import chance, counted, show
from acquire.records import Outcome
from acquire.reports import document as doc
from acquire.reports.document import Tone, moment, shown
from acquire.reports.pictures import as_svg, figure, plain_style
from acquire.stats.gauge import SIGMAS, VarianceRow, VarianceSource
from acquire.study.report import Fitness, StudyPoint, StudyReport

if TYPE_CHECKING:
    from matplotlib.axes import Axes

MARKS = {
    Fitness.GOOD: Outcome.PASS,
    Fitness.CONDITIONAL: Outcome.CONDITIONAL_PASS,
    Fitness.UNFIT: Outcome.FAIL,
    Fitness.UNTOLD: Outcome.CANNOT_JUDGE,
}

NAMES = {source: source.value for source in VarianceSource} | {VarianceSource.INTERACTION: "operator × part"}
"""Names in tables and drawings."""

SUMS = frozenset({VarianceSource.REPRODUCIBILITY, VarianceSource.GAUGE, VarianceSource.TOTAL})
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
    for source, part in report.study.components.items():
        name = f"{'= ' if source in SUMS else ''}{NAMES[source]}"
        tolerance = "" if part.tolerance is None else share(part.tolerance)
        rows.append(
            (name, show(part.sigma, "Ω", digits=4), share(part.contribution), share(part.study), tolerance)
        )
    heads = "source 26 | sigma 14> | of the variance 14> | of the spread 14>"
    return doc.table(f"{heads} | {SIGMAS:g} sigma of the tolerance 18>", rows)


def _table(rows: tuple[VarianceRow, ...]) -> doc.Table:
    cells = (
        (NAMES[row.source], f"{row.square:.5g}", str(row.freedom), f"{row.mean_square:.5g}",
         "" if row.f is None else f"{row.f:.4g}", "" if row.p is None else chance(row.p))
        for row in rows
    )  # fmt: skip
    return doc.table("source 24 | sum of squares, Ω² 18> | df 8> | mean square, Ω² 18> | F 12> | 12>", cells)


def _distinct(report: StudyReport) -> str:
    """Kinds of parts that can be told apart, by both methods, each named."""
    said = (
        f"{'unlimited' if of.distinct is None else of.distinct} by {of.method.value}"
        for of in (report.study, report.by_ranges)
    )
    return f"Number of distinct categories (ndc): {', '.join(said)}."


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


INKS = ("#1f5fa8", "#c2570c", "#4b7f52", "#7b4a9e", "#8a6d1d", "#36454f")
"""Dark enough on white for WCAG AA, apart in lightness and hue; shapes tell them apart without colour."""

SHAPES = ("o", "s", "^", "D", "v", "P", "X", "<", ">", "h", "p", "*")
"""One for each operator, up to the most a plan takes."""

LONGEST_NAME = 14
"""Characters of a name in a drawing."""

WIDE_MM, HIGH_MM = 180.0, 64.0
"""Of a drawing; it fits A4 and Letter."""


Draw = Callable[["Axes", StudyReport], None]


def svg_pictures(report: StudyReport) -> dict[str, str]:
    """All drawings by "title. how to read it"; LibraryMissing where matplotlib is not installed."""
    drawings: dict[str, Draw] = {
        "Every value, by part. Points of one part lie apart by the gauge's doing; parts apart differ.":
            _by_part,
        "Differences, by operator. What each operator reads above or below the mean of the same part.":
            _by_operator,
        "Who differs on which part. Lines that cross are operators who differ by part.": _interaction,
        "Shares side by side. Long bars besides the parts' are what the gauge adds.": _shares,
    }  # fmt: skip
    made = {}
    with plain_style():
        for number, (told, draw) in enumerate(drawings.items(), start=1):
            if draw is _by_operator and len(report.study.operators) == 1:
                continue
            drawing = figure(WIDE_MM, HIGH_MM)
            drawing.set_layout_engine("constrained")
            axes = drawing.add_subplot()
            axes.grid(color="#dddddd", linewidth=0.5)
            draw(axes, report)
            made[told] = as_svg(drawing, f"study{number}", told)
    return made


def _by_part(axes: Axes, report: StudyReport) -> None:
    places = {name: place for place, name in enumerate(report.study.parts)}
    for operator, points, look, shift in _by_hands(report):
        x, y = [places[p.part] + shift for p in points], [p.ohm for p in points]
        axes.plot(x, y, linestyle="none", label=shown(operator, LONGEST_NAME), **look)
    _limits(axes, report)
    _parts(axes, report)


def _by_operator(axes: Axes, report: StudyReport) -> None:
    means = _means(report.points, lambda p: p.part)
    for place, (_, points, look, _) in enumerate(_by_hands(report)):
        off = [p.ohm - means[p.part] for p in points]
        spread = 0.5 / max(1, len(off) - 1)
        axes.plot([place - 0.25 + i * spread for i in range(len(off))], off, linestyle="none", **look)
        axes.plot([place - 0.35, place + 0.35], [sum(off) / len(off)] * 2, color=look["color"], linewidth=2.0)
    axes.set_xticks(range(len(report.study.operators)), [_short(name) for name in report.study.operators])
    _off_mean(axes)


def _interaction(axes: Axes, report: StudyReport) -> None:
    cells = _means(report.points, lambda p: (p.part, p.operator))
    parts = _means(report.points, lambda p: p.part)
    for operator, _, look, _ in _by_hands(report):
        off = [cells[part, operator] - parts[part] for part in report.study.parts]
        axes.plot(range(len(off)), off, linewidth=1.2, label=shown(operator, LONGEST_NAME), **look)
    _parts(axes, report)
    _off_mean(axes)


def _off_mean(axes: Axes) -> None:
    axes.axhline(0.0, color="#555555", linewidth=0.8)
    axes.set_ylabel("Ω off the part's mean")


def _shares(axes: Axes, report: StudyReport) -> None:
    sources = [source for source in report.study.components if source is not VarianceSource.TOTAL]
    places = range(len(sources))
    parts = [report.study.components[source] for source in sources]
    series: list[tuple[str, str, list[float | None]]] = [
        ("of the variance", "", [p.contribution for p in parts]),
        ("of the study's spread", "///", [p.study for p in parts]),
        ("of the tolerance", "...", [p.tolerance for p in parts]),
    ]
    drawn = [each for each in series if None not in each[2]]
    height = 0.8 / len(drawn)
    for row, (label, hatch, shares) in enumerate(drawn):
        at = [place + (row - (len(drawn) - 1) / 2.0) * height for place in places]
        look: dict[str, Any] = {"hatch": hatch, "color": INKS[row], "edgecolor": "white"}
        axes.barh(at, [100.0 * (s or 0.0) for s in shares], height, label=label, **look)
    axes.set_yticks(places, [NAMES[source] for source in sources])
    axes.invert_yaxis()
    axes.set_xlabel("%")
    axes.grid(visible=False, axis="y")
    axes.legend(loc="best", frameon=False)


def _by_hands(report: StudyReport) -> Iterator[tuple[str, list[StudyPoint], dict[str, Any], float]]:
    """Each operator's points, look, and how far beside the part they stand."""
    operators = report.study.operators
    for place, operator in enumerate(operators):
        look = {"color": INKS[place % len(INKS)], "marker": SHAPES[place % len(SHAPES)], "markersize": 4.5}
        shift = (place - (len(operators) - 1) / 2.0) * 0.6 / len(operators)
        yield operator, [p for p in report.points if p.operator == operator], look, shift


def _means(points: Sequence[StudyPoint], key: Callable[[StudyPoint], Any]) -> dict[Any, float]:
    rows: dict[Any, list[float]] = {}
    for point in points:
        rows.setdefault(key(point), []).append(point.ohm)
    return {name: sum(row) / len(row) for name, row in rows.items()}


def _limits(axes: Axes, report: StudyReport) -> None:
    """The sheet's limits, where they do not squeeze the points together."""
    subject = report.record.subject
    ohms = [point.ohm for point in report.points]
    reach = max(ohms) - min(ohms)
    for end in (subject.lower_ohm, subject.upper_ohm):
        if end is not None and min(abs(end - min(ohms)), abs(end - max(ohms))) <= 1.5 * reach:
            axes.axhline(end, color="#222222", linewidth=1.0, linestyle="--")
            axes.annotate("limit", (1.0, end), xycoords=("axes fraction", "data"), ha="right", va="bottom")


def _parts(axes: Axes, report: StudyReport) -> None:
    names = [_short(name) for name in report.study.parts]
    axes.set_xticks(range(len(names)), names, rotation=0 if sum(map(len, names)) < 60 else 60)
    axes.set_xlabel("part")
    axes.set_ylabel(f"Ω at {report.record.subject.reference_celsius:g} °C")
    axes.ticklabel_format(axis="y", useOffset=False)
    columns = min(4, len(report.study.operators))
    axes.legend(loc="lower center", bbox_to_anchor=(0.5, 1.0), ncols=columns, frameon=False)


def _short(name: str) -> str:
    name = shown(name)
    return name if len(name) <= LONGEST_NAME else name[: LONGEST_NAME - 1] + "…"
