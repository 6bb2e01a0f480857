"""The shop's logo, looked into before it is shown: small, an SVG of plain shapes or a PNG, nothing that runs.

Not for drawing it (paper_html, pdf_sheet).
"""

from __future__ import annotations

import re
import struct
from pathlib import Path

# Expansion of entities, the danger of this parser, needs a DOCTYPE; files with one are refused before.
from xml.etree import ElementTree as ET

from acquire.errors import InputImpossible, unreadable
from drivers.plain_file import read_file

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


def logo_of(path: Path) -> tuple[bytes, str]:
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


def fault_of(content: bytes) -> tuple[str, str]:
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
