"""A sheet of paper in a PDF: fonts that go along in the file, lines of text that break, pages that follow.

Everything is placed in millimetres from the upper left corner. The same calls give the same bytes: the date
is given, and no page count is patched in afterwards. Needs fpdf2, and DejaVu Sans as matplotlib ships it.
Not for what stands on the sheet (pdf_paper).
"""

from __future__ import annotations

import importlib.util
import warnings
from collections.abc import Iterator
from datetime import UTC, datetime
from functools import cache, lru_cache
from io import BytesIO
from pathlib import Path
from typing import TYPE_CHECKING, Any, Literal

from acquire.errors import InputImpossible, SteadyohmError
from acquire.reports.logo import shape_of
from acquire.reports.paper import shown

if TYPE_CHECKING:
    from fpdf import FPDF

SIZES_MM = {"A4": (210.0, 297.0), "Letter": (215.9, 279.4)}
MARGIN_MM = 15.0
FOOT_MM = 17.0
"""Kept free at the bottom for the running line."""

POINT_MM = 25.4 / 72.0
LEADING = 1.32
"""Distance of lines as a multiple of the type's size."""

EXTRA = 'Install it with: pip install "steadyohm[reports]".'


def need_reports() -> None:
    """Make sure that what draws PDF is there.

    Raises:
        SteadyohmError: with the extra to install.
    """
    for name in ("fpdf", "matplotlib"):
        if importlib.util.find_spec(name) is None:
            raise SteadyohmError(f"PDF needs the Python library {name}, which is not installed.", EXTRA)


@cache
def _font_file(name: str) -> Path:
    """A DejaVu font as matplotlib ships it; found without importing matplotlib, which takes a second."""
    found = importlib.util.find_spec("matplotlib")
    places = [] if found is None else list(found.submodule_search_locations or ())
    for place in places:
        if (file := Path(place, "mpl-data", "fonts", "ttf", f"{name}.ttf")).is_file():
            return file
    raise SteadyohmError(f"PDF needs the font {name} that matplotlib ships; it is not there.", EXTRA)


