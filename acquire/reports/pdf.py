"""Prints a document as PDF, drawn with fpdf2: the blocks of `html_page`. The same document, the same bytes.

Not for fonts, line breaks and pages (pdf_sheet).
"""

from __future__ import annotations

from functools import singledispatch
from importlib.metadata import version
from io import BytesIO
from itertools import pairwise
from typing import Literal

from acquire.reports import document as doc
from acquire.reports.code import code_squares
from acquire.reports.document import COLOUR, INK, Mark, Tone
from acquire.reports.logo import shape_of
from acquire.reports.pdf_sheet import Sheet, high_of

SIGNED_MM = 66.0
"""Height of a signature with the code below it: they stay together."""

BODY, SMALL, CELL, CAPTION = 9.0, 7.6, 8.0, 7.0
"""Sizes of type, points."""

GAP = 1.1
"""Between the columns of a table, and above and below its text, millimetres."""


def as_pdf(document: doc.Document) -> bytes:
    """The file. Raises SteadyohmError where what draws PDF is not installed."""
    sheet = Sheet(document.size, document.running or document.title, document.written_utc_s)
    sheet.pdf.set_title(f"{document.title} {document.subtitle}")
    sheet.pdf.set_producer("steadyohm")
    sheet.pdf.set_creator(drawn_with())
    _head(document, sheet)
    for block, after in pairwise([*document.blocks, None]):
        if isinstance(block, doc.Heading) and isinstance(after, doc.Table):
            sheet.room(min(12.0 + _table_high(after, sheet), 0.6 * sheet.page_high))
        if isinstance(block, doc.Signing) and isinstance(after, doc.Code):
            sheet.room(SIGNED_MM)
        if block is not None:
            put(block, sheet)
    if document.attached:
        sheet.attach(document.attached_name, document.attached)
    return sheet.done()


def drawn_with() -> str:
    """Versions of what draws PDF: other ones may give other bytes."""
    return ", ".join(f"{name} {version(name)}" for name in ("fpdf2", "fonttools", "segno"))


def _head(document: doc.Document, sheet: Sheet) -> None:
    head, top = document.head, sheet.y
    if head is not None:
        x = sheet.left
        if head.logo:
            x += sheet.picture(head.logo, x, top, 45.0, 18.0) + 5.0
        texts = [(head.name, 12.5, True, INK), *((line, 8.4, False, "#333333") for line in head.lines)]
        for text, points, bold, ink in texts:
            for line in sheet.lines(text, sheet.left + sheet.width - x, points=points, bold=bold):
                sheet.line(line, x, sheet.y, points=points, bold=bold, ink=ink)
                sheet.y += high_of(points)
        sheet.y = max(sheet.y, top + 18.0) if head.logo else sheet.y
        sheet.rule(sheet.y + 2.5, thick=0.5)
        sheet.y += 7.0
    sheet.paragraph(document.title, points=16.5, bold=True)
    for line in sheet.lines(document.subtitle, sheet.width):
        sheet.line(line, sheet.left, sheet.y, ink="#333333")
        sheet.y += high_of(BODY)
    sheet.y += 1.0


@singledispatch
def put(block: doc.Block, sheet: Sheet) -> None:
    """Draw one block where the sheet has got to."""
    raise TypeError(f"page {sheet.pdf.page_no()} of a document holds a {type(block).__name__}")


@put.register
def _(block: doc.Heading, sheet: Sheet) -> None:
    sheet.room(32.0)  # with something below it
    sheet.y += 3.6 if block.level == 2 else 2.0
    beside = f"  {block.beside}" if block.beside else ""
    ink = INK if block.level == 2 else "#111111"
    sheet.paragraph(block.text + beside, points=10.2, bold=True, ink=ink)
    if block.level == 2:
        sheet.rule(sheet.y + 0.6, ink="#9fb6be", thick=0.2)
    sheet.y += 2.0


