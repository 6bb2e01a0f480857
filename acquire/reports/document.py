"""A report as one plain document: headings, paragraphs, tables, pictures; what every paper is made of.

Printing it is `printing` (HTML by jinja2, PDF by typst, a terminal by rich); a screen that draws it itself
gets it as plain data. Text may come from anybody, so each prints it through `shown`. Numbers are short texts,
the same on paper, on pages and in the terminal. Not for drawing, and not for what a report says.
"""

from __future__ import annotations

import math
import re
import unicodedata
from collections.abc import Callable, Iterable, Iterator
from dataclasses import dataclass, fields, is_dataclass
from datetime import UTC, datetime
from enum import StrEnum
from typing import TYPE_CHECKING, Any, Literal

from acquire.quantity import percent, show
from acquire.records import Outcome

if TYPE_CHECKING:
    from acquire.stats.capability import Index, Share

LONGEST = 1200
"""Characters of one text that are printed; the rest is counted."""

FIRM = "\u00a0"
"""A space at which no line breaks, between a number and its unit."""

UNIT_BEHIND = re.compile(r"(?<=[0-9]) (?=(?:%|[mµkMG]?Ω|°C|kHz|Hz|mm|V\b))")
"""The space between a number and its unit, where no line should break."""

HIDDEN = frozenset({"Cc", "Cf", "Cs", "Co", "Cn", "Zl", "Zp"})
"""Categories of Unicode that print nothing, or turn the order of what stands around them."""


class Tone(StrEnum):
    """How a paragraph speaks."""

    PLAIN = "plain"
    STRONG = "strong"
    CAUTION = "caution"
    SMALL = "small"


SIGNS: dict[Outcome | None, str] = {
    Outcome.PASS: "●",
    Outcome.CONDITIONAL_PASS: "◑",
    Outcome.CONDITIONAL_FAIL: "◒",
    Outcome.FAIL: "✖",
    Outcome.CANNOT_JUDGE: "?",
    None: "◌",
}
"""A verdict as a shape, so that no colour is needed to read it; the terminal's shapes."""

INK = "#1d4e5f"
"""Of headings, rules and curves: a dark petrol that stays readable in grey."""

COLOURS: dict[Outcome | None, str] = {
    Outcome.PASS: "#1b5fa8",
    Outcome.CONDITIONAL_PASS: "#1b5fa8",
    Outcome.CONDITIONAL_FAIL: "#a63d00",
    Outcome.FAIL: "#a63d00",
    Outcome.CANNOT_JUDGE: "#6b4f00",
    None: "#555555",
}
"""Blue and dark orange, as on the bench: told apart by nearly all colour-blind eyes, and dark enough to read
(contrast with white above 4.5 : 1, WCAG 2.2, 1.4.3)."""


@dataclass(frozen=True, slots=True)
class Heading:
    """A heading; level 3 stands within a part of level 2. `beside` is smaller, on the same line."""

    text: str
    level: int = 2
    beside: str = ""


@dataclass(frozen=True, slots=True)
class Text:
    """A paragraph."""

    text: str
    tone: Tone = Tone.PLAIN


@dataclass(frozen=True, slots=True)
class Bullets:
    """Sentences, one below the other, each with a dot."""

    texts: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class KeyValues:
    """Names with their values, two side by side; `dense`: six, the name above its value."""

    rows: tuple[tuple[str, str], ...]
    dense: bool = False


@dataclass(frozen=True, slots=True)
class Result:
    """What the whole comes to, large."""

    mark: Outcome | None
    word: str
    texts: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class Scale:
    """A value with its interval between its limits, drawn; a limit that there is not is None."""

    lower: float | None
    upper: float | None
    value: float
    low: float
    high: float
    margin: float = 0.25

    def span(self) -> tuple[float, float]:
        """First and last value of the drawing: the limits with a margin, and the value in any case."""
        ends = [end for end in (self.lower, self.upper) if end is not None] or [self.value]
        if len(ends) == 1 and ends[0] != self.value:
            ends.append(self.value)
        reach = max(ends) - min(ends) or 2.0 * (self.high - self.low) or abs(self.value) or 1.0
        return min(*ends, self.value) - self.margin * reach, max(*ends, self.value) + self.margin * reach

    def at(self, value: float) -> float:
        """Where a value lies on the drawing, 0 to 1."""
        low, high = self.span()
        return min(1.0, max(0.0, (value - low) / (high - low)))


@dataclass(frozen=True, slots=True)
class Marked:
    """A cell with a verdict's mark before its word."""

    mark: Outcome | None
    text: str


@dataclass(frozen=True, slots=True)
class Bar:
    """A cell with a bar, 0 to 1 of its width."""

    share: float


Cell = str | Scale | Marked | Bar