class Sheet:
    """Pages of a PDF under construction.

    Attributes:
        pdf: fpdf2's document.
        y: where the next thing goes, millimetres from the top of the present page.
        width: between the margins.
    """

    def __init__(
        self, size: str | tuple[float, float], running: str, written_utc_s: float, pages: int = 0
    ) -> None:
        """Begin the first page.

        Args:
            size: a key of `SIZES_MM`, or width and height in millimetres.
            running: at the foot of each page; empty for pages without a foot.
            written_utc_s: the date in the file's own description.
            pages: how many there will be; 0 while that is being found out.
        """
        need_reports()
        with warnings.catch_warnings():
            warnings.simplefilter("ignore")  # of a library that complains of its own neighbours
            from fpdf import FPDF  # noqa: PLC0415  (an extra)

        self.page_wide, self.page_high = SIZES_MM[size] if isinstance(size, str) else size
        self.pdf: FPDF = FPDF(unit="mm", format=(self.page_wide, self.page_high))
        self.pdf.set_creation_date(datetime.fromtimestamp(written_utc_s, UTC))
        self.pdf.set_auto_page_break(auto=False)
        self.pdf.set_margin(0.0)
        self.pdf.c_margin = 0.0
        self.pdf.set_lang("en")
        self.pdf.add_font("paper", "", str(_font_file("DejaVuSans")))
        self.pdf.add_font("paper", "B", str(_font_file("DejaVuSans-Bold")))
        self.width = self.page_wide - 2.0 * MARGIN_MM
        self.left = MARGIN_MM
        self.running, self.pages = running, pages
        self.y = 0.0
        fonts: Any = self.pdf.fonts  # the fonts of fpdf2's own have no table of letters; these two have
        self._known = {style: set(fonts[f"paper{style}"].cmap) for style in ("", "B")}
        self.new_page()

    @property
    def bottom(self) -> float:
        """Lowest place that may be printed on."""
        return self.page_high - FOOT_MM

    def new_page(self) -> None:
        """Begin a page, with its foot."""
        self.pdf.add_page()
        number = self.pdf.page_no()
        self.y = MARGIN_MM
        if not self.running:
            return
        foot = self.page_high - 10.0
        of = f" of {self.pages}" if self.pages else ""
        self.line(self.running, self.left, foot, points=7.5, ink="#333333")
        self.line(
            f"page {number}{of}", self.left, foot, points=7.5, ink="#333333", width=self.width, align="R"
        )

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
        self.pdf.cell(
            width or self.pdf.get_string_width(text) + 0.1, points * POINT_MM * LEADING, text, align=align
        )

    def lines(self, text: str, width: float, *, points: float = 9.0, bold: bool = False) -> list[str]:
        """Text broken into lines of at most this width, at spaces, and within words that are too long."""
        self.font(points, bold=bold)
        ready = self.printable(text, bold=bold)
        return [line for part in ready.split("\n") for line in self._broken(part, width)]

    def printable(self, text: str, *, bold: bool = False) -> str:
        """Text without letters that the font lacks: those are written out as ⟨U+4E00⟩."""
        known = self._known["B" if bold else ""]
        if all(ord(letter) in known for letter in text):
            return shown(text)
        return shown("".join(each if _kept(each, known) else f"⟨U+{ord(each):04X}⟩" for each in text))

    def _broken(self, text: str, width: float) -> Iterator[str]:
        line = ""
        for word in text.split(" "):
            longer = f"{line} {word}" if line else word
            if self.pdf.get_string_width(longer) <= width:
                line = longer
                continue
            if line:
                yield line
            line = word
            while self.pdf.get_string_width(line) > width and len(line) > 1:
                fits = self._fitting(line, width)
                yield line[:fits]
                line = line[fits:]
        yield line

    def _fitting(self, text: str, width: float) -> int:
        """How many letters of a word fit; one at least."""
        low, high = 1, len(text)
        while low < high:
            middle = (low + high + 1) // 2
            if self.pdf.get_string_width(text[:middle]) <= width:
                low = middle
            else:
                high = middle - 1
        return low

    def rule(self, y: float, *, ink: str = "#1d4e5f", thick: float = 0.3) -> None:
        """A line across the sheet."""
        self.stroke(self.left, y, self.left + self.width, y, ink=ink, thick=thick)

    def stroke(
        self, x1: float, y1: float, x2: float, y2: float, *, ink: str = "#111111", thick: float = 0.2
    ) -> None:
        """A straight line."""
        self.pdf.set_draw_color(ink)
        self.pdf.set_line_width(thick)
        self.pdf.line(x1, y1, x2, y2)

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
            raise InputImpossible(
                f"The logo cannot be drawn in a PDF: {error}.", "Use a plain SVG or a PNG."
            ) from error
        return wide

    def attach(self, name: str, text: str, written_utc_s: float) -> None:
        """Put a file into the PDF, uncompressed, so that it can be found by anybody who looks."""
        when = datetime.fromtimestamp(written_utc_s, UTC)
        self.pdf.embed_file(
            bytes=text.encode("ascii"),
            basename=name,
            creation_date=when,
            modification_date=when,
            mime_type="application/json",
            desc="the facts of this paper",
        )

    def done(self) -> bytes:
        """The file; nothing can be drawn any more."""
        try:
            return bytes(self.pdf.output())
        finally:
            self.close()

    def close(self) -> None:
        """Give the font files back."""
        fonts: Any = self.pdf.fonts
        for font in fonts.values():
            font.ttfont.close()


@lru_cache(maxsize=4096)
def _always(letter: str) -> bool:
    return letter in "\n " or shown(letter) != letter


def _kept(letter: str, known: set[int]) -> bool:
    """Whether the font has it, or `shown` takes care of it."""
    return ord(letter) in known or _always(letter)
