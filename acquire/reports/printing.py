"""Prints a document: one HTML file, PDF, a terminal; the shop's logo is looked into before it is shown.

Nothing from elsewhere, no scripts, good on screen and paper; the same document always gives the same bytes.
The templates of `templates/` escape everything by themselves; what prints nothing is written out before that.
PDF is set by typst with DejaVu Sans as matplotlib ships it. A logo is small, an SVG of plain shapes or a PNG,
nothing that runs. A terminal shows words, tables, and drawings as lines of marks, no colour alone; what only
paper needs (signature, code, end) is left out there. Not for what a report says.
"""

from __future__ import annotations

import base64
import importlib.util
import re
import struct
from collections.abc import Iterator
from functools import cache
from importlib.metadata import version
from pathlib import Path
from typing import Literal
from xml.etree import ElementTree as ET

import msgspec
from jinja2 import Environment, FileSystemLoader, StrictUndefined, Template
from markupsafe import Markup
from rich import box
from rich.console import Group, RenderableType
from rich.padding import Padding
from rich.table import Table
from rich.text import Text

from acquire.choices import FAILING, PASSING
from acquire.errors import InputImpossible, SteadyohmError, unreadable
from acquire.reports import document as doc
from acquire.reports.document import MARKS, SIGNS, Document, Tone, as_data, shown
from drivers.plain_file import read_file

FACTS_BEGIN = '<script type="application/json" id="facts">'
FACTS_END = "</script>"
"""Between these stands what is attached. A script of this type is never run; the page forbids all others."""

LogoKind = Literal["", "svg", "png"]

LOGO_TYPES = {"svg": "image/svg+xml", "png": "image/png"}

TEMPLATES = Path(__file__).with_name("templates")


def as_html(document: Document) -> bytes:
    """The file."""
    logo = ""
    if document.head is not None and document.head.logo:
        data = base64.b64encode(document.head.logo).decode("ascii")
        logo = f"data:{LOGO_TYPES[document.head.logo_kind]};base64,{data}"
    attached = document.attached.replace("<", "\\u003c")  # JSON either way
    style = (TEMPLATES / "document").with_suffix(".css").read_text(encoding="utf-8")
    facts = f"{FACTS_BEGIN}{attached}{FACTS_END}" if attached else ""
    page = template("document.html").render(
        document=as_data(document),
        marks=MARKS,
        style=Markup(style),  # noqa: S704  (our own file)
        running=Markup(_as_css(document.running)),  # noqa: S704  (every sign that could end it is gone)
        logo=logo,
        attached=Markup(facts),  # noqa: S704  (JSON without "<")
    )
    return page.encode("utf-8")


def template(name: str) -> Template:
    """One of our templates; what it prints is escaped."""
    return _environment().get_template(name)


@cache
def _environment() -> Environment:
    made = Environment(
        loader=FileSystemLoader(TEMPLATES), autoescape=True, undefined=StrictUndefined, trim_blocks=True,
        lstrip_blocks=True, keep_trailing_newline=True,
    )  # fmt: skip
    made.filters["svg"] = Markup
    return made


def _as_css(text: str) -> str:
    """A text within quotes of a style sheet."""
    return shown(text, 120).replace("\\", "").replace('"', "'").replace("<", "‹").replace("\n", " ")


LARGEST_BYTES = 300_000
LARGEST_SIDE = 4000
"""Pixels of a PNG."""

PNG = b"\x89PNG\r\n\x1a\n"
"""How a PNG begins (ISO/IEC 15948:2004, 5.2)."""

NUMBER = re.compile(r"[0-9]{1,6}(\.[0-9]{1,6})?")

SVG = "http://www.w3.org/2000/svg"
"""Namespace of SVG 1.1; without it no browser draws a picture."""

DEEPEST = 50
"""Elements within elements; drawing programs save a handful."""

