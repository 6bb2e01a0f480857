"""A printed paper as a list of blocks: what certificates and reports are made of before they become a page.

Two printers draw the same blocks: `paper_html` for browsers, `pdf_paper` for PDF. Text may come from anybody:
both print it through `shown`. Not for drawing, and not for what a paper says.
"""

from __future__ import annotations

import re
import unicodedata
from collections.abc import Iterator
from dataclasses import dataclass
from enum import StrEnum

from acquire.quantity import show
from acquire.records import Outcome

LONGEST = 600
"""Characters of one text that are printed; the rest is counted."""

FIRM = "\u00a0"
"""A space at which no line breaks, between a number and its unit."""

UNIT_BEHIND = re.compile(r"(?<=[0-9]) (?=(?:%|[mµkMG]?Ω|°C|kHz|Hz|mm|V\b))")
"""The space between a number and its unit, where no line should break."""

KEPT = frozenset("\n")
HIDDEN = frozenset({"Cc", "Cf", "Cs", "Co", "Cn", "Zl", "Zp"})
"""Categories of Unicode that print nothing, or turn the order of what stands around them."""


class Tone(StrEnum):
    """How a paragraph speaks."""

    PLAIN = "plain"
    STRONG = "strong"
    CAUTION = "caution"
    SMALL = "small"


class Mark(StrEnum):
    """A verdict as a shape, so that no colour is needed to read it; the terminal's shapes."""

    PASS = "●"  # noqa: S105  (a verdict, not a password)
    NEAR_PASS = "◑"  # noqa: S105
    NEAR_FAIL = "◒"
    FAIL = "✖"
    ASKING = "?"


MARK_OF = {
    Outcome.PASS: Mark.PASS,
    Outcome.CONDITIONAL_PASS: Mark.NEAR_PASS,
    Outcome.CONDITIONAL_FAIL: Mark.NEAR_FAIL,
    Outcome.FAIL: Mark.FAIL,
    Outcome.CANNOT_JUDGE: Mark.ASKING,
}


@dataclass(frozen=True, slots=True)
class Title:
    """A heading within the paper."""

    text: str


@dataclass(frozen=True, slots=True)
class Words:
    """A paragraph."""

    text: str
    tone: Tone = Tone.PLAIN


@dataclass(frozen=True, slots=True)
class Points:
    """Sentences, one below the other, each with a dot."""

    texts: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class Pairs:
    """What is what: names with their values, two pairs side by side where there is room."""

    rows: tuple[tuple[str, str], ...]


@dataclass(frozen=True, slots=True)
class Finding:
    """The verdict of the whole, large."""

    mark: Mark
    word: str
    text: str


@dataclass(frozen=True, slots=True)
class Scale:
    """A value with its uncertainty between its limits, drawn; None where one is missing or open."""

    lower: float | None
    upper: float | None
    value: float
    expanded: float

    def span(self) -> tuple[float, float]:
        """First and last value of the drawing: the limits with a margin, and the value in any case."""
        ends = [end for end in (self.lower, self.upper) if end is not None] or [self.value]
        if len(ends) == 1 and ends[0] != self.value:
            ends.append(self.value)
        reach = max(ends) - min(ends) or 4.0 * self.expanded or abs(self.value) or 1.0
        margin = 0.25 * reach
        low, high = min(*ends, self.value), max(*ends, self.value)
        return low - margin, high + margin

    def at(self, value: float) -> float:
        """Where a value lies on the drawing, 0 to 1."""
        low, high = self.span()
        return min(1.0, max(0.0, (value - low) / (high - low)))


@dataclass(frozen=True, slots=True)
class Marked:
    """A cell with a verdict's mark before its word."""

    mark: Mark
    text: str


Cell = str | Scale | Marked


@dataclass(frozen=True, slots=True)
class Column:
    """One column of a table.

    Attributes:
        share: of the table's width; the columns' shares are taken together.
        right: numbers stand to the right.
    """

    head: str
    share: float
    right: bool = False


