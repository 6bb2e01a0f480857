"""A batch's report as one HTML file: nothing from elsewhere, no scripts, good on a screen and on paper.

The same report always gives the same bytes. Every text goes through `html.escape` and is set apart in its
direction of writing. Not for the pictures (batch_pictures) nor for figures (batch).
"""

from __future__ import annotations

import html
from collections.abc import Iterable, Iterator, Mapping

from acquire.records import Outcome
from acquire.records.words import FAILING
from acquire.reports.batch import BatchReport, UnitLine
from acquire.reports.batch_pictures import pictures
from acquire.reports.batch_series import Series
from acquire.reports.batch_words import (
    LEGEND,
    deed_text,
    facts_of,
    figures_of,
    groups_of,
    moment,
    notes_of,
    outcome_text,
    passed,
    per_cent,
    sentences_of,
    share_text,
    title_of,
    value_text,
)
from acquire.reports.paper import shown
from acquire.reports.paper_style import STYLE

POLICY = "default-src 'none'; style-src 'unsafe-inline'; img-src data:"

MOST_ROWS = 400
"""Units up to which all are listed; of more only those that did not pass at once."""

STRIP_KEY = (
    "Numbers in the order in which they came. Dark with ✖: failed at first. Dashed: passed near a limit. ?: "
    "cannot be judged. ◌: no result. Dot: came more than once. Bar at the left: another spool from here on."
)

OWN_STYLE = """
body{max-width:212mm;--good:#1b5fa8;--bad:#a63d00;--ink:#1d4e5f}
.title p{font-size:10pt}
.sum{display:grid;grid-template-columns:auto 1fr;gap:0 7mm;align-items:center;border:.3mm solid #b9c7cc;
 border-left:2.4mm solid var(--good);padding:3.5mm 5mm;margin:3mm 0;break-inside:avoid}
.sum.bad{border-left-color:var(--bad)}
.sum .big{font-size:30pt;font-weight:600;line-height:1;color:#111;white-space:nowrap}
.sum .big small{font-size:13pt;font-weight:400;color:#333}
.sum p{margin:.5mm 0}
.know li{margin:1.1mm 0;font-size:10pt}
.strip{display:grid;grid-template-columns:repeat(20,1fr);gap:1.1mm .9mm;margin:2mm 0 1mm}
.strip div{position:relative;height:6.4mm;border-radius:.7mm;background:#dbe6f3;color:#123a66;font-size:6.6pt;
 display:flex;align-items:center;justify-content:center;white-space:nowrap;border:.2mm solid #b9cde4}
.strip .near{background:#eef4fb;border-style:dashed}
.strip .fail{background:var(--bad);border-color:var(--bad);color:#fff;font-weight:700}
.strip .doubt{background:#fff;color:#555;border-color:#777}
.strip .none{background:#fff;color:#555;border-style:dotted;border-color:#777}
.strip .again::after{content:"";position:absolute;right:.5mm;top:.5mm;width:1.5mm;height:1.5mm;
 border-radius:50%;background:#fff;border:.3mm solid var(--ink)}
.strip .spool{border-left:1.1mm solid var(--ink)}
.key{font-size:7.8pt;color:#444;margin:.6mm 0 0}
.row{break-inside:avoid;margin:3mm 0 5mm}
.row h3{font-size:12pt;margin:0 0 .5mm;color:#111}
.row h3 span{font-weight:400;color:#444;font-size:9pt}
.row svg{width:100%;height:auto;display:block}
.figures{display:grid;grid-template-columns:repeat(6,1fr);gap:.6mm 3mm;margin:1mm 0;
 font-size:8pt;border-top:.2mm solid #c9d3d7;padding-top:1mm}
.figures div span{display:block;color:#555;font-size:7pt}
.row ul{font-size:8.4pt;margin:.6mm 0}.row li{margin:.3mm 0}
.bar{display:inline-block;height:2.6mm;background:var(--good);vertical-align:middle;border-radius:.3mm}
.track{display:block;position:relative;height:3.4mm;background:#eef1f3;border-radius:.5mm}
.track i{position:absolute;top:.5mm;bottom:.5mm;background:#a9c3df}
.track b{position:absolute;top:0;bottom:0;width:.7mm;background:var(--good)}
td.bad,.bad-text{color:var(--bad);font-weight:600}
table.tight td{padding:.5mm 1.2mm}
table.tight th{font-size:7pt;padding:.8mm .6mm;overflow-wrap:normal}
@media (max-width:150mm){.strip{grid-template-columns:repeat(10,1fr)}.row{overflow-x:auto}
 .row svg{min-width:150mm}.figures,.sum{grid-template-columns:1fr 1fr}.sum .big{white-space:normal}}
@media print{body{font-size:9pt}.row{margin:2mm 0 3mm;break-inside:auto}.row h3,.row svg{break-after:avoid}
 .row svg,.figures,.row li{break-inside:avoid}.row ul{font-size:7.6pt;line-height:1.24}
 .figures{font-size:7.4pt}.row h3{font-size:11pt}}
"""