_ELSEWHERE = re.compile(r"url\s*\((?!\s*[\"']?\s*#)|image-set|@import|\\", re.IGNORECASE)
"""What leads out of the picture, or is written so that nobody sees it (CSS Syntax Level 3, 4.3.7)."""

SHAPES = frozenset(
    {"svg", "g", "path", "rect", "circle", "ellipse", "line", "polyline", "polygon", "title", "desc", "defs"}
    | {"linearGradient", "radialGradient", "stop", "clipPath", "metadata"}
)
"""Elements of SVG 1.1 that only draw, or say what is drawn."""


def logo_of(path: Path) -> tuple[bytes, LogoKind]:
    """The picture's bytes and its kind, "svg" or "png".

    Raises:
        InputImpossible: it cannot be read, is too large, or holds what a logo must not.
    """
    try:
        content = read_file(path, LARGEST_BYTES)
    except OSError as error:
        raise unreadable(f"The logo {path}", error) from error
    kind, fault = fault_of(content)
    if fault:
        raise InputImpossible(
            f"The logo {path} cannot be used: {fault}.", "Save it as a plain SVG, or as a PNG."
        )
    return content, kind


def fault_of(content: bytes) -> tuple[LogoKind, str]:
    """The kind of a picture, "svg" or "png", and why it cannot be used, empty where it can."""
    if content.startswith(PNG):
        return "png", _png_fault(content)
    return "svg", _svg_fault(content)


def shape_of(content: bytes) -> float:
    """Width over height of a picture; 1 where it does not say, never beyond 10 either way."""
    if content.startswith(PNG):
        wide, high = struct.unpack(">II", content[16:24])
    else:
        root = ET.fromstring(content.decode("utf-8"))  # noqa: S314  (looked into by `fault_of`)
        box = (root.get("viewBox") or "").replace(",", " ").split()
        sides = box[2:4] if len(box) == 4 else [root.get("width") or "", root.get("height") or ""]
        wide, high = (_number(side) for side in sides)
    return min(10.0, max(0.1, wide / high)) if wide > 0 and high > 0 else 1.0


def _number(text: str) -> float:
    found = NUMBER.match(text.strip())
    return float(found[0]) if found else 0.0


def _png_fault(content: bytes) -> str:
    try:
        wide, high = struct.unpack(">II", content[16:24])
    except struct.error:
        return "it ends in its head"
    if not (0 < wide <= LARGEST_SIDE and 0 < high <= LARGEST_SIDE):
        return f"it measures {wide} by {high} pixels, {LARGEST_SIDE} each way at most"
    return ""


def _svg_fault(content: bytes) -> str:
    try:
        text = content.decode("utf-8")
    except UnicodeDecodeError:
        return "it is neither SVG in UTF-8 nor PNG"
    if "<!DOCTYPE" in text or "<!ENTITY" in text or "<?xml-stylesheet" in text:
        return "it brings definitions of its own (DOCTYPE or a style sheet)"
    try:
        root = ET.fromstring(text)  # noqa: S314  (no entities: see above)
    except ET.ParseError as error:
        return f"it is no SVG ({error})"
    if root.tag != f"{{{SVG}}}svg":
        return f"it is no SVG: its outermost element is no svg of {SVG}"
    if _nests_beyond(root, DEEPEST):
        return f"its groups lie within each other more than {DEEPEST} deep"
    return next((fault for element in root.iter() if (fault := _element_fault(element))), "")


def _element_fault(element: ET.Element) -> str:
    name = _local(element.tag)
    if name not in SHAPES:
        return f"it holds <{name}>; a logo is made of shapes only"
    for key, value in element.attrib.items():
        word = _local(key).lower()
        leads = word in ("href", "src") and not value.strip().startswith("#")
        leads = leads or bool(_ELSEWHERE.search(value))
        if word.startswith("on") or "javascript:" in value.lower() or leads:
            return f"its attribute {word} leads elsewhere or runs something"
    return ""


