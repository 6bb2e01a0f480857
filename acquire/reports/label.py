"""The label for a unit: serial, verdict word, date, and a QR code with the serial and the result's id.

Drawn in millimetres of any size a label printer takes, as SVG or as a PDF of one page. Not for certificates.
"""

from __future__ import annotations

import html
from collections.abc import Iterator
from dataclasses import dataclass
from datetime import UTC, datetime

from acquire.errors import InputImpossible
from acquire.records import Outcome, Purpose
from acquire.reports.certificate_words import OUTCOMES
from acquire.reports.code import code_squares
from acquire.reports.document import MARK_OF, shown
from acquire.reports.visits import Visit

LEAST_MM, MOST_MM = 10.0, 200.0
"""Sides of a label that are drawn."""

EDGE = 0.06
"""Free border, as a share of the shorter side."""

LEAST_SQUARE_MM = 0.25
"""Side of a square of the code: two dots of a label printer of 203 dots an inch. A finer code is left out."""

WIDE = 0.62
"""Width of a letter as a share of the type's size, for DejaVu Sans and its like; for choosing the size."""


@dataclass(frozen=True, slots=True)
class LabelFacts:
    """What stands on the label.

    Attributes:
        result_id: of the entry of the unit's result.
        heading: name of the shop, empty for none.
        id_in_code: the code also holds the result's id, behind the serial and a space. Left out, it holds the
            serial alone: a scanner at the bench hands over what it reads, and that starts the unit.
    """

    serial: str
    sheet: str
    outcome: Outcome
    purpose: Purpose
    utc_s: float
    result_id: str
    heading: str = ""
    id_in_code: bool = False

    @property
    def code_text(self) -> str:
        """What the QR code holds."""
        return f"{self.serial} {self.result_id}" if self.id_in_code else self.serial

    @property
    def date(self) -> str:
        """UTC day of the result."""
        return datetime.fromtimestamp(self.utc_s, UTC).strftime("%Y-%m-%d")


@dataclass(frozen=True, slots=True)
class Line:
    """One line of text: its left and lower end and its size, millimetres."""

    text: str
    x: float
    y: float
    size: float
    bold: bool = False


@dataclass(frozen=True, slots=True)
class Drawing:
    """A label laid out.

    Attributes:
        lines: of text.
        squares: dark rectangles of the code as (x, y, width, height).
    """

    width: float
    height: float
    lines: tuple[Line, ...]
    squares: tuple[tuple[float, float, float, float], ...]


def label_of(visit: Visit, heading: str = "", *, id_in_code: bool = False) -> LabelFacts:
    """The label of a visit. Raises InputImpossible where it did not end with an outcome."""
    result, outcome = visit.result, visit.outcome
    if result is None or outcome is None:
        raise InputImpossible(f"{visit.started.serial} has no verdict for a label yet.")
    ids = visit.result_id, heading, id_in_code
    return LabelFacts(result.serial, result.sheet, outcome, result.purpose, result.utc_s, *ids)


def laid_out(facts: LabelFacts, width_mm: float, height_mm: float) -> Drawing:
    """Place everything on a label of this size: the code at the left, or above on a tall one.

    Args:
        facts: what stands on it.
        width_mm: 10 to 200.
        height_mm: 10 to 200.

    Raises:
        InputImpossible: the size is none of a label.
    """
    if not (LEAST_MM <= width_mm <= MOST_MM and LEAST_MM <= height_mm <= MOST_MM):
        raise InputImpossible(
            f"A label of {width_mm:g} by {height_mm:g} mm cannot be drawn.",
            f"Each side measures {LEAST_MM:g} to {MOST_MM:g} mm.",
        )
    edge = EDGE * min(width_mm, height_mm)
    tall = height_mm > width_mm
    inside = width_mm - 2 * edge, height_mm - 2 * edge
    room = min(*inside, 0.5 * max(inside))
    squares = tuple(
        _code(
            facts.code_text,
            edge if not tall else (width_mm - room) / 2,
            edge if tall else (height_mm - room) / 2,
            room,
        )
    )
    taken = room + edge if squares else 0.0
    if tall:
        box = edge, edge + taken, inside[0], inside[1] - taken
    else:
        box = edge + taken, edge, inside[0] - taken, inside[1]
    return Drawing(width_mm, height_mm, tuple(_lines(facts, *box)), squares)