def as_html(report: BatchReport) -> bytes:
    """The file.

    Raises:
        LibraryMissing: matplotlib is not installed.
    """
    drawn = pictures(report)
    parts = [
        "<!DOCTYPE html>",
        '<html lang="en">',
        "<head>",
        '<meta charset="utf-8">',
        f'<meta http-equiv="Content-Security-Policy" content="{POLICY}">',
        '<meta name="viewport" content="width=device-width, initial-scale=1">',
        f"<title>Batch {_text(report.name)}</title>",
        f"<style>{STYLE}{OWN_STYLE}</style>",
        "</head>",
        "<body>",
        f'<div class="title"><h1>Batch {_apart(report.name)}</h1><p>{_apart(title_of(report))}</p></div>',
        "<main>",
        *_sum(report),
        *_know(report),
        *_strip(report),
        *_rows(report, drawn),
        *_diagnoses(report, drawn),
        *_yields(report),
        *_about(report),
        *_units(report),
        *_notes(report),
        "</main>",
        "</body>",
        "</html>",
        "",
    ]
    return "\n".join(parts).encode("utf-8")


def _text(text: str, longest: int = 600) -> str:
    return html.escape(shown(text, longest), quote=True)


def _apart(text: str) -> str:
    """Text from anybody: its direction of writing ends with it."""
    return f"<bdi>{_text(text)}</bdi>"


def _sum(report: BatchReport) -> Iterator[str]:
    """How many passed, at a glance."""
    first = report.first_pass
    bad = first.of > 0 and first.count < first.of
    yield f'<section class="sum{" bad" if bad else ""}">'
    yield f'<div class="big">{first.count} <small>of {first.of} passed at first</small></div>'
    low, high = 100.0 * first.low, 100.0 * first.high
    yield f"<div><p>First pass yield {per_cent(first.share)}; it may truly be {low:.0f} to {high:.0f} %.</p>"
    if report.now != first:
        yield f"<p>As they are now: {_text(share_text(report.now))}.</p>"
    if report.open_units:
        yield f"<p>{report.open_units} without a result yet.</p>"
    yield "</div></section>"


def _know(report: BatchReport) -> Iterator[str]:
    if not report.findings:
        yield "<p>Nothing stands out: no unit failed, and the charts are calm.</p>"
        return
    yield "<h2>What to know first</h2>"
    yield '<ul class="know">'
    yield from (f"<li>{_apart(sentence)}</li>" for sentence in report.findings)
    yield "</ul>"


def _strip(report: BatchReport) -> Iterator[str]:
    """Every unit as a field, in the order in which they came."""
    if not report.units:
        return
    yield "<h2>Every unit</h2>"
    yield '<div class="strip">'
    before = report.units[0].spools
    for number, line in enumerate(report.units, start=1):
        sort = _sort(line)
        words = [sort, "again" if line.stays > 1 else "", "spool" if line.spools != before else ""]
        before = line.spools
        mark = {"fail": "✖", "doubt": "?", "none": "◌"}.get(sort, "")
        title = f"{line.serial}: {outcome_text(line)}{f'; {line.why}' if line.why else ''}"
        classes = " ".join(word for word in words if word)
        yield f'<div class="{classes}" title="{_text(title, 200)}">{mark}{number}</div>'
    yield "</div>"
    yield f'<p class="key">{_text(STRIP_KEY)}</p>'


def _sort(line: UnitLine) -> str:
    if line.outcome is None:
        return "none"
    if line.outcome is Outcome.CANNOT_JUDGE:
        return "doubt"
    if passed(line):
        return "near" if line.outcome is Outcome.CONDITIONAL_PASS else "good"
    return "fail"


def _rows(report: BatchReport, drawn: Mapping[str, str]) -> Iterator[str]:
    if not report.series:
        return
    yield "<h2>Charts</h2>"
    yield f'<p class="small">{_text(LEGEND)}</p>'
    for number, series in enumerate(report.series, start=1):
        yield '<section class="row">'
        yield f"<h3>{_apart(series.name)} <span>{_apart(series.pair)}, {_text(_limits(series))}</span></h3>"
        for name in (f"row-{number}", f"means-{number}"):
            if name in drawn:
                yield drawn[name]
        yield '<div class="figures">'
        yield from (
            f"<div><span>{_text(name)}</span>{_text(value)}</div>" for name, value in figures_of(series)
        )
        yield "</div><ul>"
        told = [*sentences_of(series), *series.mean_sentences]
        yield from (f"<li>{_apart(sentence)}</li>" for sentence in told)
        yield "</ul>"
        if groups := [(_apart(a), _apart(b), c, _text(d)) for a, b, c, d in groups_of(series)]:
            yield from _table(("by", "", "values", "mean (95 %)"), groups, (14, 30, 12, 44), tight=True)
        yield "</section>"