def _nests_beyond(root: ET.Element, most: int) -> bool:
    """Whether elements lie deeper than that; what draws them goes down by calling itself."""
    level = [root]
    for _ in range(most):
        level = [child for element in level for child in element]
    return bool(level)


def _local(name: object) -> str:
    return str(name).rpartition("}")[2]


EXTRA = 'Install it with: pip install "steadyohm[reports]".'

LABEL = b"""#set page(width: float(sys.inputs.wide) * 1mm, height: float(sys.inputs.high) * 1mm, margin: 0mm)
#set document(title: sys.inputs.title, date: auto, keywords: sys.inputs.with)
#image(bytes(sys.inputs.svg), format: "svg", width: 100%)"""


def as_pdf(document: Document) -> bytes:
    """The file. Raises InputImpossible where the logo cannot be drawn, SteadyohmError without typst."""
    attached = {name: getattr(document, name) for name in ("attached", "attached_name")}
    plain = as_data(document, lambda text: _lettered(shown(text))) | attached | {"marks": MARKS}
    if document.head is not None:
        logo = document.head.logo
        wide = min(45.0, 18.0 * shape_of(logo)) if logo else 0.0
        plain["head"] |= {"logo": list(logo) or None, "wide": wide}
    inputs = {"document": msgspec.json.encode(plain).decode()}
    return _set((TEMPLATES / "document.typ").read_bytes(), inputs, document.written_utc_s)


def svg_as_pdf(svg: str, size_mm: tuple[float, float], title: str, written_utc_s: float) -> bytes:
    """One drawing on a page of its own size; the same errors."""
    wide, high = (f"{side:g}" for side in size_mm)
    inputs = {"svg": _lettered(svg), "wide": wide, "high": high, "title": shown(title, 80)}
    return _set(LABEL, inputs, written_utc_s)


def drawn_with() -> str:
    """Versions of what sets PDF: other ones may give other bytes."""
    return ", ".join(f"{name} {version(name)}" for name in ("typst", "segno", "matplotlib"))


def _set(template: bytes, inputs: dict[str, str], written_utc_s: float) -> bytes:
    folder = _fonts()
    import typst  # noqa: PLC0415  (an extra)

    try:
        fonts = typst.Fonts(include_system_fonts=False, font_paths=[str(folder)])
        when, how = int(written_utc_s), {**inputs, "with": drawn_with()}
        return typst.compile(template, sys_inputs=how, font_paths=fonts, timestamp=when)
    except typst.TypstError as error:
        what = f"The paper cannot be drawn as a PDF: {error.message}."
        raise InputImpossible(what, "If it has a logo, use a plain SVG or a PNG.") from error


@cache
def _fonts() -> Path:
    """Where DejaVu lies, as matplotlib ships it; found without importing matplotlib, which takes a second."""
    for library in ("typst", "matplotlib"):
        if importlib.util.find_spec(library) is None:
            raise SteadyohmError(f"PDF needs the Python library {library}, which is not installed.", EXTRA)
    found = importlib.util.find_spec("matplotlib")
    for place in (found and found.submodule_search_locations) or ():
        if (folder := Path(place, "mpl-data", "fonts", "ttf")).is_dir():
            return folder
    raise SteadyohmError("PDF needs the fonts that matplotlib ships; they are not there.", EXTRA)


@cache
def _known() -> frozenset[int]:
    """Letters that the font has, regular and bold."""
    from fontTools.ttLib import TTFont  # type: ignore[import-untyped]  # noqa: PLC0415  (half a second)

    letters = []
    for name in ("DejaVuSans", "DejaVuSans-Bold"):
        with TTFont(_fonts() / f"{name}.ttf", lazy=True) as font:
            letters.append(frozenset(font.getBestCmap()))
    return frozenset.intersection(*letters)


def _lettered(text: str) -> str:
    """A text in letters that the font has; others are written out as ⟨U+4E00⟩, and so is a soft hyphen."""
    known = _known() - {0xAD} | {0x0A}
    return "".join(c if ord(c) in known else f"⟨U+{ord(c):04X}⟩" for c in text)


