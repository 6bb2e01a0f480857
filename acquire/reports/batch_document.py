"""A batch's report as a document: for a page, paper or terminal alike; and as plain texts for the bench page.

Not for figures (batch) nor for drawings (batch_pictures).
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping, Sequence

from acquire.choices import FAILING, PASSING
from acquire.quantity import chance, counted, percent, show
from acquire.records import Outcome
from acquire.reports import document as doc
from acquire.reports.batch import BatchReport, UnitLine
from acquire.reports.document import (
    Tone,
    index_text,
    limits_text,
    moment,
    per_million,
    relative_to,
    share_text,
    value_text,
)  # fmt: skip
from acquire.reports.series import Series
from acquire.words import batches as words
from acquire.words.verdicts import OUTCOME_WORDS

MOST_SENTENCES = 10
"""Calls of the run rules that are told one by one: of a thousand calm points some ten call by chance."""

MOST_GROUPS = 20
"""Days or operators that are listed one by one."""

MOST_ROWS = 400
"""Units up to which all are listed and drawn; of more only those that did not pass at once."""


def batch_document(report: BatchReport, svg: Mapping[str, str] | None = None) -> doc.Document:
    """The report, with drawings of `batch_pictures` for a page or paper."""
    count = counted(len(report.units), "unit")
    if report.expected is not None:
        count = f"{len(report.units)} of {counted(report.expected, 'unit')}"
    title = f"Batch {report.name}"
    subtitle = f"{report.sheet}, {count}, {words.PURPOSES[report.purpose]}, {_state(report)}"
    blocks, written_s = tuple(_blocks(report, svg or {})), report.last_utc_s or 0.0
    return doc.Document(title, subtitle, blocks, running=title, written_utc_s=written_s)


def _state(report: BatchReport) -> str:
    return report.state.value if report.state else "never opened by name"


def _blocks(report: BatchReport, svg: Mapping[str, str]) -> Iterator[doc.Block]:
    yield _sum(report)
    if report.findings:
        yield doc.Heading("What to know first")
        yield doc.Bullets(report.findings)
    else:
        yield doc.Text("Nothing stands out: no unit failed, and the charts are in control.")
    if report.units and len(report.units) <= MOST_ROWS:
        yield doc.Heading("Every unit")
        yield _strip(report.units)
    if report.series:
        yield doc.Heading("Charts")
        yield doc.Text(words.LEGEND, Tone.SMALL)
    for number, series in enumerate(report.series, start=1):
        yield from _row(series, number, svg)
    yield from _found(report)
    yield from _yields(report)
    yield doc.Heading("The batch")
    yield doc.KeyValues(tuple(_facts(report)))
    if report.deeds:
        deeds = (
            (moment(d.utc_s)[:16], f"{words.DEEDS[d.deed]}{f': {d.text}' if d.text else ''}")
            for d in report.deeds
        )
        yield doc.table("UTC 18 | what was done 82", deeds)
    yield from _units(report)
    yield doc.Heading("How to read this")
    yield from (doc.Text(note, Tone.SMALL) for note in _notes(report))


def _sum(report: BatchReport) -> doc.Result:
    """How many passed, at a glance."""
    first = report.first_pass
    mark = None if not first.of else Outcome.FAIL if first.count < first.of else Outcome.PASS
    low, high = 100.0 * first.low, 100.0 * first.high
    sure = f"First pass yield {percent(first.share)}; it may truly be {low:.0f} to {high:.0f} %."
    texts = [sure if first.of else "none yet"]
    if report.now != first:
        texts.append(f"As they are now: {share_text(report.now)}.")
    if report.open_units:
        texts.append(f"{report.open_units} without a result yet.")
    return doc.Result(mark, f"{first.count} of {first.of} passed at first", tuple(texts))


def _strip(units: Sequence[UnitLine]) -> doc.Strip:
    squares, before = [], units[0].spools
    for number, line in enumerate(units, start=1):
        about = f"{line.serial}: {_outcome(line)}{f'; {line.why}' if line.why else ''}"
        again, spool = line.visits > 1, line.spools != before
        squares.append(doc.Square(line.outcome, number, about, again, spool))
        before = line.spools
    return doc.Strip(tuple(squares), words.STRIP_KEY)


def _row(series: Series, number: int, svg: Mapping[str, str]) -> Iterator[doc.Block]:
    limits = limits_text(series.lower, series.upper, series.unit)
    yield doc.Heading(series.name, 3, f"{series.pair}, {'no limits' if limits == 'none' else limits}")
    for name in (f"row-{number}", f"means-{number}"):
        lines = tuple(_chart_lines(series)) if name.startswith("row") else ()
        yield doc.Picture(svg.get(name, ""), lines)
    yield doc.KeyValues(tuple(_figures(series)), dense=True)
    yield doc.Bullets((*_sentences(series), *series.mean_sentences))
    if groups := tuple(_groups(series)):
        yield doc.table("by 14 | 30 | values 12 | mean (95 %) 44", groups, dense=True)


def _found(report: BatchReport) -> Iterator[doc.Block]:
    """What was not as it should be, the commonest first."""
    if report.pareto:
        yield doc.Heading("What was found")
        rows = (
            (bar.kind, f"{bar.count} ({percent(bar.share)})", doc.Bar(bar.count / report.pareto[0].count))
            for bar in report.pareto
        )
        yield doc.table("kind 34 | units 10> | 56", rows)


def _yields(report: BatchReport) -> Iterator[doc.Block]:
    if not report.yields:
        return
    yield doc.Heading("Yield of each step")
    rows: list[tuple[doc.Cell, ...]] = []
    for each in report.yields:
        of, text = each.passed, share_text(each.passed)
        said: doc.Cell = doc.Marked(Outcome.FAIL, text) if of.count < of.of else text
        scale = doc.Scale(0.0, 1.0, of.share, of.low, of.high, margin=0.0)
        rows.append((each.name, words.SORTS[each.sort], said, scale))
    yield doc.table("step 26 | 20 | passed at first (95 % interval) 27 | 0 to 100 % 27", rows)


def _units(report: BatchReport) -> Iterator[doc.Block]:
    lines, heading = report.units, "All units"
    if len(lines) > MOST_ROWS:
        lines = tuple(line for line in lines if line.outcome not in PASSING or line.visits > 1)
        heading = f"Units that did not pass at once, of {len(report.units)}"
    if not lines:
        return
    yield doc.Heading(heading)
    values = [{point.serial: point for point in series.points} for series in report.series]
    widths = [52.0 / max(1, len(values))] * len(values)
    heads = [("serial", 12.0), *zip((series.name for series in report.series), widths, strict=True)]
    columns = tuple(doc.Column(*head) for head in (*heads, ("result", 13.0), ("why", 23.0)))
    rows: list[tuple[doc.Cell, ...]] = []
    for line in lines:
        cells: list[doc.Cell] = []
        for series, of in zip(report.series, values, strict=True):
            point = of.get(line.serial)
            text = value_text(point.value if point else None, series.unit)
            cells.append(doc.Marked(Outcome.FAIL, text) if point and point.outcome in FAILING else text)
        again = f" ({line.visits}×)" if line.visits > 1 else ""
        result = doc.Marked(line.outcome, _outcome(line) + again)
        rows.append((line.serial, *cells, result, line.why))
    yield doc.Table(columns, tuple(rows), dense=True)


# ---------------------------------------------------------------- texts


def _relative(series: Series, value: float | None) -> str:
    """A spread of a row, also as a share of its mean where that means something."""
    if value is None or series.capability is None:
        return "–"
    if series.unit == "%":
        return percent(value / 100.0)
    share = relative_to(value, series.capability.mean, value)
    return show(value, "Ω", digits=3) + (f" ({share})" if share else "")


def _figures(series: Series) -> Iterator[tuple[str, str]]:
    """Name and value of everything that is reckoned from a row."""
    of = series.capability
    yield "values", str(len(series.points)) + (f" ({series.skipped} without)" if series.skipped else "")
    if of is None:
        return
    yield "mean", value_text(of.mean, series.unit)
    yield "standard deviation overall, s", _relative(series, of.sigma_overall)
    yield "standard deviation within, s", _relative(series, of.sigma_within)
    yield "uncertainty of a value, U", _relative(series, None if series.u is None else 2.0 * series.u)
    for name in ("Cp", "Cpk", "Pp", "Ppk"):
        yield name, index_text(getattr(of, name.lower()))
    if of.outside is not None:
        yield "expected outside the limits", per_million(of.outside.parts_per_million)
    if of.normality is not None:
        yield "normality test, p", chance(of.normality.p)


def _sentences(series: Series) -> list[str]:
    """What is said of a row: changes of level, what each level does, trend, groups, remarks."""
    said = [change.sentence for change in series.changes]
    if series.stages:
        inside = [f"Within its level {sentence}" for stage in series.stages for sentence in stage.sentences]
        said += _few(inside) or ["Between the changes of level the chart is in control."]
    else:
        said += _few(list(series.sentences))
        if not series.sentences and len(series.points) >= 8:
            said.append("The chart is in control: no run rule signals.")
    said += [series.drift] if series.drift else []
    said += [group.sentence for group in series.groups]
    said += series.capability.remarks if series.capability else ()
    if series.limits_moved:
        said.append("Not all units were held against the same limits; those of the latest are drawn.")
    return said


def _few(sentences: list[str]) -> list[str]:
    """The first few, and how many more there are."""
    more = len(sentences) - MOST_SENTENCES
    if more <= 0:
        return sentences
    return [*sentences[:MOST_SENTENCES], f"And {more} more signals of the run rules (--json has them all)."]


def _groups(series: Series) -> Iterator[tuple[str, str, str, str]]:
    """Values by spool, day, meter, operator, bench: what, its name, how many, mean with its interval."""
    for group in series.groups:
        for each in group.of.groups[:MOST_GROUPS]:
            mean = value_text(each.of.mean, series.unit)
            if math.isfinite(each.low) and math.isfinite(each.high):
                mean += f" ({value_text(each.low, series.unit)} to {value_text(each.high, series.unit)})"
            yield group.what, each.name, str(each.of.count), mean


def _facts(report: BatchReport) -> Iterator[tuple[str, str]]:
    """What is what, for the head of the report."""
    expected = "" if report.expected is None else f" of {report.expected} expected"
    left = f", {report.open_units} without result" if report.open_units else ""
    yield "unit type", report.sheet
    yield "purpose", words.PURPOSES[report.purpose]
    yield "state", _state(report)
    yield "units", f"{len(report.units)}{expected}{left}"
    yield "measured", _period(report)
    yield "bench", ", ".join(report.benches) or "–"
    yield "operator", ", ".join(report.operators) or "–"
    yield "meter", ", ".join(report.meters) or "–"
    if report.reference_celsius is not None:
        yield "ohms hold at", f"{report.reference_celsius:g} °C"
    yield "decision rule", ", ".join(rule.replace("_", " ") for rule in report.rules) or "–"
    if report.remark:
        yield "remark", report.remark
    if report.other_purposes:
        others = ", ".join(words.PURPOSES[each] for each in report.other_purposes)
        yield "also measured", f"{others} (--purpose shows them)"


def _notes(report: BatchReport) -> list[str]:
    """How the figures were made; what they do not say."""
    notes = [
        words.HOW_COUNTED,
        words.HOW_SURE.format(100.0 * report.confidence),
        words.HOW_CALLED,
        words.CAUTION,
    ]
    if len(report.sheet_hashes) > 1:
        notes.append(f"{len(report.sheet_hashes)} versions of the sheet were in force.")
    return notes


def _period(report: BatchReport) -> str:
    """From when to when, UTC."""
    first, last = (moment(each)[:16] for each in (report.first_utc_s, report.last_utc_s))
    if first == last:
        return f"{first} UTC" if first != "–" else "–"
    return f"{first} to {last[11:] if last[:10] == first[:10] else last} UTC"


def _outcome(line: UnitLine) -> str:
    """How a unit ended, and how it is now if that is another matter."""
    if line.outcome is None:
        return "no result"
    words = OUTCOME_WORDS[line.outcome]
    if line.now is not None and line.now is not line.outcome:
        return f"{words}, then {OUTCOME_WORDS[line.now]}"
    return words


# ---------------------------------------------------------------- a chart of marks


ROWS, WIDEST = 9, 100
"""Lines and columns of a chart of marks; of longer rows the furthest off of some neighbours is shown."""


def _chart_lines(series: Series) -> Iterator[str]:
    """Values between the sheet's limits, a column each; a line where the spool changes."""
    values = [point.value for point in series.points]
    limits = [each for each in (series.lower, series.upper) if each is not None]
    low, high = min(*values, *limits, values[0]), max(*values, *limits, values[0])
    if not high > low:
        return
    step, columns = (high - low) / (ROWS - 1), list(_columns(series))
    at_limit = {round((high - each) / step) for each in limits}
    for number in range(ROWS):
        marks = [
            mark if mark == "│" or round((high - value) / step) == number else " " for value, mark in columns
        ]
        edge, told = ("┤", " limit") if number in at_limit else ("│", "")
        yield f"{high - number * step:10.4g} {edge}{''.join(marks)}{told}"


def _columns(series: Series) -> Iterator[tuple[float, str]]:
    """What stands in each column: a value with its mark, or a line where the spool changes."""
    points = series.points
    share = -(-len(points) // WIDEST)
    beyond, before = set(series.beyond()), points[0].spool
    middle = sorted(point.value for point in points)[len(points) // 2]
    for start in range(0, len(points), share):
        block = range(start, min(start + share, len(points)))
        place = max(block, key=lambda i: (points[i].outcome is Outcome.FAIL, abs(points[i].value - middle)))
        point = points[place]
        if point.spool != before and share == 1:
            yield point.value, "│"
        before = point.spool
        yield point.value, "✖" if point.outcome in FAILING else "◆" if place in beyond else "●"