def _limits(series: Series) -> str:
    low, high = value_text(series, series.lower), value_text(series, series.upper)
    if series.lower is None and series.upper is None:
        return "no limits"
    if series.lower is None or series.upper is None:
        return f"at most {high}" if series.lower is None else f"at least {low}"
    return f"limits {low} to {high}"


def _diagnoses(report: BatchReport, drawn: Mapping[str, str]) -> Iterator[str]:
    if not report.pareto:
        return
    yield "<h2>What was found</h2>"
    if "pareto" in drawn:
        yield f'<div class="row">{drawn["pareto"]}</div>'
    else:
        bar = report.pareto[0]
        yield f"<p>{bar.count} × {_apart(bar.kind)}.</p>"


def _yields(report: BatchReport) -> Iterator[str]:
    if not report.yields:
        return
    yield "<h2>Yield of each step</h2>"
    rows = []
    for each in report.yields:
        of = each.passed
        bad = ' class="bad"' if of.count < of.of else ""
        track = (
            f'<span class="track"><i style="left:{100 * of.low:.1f}%;right:{100 * (1 - of.high):.1f}%"></i>'
            f'<b style="left:{min(99.2, 100 * of.share):.1f}%"></b></span>'
        )
        sort = {"step": "measured", "rule": "rule over windings", "typed": "typed in"}[each.sort]
        rows.append((_apart(each.name), sort, f"<span{bad}>{_text(share_text(of))}</span>", track))
    yield from _table(("step", "", "passed at first (95 % interval)", "0 to 100 %"), rows, (26, 20, 27, 27))


def _about(report: BatchReport) -> Iterator[str]:
    yield "<h2>The batch</h2>"
    yield '<dl class="pairs">'
    yield from (
        f"<div><dt>{_text(name)}</dt><dd>{_apart(value)}</dd></div>" for name, value in facts_of(report)
    )
    yield "</dl>"
    if report.deeds:
        rows = [(moment(deed.utc_s), _apart(deed_text(deed))) for deed in report.deeds]
        yield from _table(("UTC", "what was done"), rows, (18, 82))


def _units(report: BatchReport) -> Iterator[str]:
    lines = report.units
    heading = "All units"
    if len(lines) > MOST_ROWS:
        lines = tuple(line for line in lines if not passed(line) or line.stays > 1)
        heading = f"Units that did not pass at once, of {len(report.units)}"
    if not lines:
        return
    yield f"<h2>{heading}</h2>"
    values = [{point.serial: point for point in series.points} for series in report.series]
    heads = ("serial", *(series.name for series in report.series), "result", "why")
    widths = (12.0, *(52.0 / max(1, len(values)) for _ in values), 12.0, 24.0)
    rows = []
    for line in lines:
        cells = []
        for series, of in zip(report.series, values, strict=True):
            point = of.get(line.serial)
            text = _text(value_text(series, point.value if point else None, 5))
            bad = point is not None and point.outcome in FAILING
            cells.append(f'<span class="bad-text">{text}</span>' if bad else text)
        again = f" ({line.stays}×)" if line.stays > 1 else ""
        result = _text(outcome_text(line) + again)
        result = result if passed(line) else f'<span class="bad-text">{result}</span>'
        rows.append((_apart(line.serial), *cells, result, _apart(line.why)))
    yield from _table([_apart(head) for head in heads], rows, widths, tight=True)


def _notes(report: BatchReport) -> Iterator[str]:
    yield "<h2>How to read this</h2>"
    yield from (f'<p class="small">{_text(note)}</p>' for note in notes_of(report))


def _table(
    heads: Iterable[str], rows: Iterable[tuple[str, ...]], widths: Iterable[float], *, tight: bool = False
) -> Iterator[str]:
    """A table; cells are HTML already."""
    yield f"<table{' class=tight' if tight else ''}><colgroup>"
    yield from (f'<col style="width:{width:.1f}%">' for width in widths)
    yield "</colgroup><thead><tr>" + "".join(f"<th>{head}</th>" for head in heads) + "</tr></thead><tbody>"
    yield from ("<tr>" + "".join(f"<td>{cell}</td>" for cell in row) + "</tr>" for row in rows)
    yield "</tbody></table>"