@put.register
def _(block: doc.Text, sheet: Sheet) -> None:
    if block.tone is Tone.CAUTION:
        _boxed(sheet, [(block.text, BODY, True)], "#111111")
        return
    small = block.tone is Tone.SMALL
    ink, points = ("#333333", SMALL) if small else ("#111111", BODY)
    sheet.paragraph(block.text, points=points, bold=block.tone is Tone.STRONG, ink=ink)
    sheet.y += 0.9


def _boxed(sheet: Sheet, texts: list[tuple[str, float, bool]], ink: str, indent: float = 4.6) -> float:
    """Texts in a frame with a broad left edge; where its first line stands."""
    rows = [
        (line, points, bold)
        for text, points, bold in texts
        for line in sheet.lines(text, sheet.width - indent - 3.4, points=points, bold=bold)
    ]
    high = sum(high_of(points) for _, points, _ in rows) + 3.2
    sheet.room(high + 2.0)
    sheet.pdf.set_draw_color("#999999")
    sheet.pdf.set_line_width(0.3)
    sheet.pdf.rect(sheet.left, sheet.y, sheet.width, high)
    sheet.box(sheet.left, sheet.y, 1.8, high, ink)
    top = y = sheet.y + 1.6
    for line, points, bold in rows:
        sheet.line(line, sheet.left + indent, y, points=points, bold=bold)
        y += high_of(points)
    sheet.y += high + 2.0
    return top


@put.register
def _(block: doc.Bullets, sheet: Sheet) -> None:
    for text in block.texts:
        sheet.room(high_of(BODY))
        sheet.line("•", sheet.left + 0.8, sheet.y, points=BODY)
        sheet.paragraph(text, points=BODY, indent=4.2)
        sheet.y += 0.5


@put.register
def _(block: doc.KeyValues, sheet: Sheet) -> None:
    half, named = (sheet.width - 8.0) / 2.0, 32.0
    for at in range(0, len(block.rows), 2):
        row = block.rows[at : at + 2]
        texts = [sheet.lines(value, half - named, points=BODY) for _, value in row]
        high = high_of(BODY, max(map(len, texts))) + 0.8
        sheet.room(high)
        for number, ((name, _), lines) in enumerate(zip(row, texts, strict=True)):
            x = sheet.left + number * (half + 8.0)
            sheet.line(name, x, sheet.y, points=BODY, ink="#444444")
            for count, line in enumerate(lines):
                sheet.line(line, x + named, sheet.y + count * high_of(BODY), points=BODY)
        sheet.y += high


@put.register
def _(block: doc.Result, sheet: Sheet) -> None:
    texts = [(block.word, 14.5, True), *((text, BODY, False) for text in block.texts if text)]
    top = _boxed(sheet, texts, COLOUR[block.mark], indent=16.0)
    sheet.line(block.mark, sheet.left + 5.5, top - 0.6, points=17.0, ink=COLOUR[block.mark])


@put.register
def _(block: doc.Picture, sheet: Sheet) -> None:
    if not block.png:
        return
    high = sheet.width / shape_of(block.png)
    sheet.room(high + 6.0)
    sheet.pdf.image(BytesIO(block.png), sheet.left, sheet.y, w=sheet.width)
    sheet.y += high + 1.0
    if block.caption:
        sheet.paragraph(block.caption, points=SMALL, ink="#333333")


@put.register
def _(block: doc.Strip, sheet: Sheet) -> None:
    wide, high = sheet.width / 20.0, 6.0
    for at in range(0, len(block.squares), 20):
        sheet.room(high)
        for place, square in enumerate(block.squares[at : at + 20]):
            x, text = sheet.left + place * wide, f"{square.mark}{square.number}{'·' if square.again else ''}"
            if square.spool:
                sheet.box(x - 0.5, sheet.y, 0.8, high - 1.0, INK)
            sheet.line(text, x + 0.8, sheet.y + 0.6, points=SMALL, ink=COLOUR[square.mark])
        sheet.y += high
    sheet.paragraph(block.key, points=SMALL, ink="#333333")


