"""Prints a document as one HTML file or as PDF, with the shop's logo looked into before it is shown.

Nothing from elsewhere, no scripts, good on screen and paper; the same document always gives the same bytes.
The templates of `templates/` escape everything by themselves; what prints nothing is written out before that.
PDF is set by typst with DejaVu Sans as matplotlib ships it. A logo is small, an SVG of plain shapes or a PNG,
nothing that runs. Not for what a report says.
"""

from __future__ import annotations

import base64
import importlib.util
import re
import struct
from functools import cache
from importlib.metadata import version
from pathlib import Path
from typing import Literal

# Expansion of entities, the danger of this parser, needs a DOCTYPE; files with one are refused before.
from xml.etree import ElementTree as ET

import msgspec
from jinja2 import Environment, FileSystemLoader, StrictUndefined, Template
from markupsafe import Markup

from acquire.errors import InputImpossible, SteadyohmError, unreadable
from acquire.reports.document import MARKS, Document, as_data, shown
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
        return f"its groups are nested more than {DEEPEST} deep"
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