@dataclass(frozen=True, slots=True)
class Column:
    """One column: its head, its share of the table's width, and whether numbers stand to the right."""

    head: str
    share: float
    right: bool = False


@dataclass(frozen=True, slots=True)
class Table:
    """Rows under heads; the heads come again on each new page. `dense` is smaller and may break anywhere."""

    columns: tuple[Column, ...]
    rows: tuple[tuple[Cell, ...], ...]
    dense: bool = False


HEAD = re.compile(r"\s*(.*?)\s*([0-9.]+)(>?)\s*")


def table(heads: str, rows: Iterable[tuple[Cell, ...]], *, dense: bool = False) -> Table:
    """A table under heads such as "Step 27 | Result 19>": name, share of the width, > for numbers."""
    found = (HEAD.fullmatch(head) for head in heads.split("|"))
    columns = tuple(Column(head[1], float(head[2]), bool(head[3])) for head in found if head)
    return Table(columns, tuple(rows), dense)


@dataclass(frozen=True, slots=True)
class Plot:
    """Readings over time, small: (seconds, ohms), and the value taken as settled, drawn across."""

    title: str
    caption: str
    points: tuple[tuple[float, float], ...]
    settled: float | None = None

    def places(self, wide: float, high: float) -> tuple[list[tuple[float, float]], float | None]:
        """The points from the upper left of a drawing of this size, and the height of the line across."""
        ohms = [ohm for _, ohm in self.points] + ([] if self.settled is None else [self.settled])
        low, top = min(ohms, default=0.0), max(ohms, default=1.0)
        room = 0.08 * (top - low) or 0.01 * abs(top) or 1.0
        low, top = low - room, top + room
        last_s = max((at_s for at_s, _ in self.points), default=0.0) or 1e-3

        def y(ohm: float) -> float:
            return high * (1.0 - (ohm - low) / (top - low))

        points = [(wide * at_s / last_s, y(ohm)) for at_s, ohm in self.points]
        return points, None if self.settled is None else y(self.settled)


@dataclass(frozen=True, slots=True)
class Plots:
    """Small plots, side by side."""

    plots: tuple[Plot, ...]

    @property
    def in_a_row(self) -> int:
        """Four where that saves a row, else three."""
        return 4 if len(self.plots) % 8 in (0, 4, 7) else 3


@dataclass(frozen=True, slots=True)
class Picture:
    """A drawing: SVG for pages and paper, lines of text for a terminal; empty for none."""

    svg: str = ""
    lines: tuple[str, ...] = ()
    caption: str = ""


@dataclass(frozen=True, slots=True)
class Square:
    """One unit in a strip; `about` is shown under the pointer; `again`: it came more than once."""

    mark: Outcome | None
    number: int
    about: str
    again: bool = False
    spool: bool = False


@dataclass(frozen=True, slots=True)
class Strip:
    """Every unit as a square, in order, with a key."""

    squares: tuple[Square, ...]
    key: str


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


Block = Heading | Text | Bullets | KeyValues | Result | Table | Plots | Picture | Strip | Signing | Code | End


@dataclass(frozen=True, slots=True)
class Letterhead:
    """Who issues it: the logo's bytes with their kind, and the name under the line for a signature."""

    name: str
    address: tuple[str, ...] = ()
    logo: bytes = b""
    logo_kind: Literal["", "svg", "png"] = ""
    authorised: str = ""


@dataclass(frozen=True, slots=True)
class Document:
    """A whole report.

    Attributes:
        head: None for a report without a heading of the shop.
        running: stands at the foot of each page, beside "page x of y".
        attached: text that goes along machine-readably; attached_name: its file's name.
        written_utc_s: the date in a PDF's own description.
    """

    title: str
    subtitle: str
    blocks: tuple[Block, ...]
    head: Letterhead | None = None
    running: str = ""
    size: str = "A4"
    attached: str = ""
    attached_name: str = ""
    written_utc_s: float = 0.0


def shown(text: str, longest: int = LONGEST) -> str:
    """Text as it may be printed: what prints nothing is written out, what is too long is cut and counted.

    Control characters, half surrogate pairs and marks that turn the direction of writing become ⟨U+202E⟩.
    """
    words = "".join(_visible(UNIT_BEHIND.sub(FIRM, text[:longest])))
    return words if len(text) <= longest else f"{words}… ({len(text)} characters)"


def _visible(text: str) -> Iterator[str]:
    for letter in text:
        hidden = letter != "\n" and unicodedata.category(letter) in HIDDEN
        yield f"⟨U+{ord(letter):04X}⟩" if hidden else letter


def firm(text: str) -> str:
    """A text that no line breaks in."""
    return text.replace(" ", FIRM)


