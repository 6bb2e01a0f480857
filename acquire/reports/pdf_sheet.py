"""A sheet of paper in a PDF: fonts that go along in the file, lines of text that break, pages that follow.

Everything is placed in millimetres from the upper left corner; the same calls give the same bytes. Needs
fpdf2, and DejaVu Sans as matplotlib ships it. Not for what stands on the sheet (pdf).
"""

from __future__ import annotations

import importlib.util
import warnings
from datetime import UTC, datetime
from functools import cache
from io import BytesIO
from pathlib import Path
from typing import TYPE_CHECKING, Any, Literal

from acquire.errors import InputImpossible, SteadyohmError
from acquire.reports.document import INK, shown
from acquire.reports.logo import shape_of

if TYPE_CHECKING:
    from fpdf import FPDF

SIZES_MM = {"A4": (210.0, 297.0), "Letter": (215.9, 279.4)}
MARGIN_MM = 15.0
FOOT_MM = 17.0
"""Kept free at the bottom for the running line."""

POINT_MM = 25.4 / 72.0
LEADING = 1.32
"""Distance of lines as a multiple of the type's size."""

PAGES = "{nb}"
"""Stands for the number of pages until that is known; the library puts it in."""

EXTRA = 'Install it with: pip install "steadyohm[reports]".'


@cache
def _font_file(name: str) -> Path:
    """A DejaVu font as matplotlib ships it; found without importing matplotlib, which takes a second."""
    for library in ("fpdf", "matplotlib"):
        if importlib.util.find_spec(library) is None:
            raise SteadyohmError(f"PDF needs the Python library {library}, which is not installed.", EXTRA)
    found = importlib.util.find_spec("matplotlib")
    for place in (found and found.submodule_search_locations) or ():
        if (file := Path(place, "mpl-data", "fonts", "ttf", f"{name}.ttf")).is_file():
            return file
    raise SteadyohmError(f"PDF needs the font {name} that matplotlib ships; it is not there.", EXTRA)


def high_of(points: float, lines: int = 1) -> float:
    """Height of lines of text, millimetres."""
    return lines * points * POINT_MM * LEADING