@put.register
def _(block: doc.Signing, sheet: Sheet) -> None:
    sheet.room(24.0)
    sheet.y += 11.0
    sheet.stroke(sheet.left, sheet.y, sheet.left + 80.0, sheet.y, thick=0.3)
    sheet.y += 1.0
    sheet.paragraph(f"{block.role}: {block.name}", points=BODY)
    sheet.paragraph(block.date, points=BODY)
    sheet.y += 3.0


@put.register
def _(block: doc.Code, sheet: Sheet) -> None:
    side, runs = code_squares(block.text)
    edge = 30.0
    lines = [line for text in block.lines for line in sheet.lines(text, sheet.width - edge - 5.0, points=8.0)]
    high = max(edge, high_of(8.0, len(lines))) + 2.0
    sheet.room(high + 7.0)  # the end mark never stands on a page alone
    square = edge / side
    for column, row, length in runs:
        sheet.box(sheet.left + column * square, sheet.y + row * square, length * square, square * 1.02)
    for number, line in enumerate(lines):
        sheet.line(line, sheet.left + edge + 5.0, sheet.y + 1.0 + number * high_of(8.0), points=8.0)
    sheet.y += high


@put.register
def _(block: doc.End, sheet: Sheet) -> None:
    sheet.room(high_of(BODY) + 3.0)
    sheet.y += 3.0
    sheet.line(block.text, sheet.left, sheet.y, points=BODY, ink="#333333", width=sheet.width, align="C")
    sheet.y += high_of(BODY)


# ---------------------------------------------------------------- tables


def _side(right: bool) -> Literal["L", "R"]:
    return "R" if right else "L"


Rows = list[tuple[list[list[str]], float]]
"""The lines of each cell of each row, and how high the row becomes."""


def _laid(table: doc.Table, sheet: Sheet) -> tuple[list[float], list[list[str]], Rows]:
    whole = sum(column.share for column in table.columns)
    widths = [sheet.width * column.share / whole for column in table.columns]
    insides = [width - 2 * GAP for width in widths]
    heads = [
        sheet.lines(column.head, inside, points=CELL, bold=True)
        for column, inside in zip(table.columns, insides, strict=True)
    ]
    rows: Rows = []
    for row in table.rows:
        texts = [_cell_lines(cell, inside, sheet) for cell, inside in zip(row, insides, strict=True)]
        rows.append((texts, high_of(CELL, max((len(lines) for lines in texts), default=1)) + 1.6 * GAP))
    return widths, heads, rows


def _cell_lines(cell: doc.Cell, width: float, sheet: Sheet) -> list[str]:
    if isinstance(cell, str):
        return sheet.lines(cell, width, points=CELL)
    return sheet.lines(cell.text, width - 4.0, points=CELL) if isinstance(cell, doc.Marked) else [""]


def _table_high(table: doc.Table, sheet: Sheet) -> float:
    return 2 * high_of(CELL) + sum(high for _, high in _laid(table, sheet)[2])


@put.register
def _(block: doc.Table, sheet: Sheet) -> None:
    widths, heads, rows = _laid(block, sheet)
    _heads(block, heads, widths, sheet)
    for row, (texts, high) in zip(block.rows, rows, strict=True):
        if sheet.y + high > sheet.bottom:
            sheet.new_page()
            _heads(block, heads, widths, sheet)
        x = sheet.left
        for cell, lines, column, width in zip(row, texts, block.columns, widths, strict=True):
            _cell(cell, lines, (x + GAP, width - 2 * GAP), sheet, right=column.right)
            x += width
        sheet.y += high
        sheet.rule(sheet.y, ink="#c9d3d7", thick=0.15)
    sheet.y += 1.8


def _heads(table: doc.Table, heads: list[list[str]], widths: list[float], sheet: Sheet) -> None:
    most = max(map(len, heads))
    high = high_of(CELL, most) + 1.4 * GAP
    sheet.room(high + 3 * high_of(CELL))
    x = sheet.left
    for column, width, lines in zip(table.columns, widths, heads, strict=True):
        for number, line in enumerate(lines, start=most - len(lines)):
            y = sheet.y + 0.7 * GAP + number * high_of(CELL)
            inside, side = width - 2 * GAP, _side(column.right)
            sheet.line(line, x + GAP, y, points=CELL, bold=True, width=inside, align=side)
        x += width
    sheet.y += high
    sheet.rule(sheet.y, thick=0.35)