GOOD, BAD, DIM = "bright_blue", "bold dark_orange", "dim"
STYLE = {of: GOOD if of in PASSING else BAD if of in FAILING else "yellow" for of in SIGNS}
"""As at the bench: blue for good, orange for bad, apart for colour-blind eyes."""

TONES = {Tone.PLAIN: "", Tone.STRONG: "bold", Tone.CAUTION: BAD, Tone.SMALL: DIM}

BAR = 30
"""Columns of a full bar."""


def as_terminal(document: doc.Document) -> RenderableType:
    """The whole report, for a rich console."""
    head = _say(document.title, "bold").append(_say(f"   {document.subtitle}", "not bold"))
    return Group(head, *(part for block in document.blocks for part in put(block)))


def _say(text: str, style: str = "") -> Text:
    """Text from anybody: nothing in it moves the cursor or turns the line around."""
    return Text(shown(text), style=style)


def _indented(what: RenderableType) -> Padding:
    return Padding(what, (0, 0, 0, 2))


def put(block: doc.Block) -> Iterator[RenderableType]:
    """Lines for one block; nothing for what only paper needs."""
    match block:
        case doc.Heading():
            yield Text()
            yield _say(block.text, "bold").append(_say(f"  {block.beside}", f"not bold {DIM}"))
        case doc.Text():
            yield _indented(_say(block.text, TONES[block.tone]))
        case doc.Bullets():
            yield from (_indented(_say(f"• {text}")) for text in block.texts)
        case doc.KeyValues():
            yield _indented(_pairs(block))
        case doc.Result():
            yield Text()
            yield _indented(_say(f"{SIGNS[block.mark]} {block.word}", STYLE[block.mark]))
            yield from (_indented(_say(text)) for text in block.texts if text)
        case doc.Table():
            yield _indented(_table(block))
        case doc.Picture():
            yield from map(_marked, block.lines)
        case doc.Strip():
            for row in (block.squares[at : at + 20] for at in range(0, len(block.squares), 20)):
                line = "".join(SIGNS[square.mark] for square in row)
                yield _indented(_marked(line).append(f" {row[-1].number:>4}", DIM))
            yield _indented(_say("● passed  ◑ ◒ near a limit  ✖ failed  ? cannot judge  ◌ no result", DIM))


def _pairs(block: doc.KeyValues) -> Table:
    table, wide = Table.grid(padding=(0, 2)), 2 if block.dense else 1
    for row in (block.rows[at : at + wide] for at in range(0, len(block.rows), wide)):
        table.add_row(*(part for name, value in row for part in (_say(name, DIM), _say(value))))
    return table


def _table(block: doc.Table) -> Table:
    table = Table(box=box.SIMPLE_HEAD, pad_edge=False, padding=(0, 1), show_edge=False)
    drawn = {number for row in block.rows for number, cell in enumerate(row) if isinstance(cell, doc.Scale)}
    kept = [number for number in range(len(block.columns)) if number not in drawn]
    for column in (block.columns[number] for number in kept):
        table.add_column(_say(column.head), header_style="bold", justify="right" if column.right else "left")
    for row in block.rows:
        table.add_row(*(_cell(row[number]) for number in kept))
    return table


def _cell(cell: doc.Cell) -> Text:
    match cell:
        case doc.Marked():
            return _say(f"{SIGNS[cell.mark]} {cell.text}", STYLE[cell.mark])
        case doc.Bar():
            return _say("█" * max(1, round(BAR * cell.share)), BAD)
        case str():
            return _say(cell)
    return Text()


def _marked(line: str) -> Text:
    """A line of marks in their colours."""
    styles = {SIGNS[of]: style for of, style in STYLE.items()} | {"◆": BAD}
    text = Text()
    for letter in shown(line):
        text.append(letter, styles.get(letter, DIM))
    return text