class Sheet:
    """Pages of a PDF under construction.

    Attributes:
        pdf: fpdf2's document.
        y: where the next thing goes, millimetres from the top of the present page.
        left, width: where lines begin, and between the margins.
    """

    def __init__(self, size: str | tuple[float, float], running: str, written_utc_s: float) -> None:
        """Begin the first page.

        Args:
            size: a key of `SIZES_MM`, or width and height in millimetres.
            running: at the foot of each page; empty for pages without a foot.
            written_utc_s: the date in the file's own description.
        """
        files = {"": _font_file("DejaVuSans"), "B": _font_file("DejaVuSans-Bold")}
        with warnings.catch_warnings():
            warnings.simplefilter("ignore")  # of a library that complains of its own neighbours
            from fpdf import FPDF  # noqa: PLC0415  (an extra)

        wide, self.page_high = SIZES_MM[size] if isinstance(size, str) else size
        self.pdf: FPDF = FPDF(unit="mm", format=(wide, self.page_high))
        self.written = datetime.fromtimestamp(written_utc_s, UTC)
        self.pdf.set_creation_date(self.written)
        self.pdf.set_auto_page_break(auto=False)
        self.pdf.set_margin(0.0)
        self.pdf.c_margin = 0.0
        self.pdf.set_lang("en")
        self.pdf.alias_nb_pages(PAGES)
        for style, file in files.items():
            self.pdf.add_font("paper", style, str(file))
        fonts: Any = self.pdf.fonts  # the fonts of fpdf2's own have no table of letters; these two have
        self._known = {style: set(fonts[f"paper{style}"].cmap) for style in files}
        self.left, self.width = MARGIN_MM, wide - 2.0 * MARGIN_MM
        self.bottom = self.page_high - FOOT_MM
        self.running = running
        self.y = MARGIN_MM
        self.new_page()

    def new_page(self) -> None:
        """Begin a page, with its foot."""
        self.pdf.add_page()
        self.y = MARGIN_MM
        if self.running:
            foot = self.page_high - 10.0
            self.line(self.running, self.left, foot, points=7.5, ink="#333333")
            number = f"page {self.pdf.page_no()} of {PAGES}"
            self.line(number, self.left + self.width - 22.0, foot, points=7.5, ink="#333333")

    def room(self, height: float) -> None:
        """Begin a new page unless this one has room for so many millimetres."""
        if self.y + height > self.bottom and self.y > MARGIN_MM:
            self.new_page()

    def font(self, points: float, *, bold: bool = False, ink: str = "#111111") -> None:
        """Choose type and colour for what follows."""
        self.pdf.set_font("paper", "B" if bold else "", points)
        self.pdf.set_text_color(ink)

    def line(
        self,
        text: str,
        x: float,
        y: float,
        *,
        points: float = 9.0,
        bold: bool = False,
        ink: str = "#111111",
        width: float = 0.0,
        align: Literal["L", "R", "C"] = "L",
    ) -> None:
        """One line of text with its upper edge at `y`."""
        self.font(points, bold=bold, ink=ink)
        self.pdf.set_xy(x, y)
        text = self.printable(text, bold=bold)
        self.pdf.cell(width or self.pdf.get_string_width(text) + 0.1, high_of(points), text, align=align)

    def lines(self, text: str, width: float, *, points: float = 9.0, bold: bool = False) -> list[str]:
        """Text broken into lines of at most this width, at spaces, and within words that are too long."""
        self.font(points, bold=bold)
        width = max(width, 1.2 * points * POINT_MM)
        broken: Any = self.pdf.multi_cell(
            width, text=self.printable(text, bold=bold), align="L", dry_run=True, output="LINES"
        )
        return [str(line).rstrip(" ") for line in broken] or [""]

    def printable(self, text: str, *, bold: bool = False) -> str:
        """Text without letters that the font lacks: those are written out as ⟨U+4E00⟩."""
        known = self._known["B" if bold else ""]
        text = shown(text).replace("\u00ad", "⟨U+00AD⟩")  # a soft hyphen is a place to break for the library
        return "".join(c if ord(c) in known or c == "\n" else f"⟨U+{ord(c):04X}⟩" for c in text)

    def paragraph(
        self, text: str, *, points: float = 9.0, bold: bool = False, indent: float = 0.0, ink: str = "#111111"
    ) -> None:
        """Lines from here on, on further pages where this one ends."""
        for line in self.lines(text, self.width - indent, points=points, bold=bold):
            self.room(high_of(points))
            self.line(line, self.left + indent, self.y, points=points, bold=bold, ink=ink)
            self.y += high_of(points)

    def rule(self, y: float, *, ink: str = INK, thick: float = 0.3) -> None:
        """A line across the sheet."""
        self.stroke(self.left, y, self.left + self.width, y, ink=ink, thick=thick)

    def stroke(
        self, x1: float, y1: float, x2: float, y2: float, *, ink: str = "#111111", thick: float = 0.2
    ) -> None:
        """A straight line."""
        self.pdf.set_draw_color(ink)
        self.pdf.set_line_width(thick)
        self.pdf.line(x1, y1, x2, y2)

    def box(self, x: float, y: float, width: float, height: float, ink: str = "#000000") -> None:
        """A filled rectangle."""
        self.pdf.set_fill_color(ink)
        self.pdf.rect(x, y, width, height, style="F")

    def picture(self, content: bytes, x: float, y: float, width: float, height: float) -> float:
        """A logo, as large as fits into a box, at its upper left; how wide it has become.

        Raises:
            InputImpossible: it cannot be drawn in a PDF.
        """
        wide = min(width, height * shape_of(content))
        try:
            with warnings.catch_warnings():
                warnings.simplefilter("ignore")  # parts of an SVG that cannot be drawn are left out
                self.pdf.image(BytesIO(content), x, y, w=wide)
        except (ArithmeticError, AttributeError, LookupError, OSError, TypeError, ValueError) as error:
            what = f"The logo cannot be drawn in a PDF: {error}."
            raise InputImpossible(what, "Use a plain SVG or a PNG.") from error
        return wide

    def attach(self, name: str, text: str) -> None:
        """Put a file into the PDF, uncompressed, so that it can be found by anybody who looks."""
        self.pdf.embed_file(
            bytes=text.encode("ascii"), basename=name, mime_type="application/json",
            creation_date=self.written, modification_date=self.written, desc="the facts of this paper",
        )  # fmt: skip

    def done(self) -> bytes:
        """The file; nothing can be drawn any more."""
        fonts: Any = self.pdf.fonts
        try:
            return bytes(self.pdf.output())
        finally:
            for font in fonts.values():
                font.ttfont.close()
