"""A batch's report in a terminal: words, tables, and each row of values as a strip of marks. No colour alone.

Not for figures (batch) nor for a page (batch_html).
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence

from rich import box
from rich.console import Group, RenderableType
from rich.padding import Padding
from rich.table import Table
from rich.text import Text

from acquire.records import Outcome
from acquire.reports.batch import BatchReport, UnitLine
from acquire.reports.batch_series import Series
from acquire.reports.batch_words import (
    CAUTION,
    deed_text,
    facts_of,
    figures_of,
    groups_of,
    moment,
    outcome_text,
    passed,
    sentences_of,
    share_text,
    title_of,
)
from acquire.reports.paper import shown

GOOD, BAD, DIM = "bright_blue", "bold dark_orange", "dim"
"""As at the bench: blue for good, orange for bad, apart for colour-blind eyes."""

ROWS = 9
"""Lines of a chart."""

LONGEST = 2000
"""Characters of one text."""

WIDEST = 100
"""Columns of a chart; of longer rows neighbours share one, and the furthest off is shown."""


def shown_report(report: BatchReport) -> RenderableType:
    """The whole report."""
    return Group(*_parts(report))


def _say(text: str, style: str = "") -> Text:
    """Text from anybody: nothing in it moves the cursor or turns the line around."""
    return Text(shown(text, LONGEST), style=style)


def _parts(report: BatchReport) -> Iterator[RenderableType]:
    yield _say(f"Batch {report.name}", style="bold").append(_say(f"   {title_of(report)}", "not bold"))
    yield _say("")
    bad = report.first_pass.count < report.first_pass.of
    yield _say("  passed at first   ", style=DIM).append(
        share_text(report.first_pass), style=BAD if bad else GOOD
    )
    if report.now != report.first_pass:
        yield _say("  as they are now   ", style=DIM).append(share_text(report.now), style="default")
    yield _say("")
    for sentence in report.findings:
        yield Padding(_say(f"• {sentence}"), (0, 0, 0, 2))
    if not report.findings:
        yield _say("  Nothing stands out: no unit failed, and the charts are calm.")
    yield _say("")
    yield _strip(report.units)
    for series in report.series:
        yield _say("")
        yield from _row(series)
    yield _say("")
    yield _yields(report)
    if report.pareto:
        yield _say("")
        yield _pareto(report)
    yield _say("")
    yield _about(report)
    yield from _failed(report)
    yield _say("")
    yield _say(CAUTION, style=DIM)


def _strip(units: Sequence[UnitLine]) -> Text:
    """Every unit as a mark, twenty a line."""
    text = _say("  ")
    for number, line in enumerate(units):
        if number and number % 20 == 0:
            text.append(f" {number:>4}\n  ", style=DIM)
        mark, style = _mark(line)
        text.append(mark, style=style)
    return text.append("\n  ● passed  ◑ near a limit  ✖ failed  ? cannot judge  ◌ no result", style=DIM)


def _mark(line: UnitLine) -> tuple[str, str]:
    if line.outcome is None:
        return "◌", "yellow"
    if line.outcome is Outcome.CANNOT_JUDGE:
        return "?", "yellow"
    if not passed(line):
        return "✖", BAD
    return ("◑" if line.outcome is Outcome.CONDITIONAL_PASS else "●"), GOOD


def _row(series: Series) -> Iterator[RenderableType]:
    yield _say(series.name, style="bold").append(_say(f"  {series.pair}", f"not bold {DIM}"))
    yield from _chart(series)
    table = Table.grid(padding=(0, 1, 0, 0))
    pairs = list(figures_of(series))
    for start in range(0, len(pairs), 2):
        cells = [_say(text, style=style) for pair in pairs[start : start + 2] for text, style in
                 zip(pair, (DIM, "default"), strict=True)]  # fmt: skip
        table.add_row(*cells)
    table.columns[1].min_width = 22
    yield Padding(table, (0, 0, 0, 2))
    if groups := list(groups_of(series)):
        by = Table.grid(padding=(0, 2, 0, 0))
        for what, name, count, mean in groups:
            by.add_row(_say(f"by {what}", DIM), _say(name), _say(count, DIM), _say(mean))
        yield Padding(by, (0, 0, 0, 2))
    for sentence in [*sentences_of(series), *series.mean_sentences]:
        yield Padding(_say(f"· {sentence}"), (0, 0, 0, 2))


def _chart(series: Series) -> Iterator[Text]:
    """Values between the sheet's limits, a column each; a line where the spool changes."""
    values = [point.value for point in series.points]
    low = min([*values, *([series.lower] if series.lower is not None else [])])
    high = max([*values, *([series.upper] if series.upper is not None else [])])
    if not high > low:
        return
    columns = _columns(series)
    step = (high - low) / (ROWS - 1)
    grid = [[" "] * len(columns) for _ in range(ROWS)]
    for x, (value, mark) in enumerate(columns):
        y = ROWS - 1 - round((value - low) / step)
        if mark == "│":
            for line in grid:
                line[x] = "│"
        else:
            grid[y][x] = mark
    limits = {round((high - each) / step) for each in (series.lower, series.upper) if each is not None}
    for number, line in enumerate(grid):
        limit = number in limits
        label = f"{high - number * step:10.4g} "
        text = _say(label, style=DIM).append("┤" if limit else "│", style=DIM)
        for mark in line:
            text.append(mark, style={"✖": BAD, "◆": BAD}.get(mark, GOOD if mark == "●" else DIM))
        yield text.append(" limit" if limit else "", style=DIM)


