"""Prints a paper as PDF: the same blocks as `paper_html`, drawn with fpdf2. The same paper, the same bytes.

Not for fonts, line breaks and pages (pdf_sheet).
"""

from __future__ import annotations

from functools import singledispatch
from importlib.metadata import version
from itertools import pairwise

from acquire.reports.code import code_squares
from acquire.reports.paper import (
    Block,
    Code,
    End,
    Finding,
    Pairs,
    Paper,
    Plots,
    Points,
    Signing,
    Table,
    Title,
    Tone,
    Words,
)
from acquire.reports.paper_style import COLOUR, INK
from acquire.reports.pdf_sheet import Sheet
from acquire.reports.pdf_tables import high_of, put_plots, put_table, table_high

SIGNED_MM = 66.0
"""Height of a signature with the code below it: they stay together."""

BODY, SMALL = 9.0, 7.6
"""Sizes of type, points."""


def as_pdf(paper: Paper) -> bytes:
    """The file. Drawn twice: the first time to learn how many pages there are.

    Raises:
        SteadyohmError: what draws PDF is not installed.
    """
    draft = _printed(paper, 0)
    draft.close()
    return _printed(paper, draft.pdf.pages_count).done()


def drawn_with() -> str:
    """Versions of what draws PDF: other ones may give other bytes."""
    return ", ".join(f"{name} {version(name)}" for name in ("fpdf2", "fonttools", "segno"))


def _printed(paper: Paper, pages: int) -> Sheet:
    sheet = Sheet(paper.size, paper.running, paper.written_utc_s, pages)
    sheet.pdf.set_title(f"{paper.title} {paper.subtitle}")
    sheet.pdf.set_producer("steadyohm")
    sheet.pdf.set_creator(drawn_with())
    _head(paper, sheet)
    for block, after in pairwise([*paper.blocks, None]):
        if isinstance(block, Title) and isinstance(after, Table):
            sheet.room(min(12.0 + table_high(after, sheet), 0.6 * sheet.page_high))
        if isinstance(block, Signing) and isinstance(after, Code):
            sheet.room(SIGNED_MM)
        if block is not None:
            put(block, sheet)
    if paper.attached:
        sheet.attach(paper.attached_name, paper.attached, paper.written_utc_s)
    return sheet


def _head(paper: Paper, sheet: Sheet) -> None:
    x, top = sheet.left, sheet.y
    if paper.head.logo:
        x += sheet.picture(paper.head.logo, x, top, 45.0, 18.0) + 5.0
    wide = sheet.left + sheet.width - x
    y = top
    for line in sheet.lines(paper.head.name, wide, points=12.5, bold=True):
        sheet.line(line, x, y, points=12.5, bold=True, ink=INK)
        y += high_of(12.5)
    for text in paper.head.lines:
        for line in sheet.lines(text, wide, points=8.4):
            sheet.line(line, x, y, points=8.4, ink="#333333")
            y += high_of(8.4)
    y = max(y, top + 18.0) if paper.head.logo else y
    sheet.rule(y + 2.5, thick=0.5)
    y += 7.0
    sheet.line(paper.title, sheet.left, y, points=16.5, bold=True)
    sheet.line(paper.subtitle, sheet.left, y + 2.0, points=9.0, ink="#333333", width=sheet.width, align="R")
    sheet.y = y + high_of(16.5) + 2.0


def _paragraph(
    sheet: Sheet,
    text: str,
    *,
    points: float = BODY,
    bold: bool = False,
    indent: float = 0.0,
    ink: str = "#111111",
) -> None:
    for line in sheet.lines(text, sheet.width - indent, points=points, bold=bold):
        sheet.room(high_of(points))
        sheet.line(line, sheet.left + indent, sheet.y, points=points, bold=bold, ink=ink)
        sheet.y += high_of(points)


@singledispatch
def put(block: Block, sheet: Sheet) -> None:
    """Draw one block where the sheet has got to."""
    raise TypeError(f"page {sheet.pdf.page_no()} of a paper holds a {type(block).__name__}")


@put.register
def _(block: Title, sheet: Sheet) -> None:
    sheet.room(32.0)  # with something below it
    sheet.y += 3.6
    sheet.line(block.text, sheet.left, sheet.y, points=10.2, bold=True, ink=INK)
    sheet.y += high_of(10.2) + 0.6
    sheet.rule(sheet.y, ink="#9fb6be", thick=0.2)
    sheet.y += 1.4