def _cell(cell: doc.Cell, lines: list[str], place: tuple[float, float], sheet: Sheet, *, right: bool) -> None:
    x, width = place
    top = sheet.y + GAP * 0.8
    if isinstance(cell, doc.Scale):
        _scale(cell, x, width, sheet)
    elif isinstance(cell, doc.Bar):
        sheet.box(x, top + 0.6, max(0.4, width * cell.share), 2.2, COLOUR[Mark.FAIL])
    elif isinstance(cell, doc.Marked):
        sheet.line(cell.mark, x, top, points=CELL, ink=COLOUR[cell.mark])
        x, width = x + 4.0, width - 4.0
    for number, line in enumerate(lines):
        y = top + number * high_of(CELL)
        sheet.line(line, x, y, points=CELL, width=width, align=_side(right))


def _scale(scale: doc.Scale, x: float, width: float, sheet: Sheet) -> None:
    """Limits as posts, the value as a diamond, its interval as a beam."""
    middle = sheet.y + GAP * 0.8 + high_of(CELL) / 2

    def at(value: float) -> float:
        return x + 1.0 + (width - 2.0) * scale.at(value)

    sheet.stroke(x, middle, x + width, middle, ink="#bbbbbb", thick=0.2)
    for end in (scale.lower, scale.upper):
        if end is not None:
            sheet.stroke(at(end), middle - 1.6, at(end), middle + 1.6, ink="#333333", thick=0.4)
    sheet.stroke(at(scale.low), middle, at(scale.high), middle, ink=INK, thick=0.6)
    centre = at(scale.value)
    sheet.pdf.set_fill_color(INK)
    diamond = [(centre - 0.8, middle), (centre, middle - 1.0), (centre + 0.8, middle), (centre, middle + 1.0)]
    sheet.pdf.polygon(diamond, style="F")


# ---------------------------------------------------------------- small plots


@put.register
def _(block: doc.Plots, sheet: Sheet) -> None:
    many, high, apart = block.in_a_row, 19.0, 5.0
    wide = (sheet.width - apart * (many - 1)) / many
    for at in range(0, len(block.plots), many):
        row = block.plots[at : at + many]
        texts = [
            [
                *((line, True) for line in sheet.lines(plot.title, wide, points=CAPTION, bold=True)),
                *((line, False) for line in sheet.lines(plot.caption, wide, points=CAPTION)),
            ]
            for plot in row
        ]
        said = high_of(CAPTION, max(map(len, texts))) + 0.8
        sheet.room(said + high + 3.0)
        for number, (plot, lines) in enumerate(zip(row, texts, strict=True)):
            x = sheet.left + number * (wide + apart)
            for count, (line, bold) in enumerate(lines):
                sheet.line(line, x, sheet.y + count * high_of(CAPTION), points=CAPTION, bold=bold)
            _curve(plot, (x, sheet.y + said), (wide, high), sheet)
        sheet.y += said + high + 3.0


def _curve(plot: doc.Plot, corner: tuple[float, float], size: tuple[float, float], sheet: Sheet) -> None:
    (x, y), (wide, high) = corner, size
    sheet.stroke(x, y, x, y + high, ink="#777777")
    sheet.stroke(x, y + high, x + wide, y + high, ink="#777777")
    inside, across = plot.places(wide, high)
    if across is not None:
        sheet.pdf.set_dash_pattern(dash=1.2, gap=0.9)
        sheet.stroke(x, y + across, x + wide, y + across, ink=COLOUR[Mark.FAIL])
        sheet.pdf.set_dash_pattern()
    places = [(x + px, y + py) for px, py in inside]
    for one, two in pairwise(places):
        sheet.stroke(*one, *two, ink=INK, thick=0.2)
    sheet.pdf.set_fill_color(INK)
    for px, py in places:
        sheet.pdf.circle(px, py, 0.35, style="F")