def _columns(series: Series) -> list[tuple[float, str]]:
    """What stands in each column: a value with its mark, or a line where the spool changes."""
    points = series.points
    share = -(-len(points) // WIDEST)
    beyond, columns, before = set(series.beyond()), [], points[0].spool
    middle = sorted(point.value for point in points)[len(points) // 2]
    for start in range(0, len(points), share):
        block = range(start, min(start + share, len(points)))
        place = max(block, key=lambda i: (points[i].outcome is Outcome.FAIL, abs(points[i].value - middle)))
        point = points[place]
        if point.spool != before and share == 1:
            columns.append((point.value, "│"))
        before = point.spool
        failed = point.outcome in (Outcome.FAIL, Outcome.CONDITIONAL_FAIL)
        columns.append((point.value, "✖" if failed else "◆" if place in beyond else "●"))
    return columns


def _table(*heads: str) -> Table:
    table = Table(box=box.SIMPLE_HEAD, pad_edge=False, padding=(0, 1), show_edge=False)
    for head in heads:
        table.add_column(head, header_style="bold")
    return table


def _yields(report: BatchReport) -> Table:
    table = _table("step", "passed at first")
    for each in report.yields:
        bad = each.passed.count < each.passed.of
        table.add_row(_say(each.name), _say(share_text(each.passed), style=BAD if bad else "default"))
    return table


def _pareto(report: BatchReport) -> Table:
    table = _table("what was found", "units", "")
    longest = report.pareto[0].count
    for bar in report.pareto:
        table.add_row(
            _say(bar.kind), str(bar.count), _say("█" * max(1, round(30 * bar.count / longest)), style=BAD)
        )
    return table


def _about(report: BatchReport) -> RenderableType:
    table = Table.grid(padding=(0, 2))
    for name, value in facts_of(report):
        table.add_row(_say(name, style=DIM), _say(value))
    for deed in report.deeds:
        table.add_row(_say(moment(deed.utc_s), style=DIM), _say(deed_text(deed)))
    return Padding(table, (0, 0, 0, 2))


def _failed(report: BatchReport) -> Iterator[RenderableType]:
    """Units that did not pass at once, or came more than once."""
    lines = [line for line in report.units if not passed(line) or line.stays > 1]
    if not lines:
        return
    yield _say("")
    table = _table("unit", "result", "why")
    for line in lines:
        again = f" ({line.stays} times)" if line.stays > 1 else ""
        style = BAD if line.outcome is not None and not passed(line) else "default"
        table.add_row(_say(line.serial), _say(outcome_text(line) + again, style=style), _say(line.why))
    yield table