def _code(text: str, left: float, top: float, room: float) -> Iterator[tuple[float, float, float, float]]:
    """The dark squares of the code; none where they would be too small, or the serial is too long for one."""
    try:
        side, runs = code_squares(text)
    except ValueError:
        return
    square = room / side
    if square >= LEAST_SQUARE_MM:
        yield from (
            (left + column * square, top + row * square, n * square, square) for column, row, n in runs
        )


def _lines(facts: LabelFacts, left: float, top: float, width: float, height: float) -> Iterator[Line]:
    """Serial, verdict, unit type, date, result and heading: as large as fits, the serial first."""
    wanted = [
        (facts.serial, 1.0, True),
        (f"{MARK_OF[facts.outcome]} {OUTCOMES[facts.outcome]}", 1.0, True),
        (facts.sheet, 0.7, False),
        (f"{facts.purpose}, {facts.date}", 0.7, False),
        (facts.heading, 0.6, False),
        (f"No. {facts.result_id}", 0.5, False),
    ]
    kept = [(shown(text, 80).replace("\n", "⟨U+000A⟩"), share, bold) for text, share, bold in wanted if text]
    unit = height / (1.25 * sum(share for _, share, _ in kept))
    y = top
    for text, share, bold in kept:
        y += 1.25 * unit * share
        size = min(unit * share, width / (WIDE * len(text)))
        yield Line(text, left, y - 0.3 * unit * share, size, bold)


def as_svg(drawing: Drawing) -> bytes:
    """The label as an SVG file of its size."""
    size = f'width="{drawing.width:g}mm" height="{drawing.height:g}mm"'
    box = f'viewBox="0 0 {drawing.width:g} {drawing.height:g}"'
    parts = [
        f'<svg xmlns="http://www.w3.org/2000/svg" {size} {box}>',
        '<rect width="100%" height="100%" fill="#fff"/>',
    ]
    path = "".join(f"M{x:.3f} {y:.3f}h{w:.3f}v{h:.3f}h-{w:.3f}z" for x, y, w, h in drawing.squares)
    if path:
        parts.append(f'<path d="{path}" fill="#000"/>')
    for line in drawing.lines:
        weight = ' font-weight="bold"' if line.bold else ""
        fit = (
            f' textLength="{_wide(line, drawing):.2f}" lengthAdjust="spacingAndGlyphs"'
            if _tight(line, drawing)
            else ""
        )
        parts.append(
            f'<text x="{line.x:.2f}" y="{line.y:.2f}" font-size="{line.size:.2f}"{weight}{fit} '
            f'font-family="DejaVu Sans,Arial,sans-serif" direction="ltr" unicode-bidi="isolate-override">'
            f"{html.escape(line.text)}</text>"
        )
    return "\n".join([*parts, "</svg>", ""]).encode("utf-8")


def _wide(line: Line, drawing: Drawing) -> float:
    return drawing.width - line.x - EDGE * min(drawing.width, drawing.height)


def _tight(line: Line, drawing: Drawing) -> bool:
    """Whether the line was made small to fit, so that another font might run over the edge."""
    return WIDE * line.size * len(line.text) >= 0.98 * _wide(line, drawing)


def as_pdf(drawing: Drawing, title: str, written_utc_s: float) -> bytes:
    """The label as a PDF of one page of its size. Raises SteadyohmError."""
    from acquire.reports.pdf_sheet import POINT_MM, Sheet  # noqa: PLC0415  (an extra)

    sheet = Sheet((drawing.width, drawing.height), "", written_utc_s)
    sheet.pdf.set_title(shown(title, 80))
    sheet.pdf.set_fill_color("#000000")
    for x, y, wide, high in drawing.squares:
        sheet.pdf.rect(x, y, wide, high * 1.02, style="F")
    for line in drawing.lines:
        points = line.size / POINT_MM
        sheet.font(points, bold=line.bold)
        text = sheet.printable(line.text, bold=line.bold)
        room, wide = _wide(line, drawing), sheet.pdf.get_string_width(text)
        if wide > room:
            points *= room / wide
        sheet.line(text, line.x, line.y - 1.05 * points * POINT_MM, points=points, bold=line.bold)
    return sheet.done()