@dataclass(frozen=True, slots=True)
class Table:
    """Rows under heads; the heads come again on each new page."""

    columns: tuple[Column, ...]
    rows: tuple[tuple[Cell, ...], ...]


@dataclass(frozen=True, slots=True)
class Plot:
    """Readings over time, small.

    Attributes:
        points: (seconds, ohms).
        settled: drawn as a line across; None: none.
    """

    title: str
    caption: str
    points: tuple[tuple[float, float], ...]
    settled: float | None = None

    def box(self) -> tuple[float, float, float, float]:
        """First and last second, least and largest ohms drawn."""
        seconds = [at for at, _ in self.points] or [0.0]
        ohms = [ohm for _, ohm in self.points] + ([] if self.settled is None else [self.settled])
        low, high = min(ohms, default=0.0), max(ohms, default=1.0)
        room = 0.08 * (high - low) or 0.01 * abs(high) or 1.0
        return 0.0, max(*seconds, 1e-3), low - room, high + room


@dataclass(frozen=True, slots=True)
class Plots:
    """Small plots, side by side."""

    plots: tuple[Plot, ...]

    @property
    def in_a_row(self) -> int:
        """Four where that saves a row, else three."""
        return 4 if len(self.plots) % 8 in (0, 4, 7) else 3


@dataclass(frozen=True, slots=True)
class Signing:
    """A line to sign on, with the name below it."""

    role: str
    name: str
    date: str


@dataclass(frozen=True, slots=True)
class Code:
    """A QR code with lines beside it."""

    text: str
    lines: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class End:
    """The mark behind which nothing follows."""

    text: str


Block = Title | Words | Points | Pairs | Finding | Table | Plots | Signing | Code | End


@dataclass(frozen=True, slots=True)
class Letterhead:
    """Who issues the paper.

    Attributes:
        logo: bytes of the picture, empty for none; logo_kind: "svg" or "png".
    """

    name: str
    lines: tuple[str, ...] = ()
    logo: bytes = b""
    logo_kind: str = ""


@dataclass(frozen=True, slots=True)
class Paper:
    """A whole paper.

    Attributes:
        running: stands at the foot of each page, beside "page x of y".
        attached: text that goes along machine-readably; attached_name: its file's name.
        written_utc_s: the date in a PDF's own description.
    """

    title: str
    subtitle: str
    head: Letterhead
    running: str
    blocks: tuple[Block, ...]
    size: str = "A4"
    attached: str = ""
    attached_name: str = ""
    written_utc_s: float = 0.0


def shown(text: str, longest: int = LONGEST) -> str:
    """Text as it may stand on paper: what prints nothing is written out, what is too long is cut and counted.

    Control characters, half surrogate pairs and marks that turn the direction of writing become ⟨U+202E⟩.
    """
    cut = UNIT_BEHIND.sub(FIRM, text if len(text) <= longest else text[:longest])
    words = "".join(_visible(cut))
    return words if len(text) <= longest else f"{words}… ({len(text)} characters)"


def _visible(text: str) -> Iterator[str]:
    for letter in text:
        hidden = unicodedata.category(letter) in HIDDEN and letter not in KEPT
        yield f"⟨U+{ord(letter):04X}⟩" if hidden else letter


def with_uncertainty(value: float, expanded: float | None, unit: str = "Ω") -> str:
    """A value and its expanded uncertainty with one unit: "202.47 ± 0.48 Ω"."""
    text = show(value, unit, expanded)
    if not expanded:
        return text.replace(" ", FIRM)
    number, _, shown_unit = text.partition(" ")
    places = len(number.partition(".")[2])
    scale = value / float(number) if float(number) else 1.0
    power = min((1e-6, 1e-3, 1.0, 1e3, 1e6, 1e9), key=lambda p: abs(abs(scale) / p - 1.0))
    return f"{number}{FIRM}±{FIRM}{expanded / power:.{places}f}{FIRM}{shown_unit}"
