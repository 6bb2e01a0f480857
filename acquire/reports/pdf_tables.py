"""Tables and small plots in a PDF. Not for paragraphs and the rest of a paper (pdf_paper)."""

from __future__ import annotations

from itertools import pairwise
from typing import Literal

from acquire.reports.paper import Cell, Column, Mark, Marked, Plot, Plots, Scale, Table
from acquire.reports.paper_style import COLOUR, INK
from acquire.reports.pdf_sheet import LEADING, POINT_MM, Sheet

CELL, CAPTION = 8.0, 7.0
"""Sizes of type, points."""

GAP = 1.1
"""Between the columns of a table, and above and below its text, millimetres."""


def high_of(points: float, lines: int = 1) -> float:
    """Height of lines of text, millimetres."""
    return lines * points * POINT_MM * LEADING


def _widths(table: Table, sheet: Sheet) -> list[float]:
    whole = sum(column.share for column in table.columns)
    return [sheet.width * column.share / whole for column in table.columns]


def _row_lines(row: tuple[Cell, ...], widths: list[float], sheet: Sheet) -> tuple[list[list[str]], float]:
    """The lines of each cell, and how high the row becomes."""
    texts = [_cell_lines(cell, width - 2 * GAP, sheet) for cell, width in zip(row, widths, strict=True)]
    return texts, high_of(CELL, max((len(lines) for lines in texts), default=1)) + 2 * GAP * 0.8


def table_high(table: Table, sheet: Sheet) -> float:
    """Height of a whole table, millimetres."""
    widths = _widths(table, sheet)
    return 2 * high_of(CELL) + sum(_row_lines(row, widths, sheet)[1] for row in table.rows)


def put_table(block: Table, sheet: Sheet) -> None:
    """Draw a table; its heads come again on each new page."""
    widths = _widths(block, sheet)
    _heads(block.columns, widths, sheet)
    for row in block.rows:
        texts, high = _row_lines(row, widths, sheet)
        if sheet.y + high > sheet.bottom:
            sheet.new_page()
            _heads(block.columns, widths, sheet)
        x = sheet.left
        for cell, lines, column, width in zip(row, texts, block.columns, widths, strict=True):
            _cell(cell, lines, (x, width), column, sheet)
            x += width
        sheet.y += high
        sheet.rule(sheet.y, ink="#c9d3d7", thick=0.15)
    sheet.y += 1.8


def _side(column: Column) -> Literal["L", "R"]:
    return "R" if column.right else "L"


def _heads(columns: tuple[Column, ...], widths: list[float], sheet: Sheet) -> None:
    texts = [
        sheet.lines(column.head, width - 2 * GAP, points=CELL, bold=True)
        for column, width in zip(columns, widths, strict=True)
    ]
    most = max(map(len, texts))
    high = high_of(CELL, most) + 2 * GAP * 0.7
    sheet.room(high + 3 * high_of(CELL))
    x = sheet.left
    for column, width, lines in zip(columns, widths, texts, strict=True):
        top = sheet.y + GAP * 0.7 + high_of(CELL, most - len(lines))
        for number, line in enumerate(lines):
            y = top + number * high_of(CELL)
            side = _side(column)
            sheet.line(line, x + GAP, y, points=CELL, bold=True, width=width - 2 * GAP, align=side)
        x += width
    sheet.y += high
    sheet.rule(sheet.y, thick=0.35)


def _cell_lines(cell: Cell, width: float, sheet: Sheet) -> list[str]:
    match cell:
        case Scale():
            return [""]
        case Marked():
            return sheet.lines(cell.text, width - 4.0, points=CELL)
        case _:
            return sheet.lines(cell, width, points=CELL)