@put.register
def _(block: Words, sheet: Sheet) -> None:
    if block.tone is Tone.CAUTION:
        _caution(block.text, sheet)
        return
    small = block.tone is Tone.SMALL
    _paragraph(
        sheet,
        block.text,
        points=SMALL if small else BODY,
        bold=block.tone is Tone.STRONG,
        ink="#333333" if small else "#111111",
    )
    sheet.y += 0.9


def _caution(text: str, sheet: Sheet) -> None:
    lines = sheet.lines(text, sheet.width - 8.0, points=BODY, bold=True)
    high = high_of(BODY, len(lines)) + 3.2
    sheet.room(high + 2.0)
    sheet.pdf.set_draw_color("#111111")
    sheet.pdf.set_line_width(0.3)
    sheet.pdf.rect(sheet.left, sheet.y, sheet.width, high)
    sheet.pdf.set_fill_color("#111111")
    sheet.pdf.rect(sheet.left, sheet.y, 1.6, high, style="F")
    for number, line in enumerate(lines):
        sheet.line(line, sheet.left + 4.6, sheet.y + 1.6 + number * high_of(BODY), points=BODY, bold=True)
    sheet.y += high + 2.0


@put.register
def _(block: Points, sheet: Sheet) -> None:
    for text in block.texts:
        sheet.room(high_of(BODY))
        sheet.line("•", sheet.left + 0.8, sheet.y, points=BODY)
        _paragraph(sheet, text, indent=4.2)
        sheet.y += 0.5


@put.register
def _(block: Pairs, sheet: Sheet) -> None:
    half, named = (sheet.width - 8.0) / 2.0, 28.0
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
def _(block: Finding, sheet: Sheet) -> None:
    sheet.font(14.5, bold=True)
    beside = 18.0 + sheet.pdf.get_string_width(block.word) + 5.0
    lines = sheet.lines(block.text, sheet.width - beside - 3.0, points=BODY)
    high = max(13.0, high_of(BODY, len(lines)) + 5.0)
    sheet.room(high + 3.0)
    sheet.pdf.set_draw_color("#999999")
    sheet.pdf.set_line_width(0.3)
    sheet.pdf.rect(sheet.left, sheet.y, sheet.width, high)
    sheet.pdf.set_fill_color(COLOUR[block.mark])
    sheet.pdf.rect(sheet.left, sheet.y, 2.4, high, style="F")
    middle = sheet.y + high / 2.0
    ink = COLOUR[block.mark]
    sheet.line(
        block.mark, sheet.left + 6.0, middle - high_of(20.0) / 2, points=20.0, ink=ink, width=9.0, align="C"
    )
    sheet.line(block.word, sheet.left + 18.0, middle - high_of(14.5) / 2, points=14.5, bold=True)
    top = middle - high_of(BODY, len(lines)) / 2
    for number, line in enumerate(lines):
        sheet.line(line, sheet.left + beside, top + number * high_of(BODY), points=BODY)
    sheet.y += high + 3.0


put.register(Table, put_table)
put.register(Plots, put_plots)


@put.register
def _(block: Signing, sheet: Sheet) -> None:
    sheet.room(23.0)
    sheet.y += 10.0
    sheet.stroke(sheet.left, sheet.y, sheet.left + 80.0, sheet.y, thick=0.3)
    sheet.y += 1.0
    _paragraph(sheet, f"{block.role}: {block.name}")
    _paragraph(sheet, block.date)
    sheet.y += 3.0


@put.register
def _(block: Code, sheet: Sheet) -> None:
    side, runs = code_squares(block.text)
    edge = 30.0
    lines = [line for text in block.lines for line in sheet.lines(text, sheet.width - edge - 5.0, points=8.0)]
    high = max(edge, high_of(8.0, len(lines))) + 2.0
    sheet.room(high + 7.0)  # the end mark never stands on a page alone
    square = edge / side
    sheet.pdf.set_fill_color("#000000")
    for column, row, length in runs:
        sheet.pdf.rect(
            sheet.left + column * square, sheet.y + row * square, length * square, square * 1.02, style="F"
        )
    for number, line in enumerate(lines):
        sheet.line(line, sheet.left + edge + 5.0, sheet.y + 1.0 + number * high_of(8.0), points=8.0)
    sheet.y += high


@put.register
def _(block: End, sheet: Sheet) -> None:
    sheet.room(high_of(BODY) + 3.0)
    sheet.y += 3.0
    sheet.line(block.text, sheet.left, sheet.y, points=BODY, ink="#333333", width=sheet.width, align="C")
    sheet.y += high_of(BODY)
