"""Drawings by matplotlib as SVG within a page: small, with text as text, the same bytes each time.

What the library writes for a file of its own is taken out: its style for everything, names that nothing
refers to; the names that are left get a prefix, so that several drawings fit on one page. Not for what is
drawn (batch_pictures).
"""

from __future__ import annotations

import contextlib
import io
import re
import warnings
from collections.abc import Iterator
from html import escape
from typing import TYPE_CHECKING, Any

from acquire.errors import LibraryMissing

if TYPE_CHECKING:
    from matplotlib.figure import Figure

FONTS = "DejaVu Sans, Liberation Sans, Arial, sans-serif"
"""The library measures by the first, which it brings along; others are near enough where that is missing."""

PLAIN: dict[Any, Any] = {
    "svg.fonttype": "none",
    "svg.hashsalt": "steadyohm",
    "font.family": "DejaVu Sans",
    "font.size": 8.5,
    "axes.linewidth": 0.6,
    "axes.edgecolor": "#777777",
    "axes.labelcolor": "#333333",
    "xtick.color": "#333333",
    "ytick.color": "#333333",
    "xtick.major.width": 0.6,
    "ytick.major.width": 0.6,
    "axes.spines.top": False,
    "axes.spines.right": False,
    "axes.axisbelow": True,
    "path.simplify": False,
    "text.parse_math": False,
    "savefig.transparent": True,
}

MM_PER_INCH = 25.4

_REFERS = re.compile(r'(?:href="#|url\(#)([^")]+)')


@contextlib.contextmanager
def plain_style() -> Iterator[None]:
    """Draw in here: our lines and fonts, no formulas in anybody's text, no complaint about foreign letters.

    Raises:
        LibraryMissing: matplotlib is not installed.
    """
    try:
        import matplotlib as mpl  # noqa: PLC0415  (half a second; an optional package)
    except ImportError as missing:
        raise LibraryMissing(
            "Drawings need matplotlib, which is not installed.",
            'Install it with: pip install "steadyohm[reports]".',
        ) from missing
    with mpl.rc_context(PLAIN), warnings.catch_warnings():
        warnings.filterwarnings("ignore", message="Glyph")
        yield


def figure(width_mm: float, height_mm: float) -> Figure:
    """An empty drawing of this size; within `plain_style`."""
    from matplotlib.figure import Figure as Drawing  # noqa: PLC0415  (as above)

    return Drawing(figsize=(width_mm / MM_PER_INCH, height_mm / MM_PER_INCH))


def as_svg(drawing: Figure, name: str, told: str) -> str:
    """The `<svg>` element of a drawing; within `plain_style`.

    Args:
        drawing: finished.
        name: letters and digits; different for every drawing on a page.
        told: what it shows, in one sentence, for those who cannot see it.
    """
    out = io.StringIO()
    drawing.savefig(out, format="svg", metadata={"Date": None, "Creator": None, "Format": None, "Type": None})
    text = out.getvalue()
    text = text[text.index("<svg") :].rstrip()
    text = re.sub(r"\s*<metadata>.*?</metadata>", "", text, flags=re.DOTALL)
    text = re.sub(r'\s*<style type="text/css">.*?</style>', "", text, flags=re.DOTALL)
    text = text.replace("font-family: 'DejaVu Sans'; ", "")  # the page's own letters
    text = re.sub(r"font: (?:\d+ )?([\d.]+px) 'DejaVu Sans'", r"font-size: \1", text)
    used = set(_REFERS.findall(text))
    text = re.sub(r' id="([^"]+)"', lambda m: f' id="{name}-{m[1]}"' if m[1] in used else "", text)
    text = _REFERS.sub(lambda m: m[0][: m.start(1) - m.start(0)] + f"{name}-{m[1]}", text)
    head = re.compile(r'<svg [^>]*?viewBox="([^"]+)"[^>]*>')
    found = head.match(text)
    box = found[1] if found else "0 0 100 100"
    begins = (
        f'<svg xmlns="http://www.w3.org/2000/svg" xmlns:xlink="http://www.w3.org/1999/xlink" viewBox="{box}" '
        f'role="img" stroke-linejoin="round" font-family="{FONTS}">\n<title>{escape(told)}</title>'
    )
    return head.sub(lambda _: begins, text, count=1)