def _cell(cell: Cell, lines: list[str], place: tuple[float, float], column: Column, sheet: Sheet) -> None:
    x, width = place[0] + GAP, place[1] - 2 * GAP
    top = sheet.y + GAP * 0.8
    if isinstance(cell, Scale):
        _scale(cell, x, width, sheet)
        return
    if isinstance(cell, Marked):
        sheet.line(cell.mark, x, top, points=CELL, ink=COLOUR[cell.mark])
        x, width = x + 4.0, width - 4.0
    for number, line in enumerate(lines):
        y = top + number * high_of(CELL)
        sheet.line(line, x, y, points=CELL, width=width, align=_side(column))


def _scale(scale: Scale, x: float, width: float, sheet: Sheet) -> None:
    """Limits as posts, the value as a diamond, its uncertainty as a beam."""
    middle = sheet.y + GAP * 0.8 + high_of(CELL) / 2

    def at(value: float) -> float:
        return x + 1.0 + (width - 2.0) * scale.at(value)

    sheet.stroke(x, middle, x + width, middle, ink="#bbbbbb", thick=0.2)
    for end in (scale.lower, scale.upper):
        if end is not None:
            sheet.stroke(at(end), middle - 1.6, at(end), middle + 1.6, ink="#333333", thick=0.4)
    left, right = at(scale.value - scale.expanded), at(scale.value + scale.expanded)
    sheet.stroke(left, middle, right, middle, ink=INK, thick=0.6)
    centre = at(scale.value)
    sheet.pdf.set_fill_color(INK)
    diamond = [(centre - 0.8, middle), (centre, middle - 1.0), (centre + 0.8, middle), (centre, middle + 1.0)]
    sheet.pdf.polygon(diamond, style="F")


def put_plots(block: Plots, sheet: Sheet) -> None:
    """Draw small plots, three or four in a row."""
    many, high, apart = block.in_a_row, 19.0, 5.0
    wide = (sheet.width - apart * (many - 1)) / many
    for at in range(0, len(block.plots), many):
        row = block.plots[at : at + many]
        texts = [_caption_lines(plot, wide, sheet) for plot in row]
        said = high_of(CAPTION, max(map(len, texts))) + 0.8
        sheet.room(said + high + 3.0)
        for number, (plot, lines) in enumerate(zip(row, texts, strict=True)):
            x = sheet.left + number * (wide + apart)
            for count, (line, bold) in enumerate(lines):
                sheet.line(line, x, sheet.y + count * high_of(CAPTION), points=CAPTION, bold=bold)
            _curve(plot, (x, sheet.y + said), (wide, high), sheet)
        sheet.y += said + high + 3.0


def _caption_lines(plot: Plot, width: float, sheet: Sheet) -> list[tuple[str, bool]]:
    named = [(line, True) for line in sheet.lines(plot.title, width, points=CAPTION, bold=True)]
    return named + [(line, False) for line in sheet.lines(plot.caption, width, points=CAPTION)]


def _curve(plot: Plot, corner: tuple[float, float], size: tuple[float, float], sheet: Sheet) -> None:
    (x, y), (wide, high) = corner, size
    left, right, low, top = plot.box()

    def place(at_s: float, ohm: float) -> tuple[float, float]:
        return x + wide * (at_s - left) / (right - left), y + high * (1.0 - (ohm - low) / (top - low))

    sheet.stroke(x, y, x, y + high, ink="#777777")
    sheet.stroke(x, y + high, x + wide, y + high, ink="#777777")
    if plot.settled is not None:
        across = place(left, plot.settled)[1]
        sheet.pdf.set_dash_pattern(dash=1.2, gap=0.9)
        sheet.stroke(x, across, x + wide, across, ink=COLOUR[Mark.FAIL])
        sheet.pdf.set_dash_pattern()
    places = [place(*point) for point in plot.points]
    for one, two in pairwise(places):
        sheet.stroke(*one, *two, ink=INK, thick=0.2)
    sheet.pdf.set_fill_color(INK)
    for px, py in places:
        sheet.pdf.circle(px, py, 0.35, style="F")