def qr_svg(text: str) -> str:
    """A QR code of some text as an SVG, white border included. Raises ValueError where none can hold it."""
    import segno  # noqa: PLC0415  (only papers need it)

    return segno.make_qr(text, error="m", boost_error=False).svg_inline(omitsize=True)


PLOT = 100.0, 40.0
"""Width and height of a plot's own units."""

MARKS = {of or "none": {"sign": sign, "ink": COLOURS[of]} for of, sign in SIGNS.items()}
"""What templates draw an outcome with."""


def as_data(document: Document, text: Callable[[str], str] = shown) -> dict[str, Any]:
    """All but what is attached as plain values; `text` makes of anybody's text what may be printed.

    Places on a scale are 0 to 1 of its width, those of a plot lie within `PLOT`.
    """

    def plain(value: Any) -> Any:
        if type(value) is str:
            return text(value)
        if isinstance(value, tuple):
            return [plain(each) for each in value]
        return drawn(value) if is_dataclass(value) else value

    def drawn(block: Any) -> dict[str, Any]:
        made: dict[str, Any] = {"kind": type(block).__name__.lower()}
        match block:
            case Scale():
                places = ((name, getattr(block, name)) for name in ("lower", "upper", "value", "low", "high"))
                return made | {name: None if at is None else block.at(at) for name, at in places}
            case Plot():
                made["points"], made["settled"] = block.places(*PLOT)
            case Plots():
                made["in_a_row"] = block.in_a_row
            case Picture():
                made["svg"] = block.svg
            case Code():
                made["svg"] = qr_svg(block.text)
        own = (each.name for each in fields(block) if each.name not in made)
        return made | {name: plain(getattr(block, name)) for name in own}

    names = "title", "subtitle", "blocks", "head", "running", "size"
    return {name: plain(getattr(document, name)) for name in names}


def moment(utc_s: float | None, form: str = "%Y-%m-%d %H:%M UTC") -> str:
    """Date and time in UTC; a dash where there is none."""
    try:
        return "–" if utc_s is None else datetime.fromtimestamp(utc_s, UTC).strftime(form)
    except (ValueError, OverflowError, OSError):
        return "–"


def age(seconds: float) -> str:
    """How old something was, in one unit."""
    for unit, length_s in (("d", 86_400.0), ("h", 3600.0), ("min", 60.0)):
        if seconds >= 2.0 * length_s:
            return f"{seconds / length_s:.0f} {unit}"
    return f"{max(0.0, seconds):.0f} s"


def relative_to(part: float, whole: float, spread: float = 0.0) -> str:
    """A part as a percentage of a whole: "3.5 %"; empty where that means nothing.

    So it is where the whole is near zero, as far as its spread tells, or smaller than the part.
    """
    if not abs(whole) > max(3.0 * spread, abs(part), 1e-12):
        return ""
    return percent(abs(part / whole))


def share_text(share: Share) -> str:
    """Hits of trials with the interval: "38 of 40 (95 %; 83 to 99 %)"."""
    if not share.of:
        return "none yet"
    low, high = 100.0 * share.low, 100.0 * share.high
    return f"{share.count} of {share.of} ({percent(share.share)}; {low:.0f} to {high:.0f} %)"


def index_text(index: Index | None) -> str:
    """An index with its interval: "1.02 (0.77 to 1.27)"."""
    return "–" if index is None else f"{index.value:.2f} ({index.low:.2f} to {index.high:.2f})"


def per_million(parts: float) -> str:
    """So many in a million, without powers of ten."""
    if parts < 0.001:
        return "< 0.001 in a million"
    return f"{float(f'{parts:.2g}'):,.0f} in a million" if parts >= 10.0 else f"{parts:.2g} in a million"


def probability_text(probability: float | None) -> str:
    """A probability that claims neither certainty."""
    if probability is None:
        return "–"
    if probability > 0.999:
        return "> 99.9 %"
    return "< 0.1 %" if probability < 0.001 else f"{100.0 * probability:.1f} %"


def value_text(value: float | None, unit: str = "Ω", digits: int = 5) -> str:
    """A value of a row; a dash where there is none."""
    if value is None or not math.isfinite(value):
        return "–"
    return f"{value:+.2f} %" if unit == "%" else show(value, "Ω", digits=digits)


def limits_text(lower: float | None, upper: float | None, unit: str = "Ω") -> str:
    """Two limits, or the one there is."""
    low, high = firm(value_text(lower, unit, 4)), firm(value_text(upper, unit, 4))
    if lower is None or upper is None:
        return f"at least {low}" if lower is not None else f"at most {high}" if upper is not None else "none"
    number, _, low_unit = low.partition(FIRM)
    return f"{number} to {high}" if low_unit == high.partition(FIRM)[2] else f"{low} to {high}"
