"""Prints a document as PDF, set by typst: the blocks of `html_page`. The same document, the same bytes.

Fonts go along in the file; they are DejaVu Sans as matplotlib ships it, and no other of this machine. Not for
what a report says.
"""

from __future__ import annotations

import importlib.util
from dataclasses import asdict
from functools import cache
from importlib.metadata import version
from pathlib import Path
from typing import Any

import msgspec

from acquire.errors import InputImpossible, SteadyohmError
from acquire.reports import document as doc
from acquire.reports.document import COLOUR, Mark, qr_svg, shown
from acquire.reports.html_page import TEMPLATES
from acquire.reports.logo import shape_of

EXTRA = 'Install it with: pip install "steadyohm[reports]".'

LONG = 16
"""Letters of a word from which on it may break anywhere; they fit wherever there is no table."""

LETTER_MM = 1.75
"""Width of a letter in a table, about; there words that are longer than a column is wide may break."""

LABEL = b"""#set page(width: float(sys.inputs.wide) * 1mm, height: float(sys.inputs.high) * 1mm, margin: 0mm)
#set document(title: sys.inputs.title, date: auto, keywords: sys.inputs.with)
#image(bytes(sys.inputs.svg), format: "svg", width: 100%)"""


def as_pdf(document: doc.Document) -> bytes:
    """The file. Raises InputImpossible where the logo cannot be drawn, SteadyohmError without typst."""
    head = None
    if document.head is not None:
        logo, kind = document.head.logo, document.head.logo_kind
        head = {**asdict(document.head), "logo": list(logo) or None, "logo_kind": kind}
        head["wide"] = min(45.0, 18.0 * shape_of(logo)) if logo else 0.0
    blocks = [(type(block).__name__.lower(), _plain(block)) for block in document.blocks]
    own = {name: getattr(document, name) for name in ("title", "subtitle", "running", "size")}
    attached = {name: getattr(document, name) for name in ("attached", "attached_name")}
    plain = _texts({**own, "head": head, "blocks": blocks}) | attached
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


def _text(text: str, most: int = LONG) -> str:
    """Anybody's text as it may be printed, with spaces of no width where longer words may break."""
    words = _lettered(shown(text)).split(" ")
    return " ".join("\u200b".join(word[at : at + most] for at in range(0, len(word), most)) for word in words)


def _texts(value: Any) -> Any:
    """The same of everything in a value but drawings, and cells of a table, which are done."""
    if isinstance(value, dict):
        return {n: each if n in ("svg", "logo", "cells") else _texts(each) for n, each in value.items()}
    if isinstance(value, list | tuple):
        return [_texts(each) for each in value]
    return _text(value) if isinstance(value, str) else value


def _plain(block: doc.Block) -> dict[str, Any]:
    """A block as the template takes it: marks as a sign with its colour, places of drawings as shares."""
    plain = asdict(block)
    match block:
        case doc.Result():
            plain |= _mark(block.mark)
        case doc.Strip():
            plain["squares"] = [{**asdict(each), **_mark(each.mark)} for each in block.squares]
        case doc.Code():
            plain["svg"] = qr_svg(block.text)
        case doc.Plots():
            plain = {"many": block.in_a_row, "plots": [_plot(each) for each in block.plots]}
        case doc.Table():
            whole = sum(column.share for column in block.columns)
            most = [max(4, int(180.0 * column.share / whole / LETTER_MM)) for column in block.columns]
            plain["cells"] = [[_cell(*each) for each in zip(row, most, strict=True)] for row in block.rows]
    return plain


def _mark(mark: Mark) -> dict[str, str]:
    return {"sign": mark.value, "ink": COLOUR[mark]}


def _plot(plot: doc.Plot) -> dict[str, Any]:
    points, across = plot.places(1.0, 1.0)
    return {"title": plot.title, "caption": plot.caption, "points": points, "across": across}


def _cell(cell: doc.Cell, most: int) -> str | dict[str, Any]:
    match cell:
        case str():
            return _text(cell, most)
        case doc.Marked():
            return {**_mark(cell.mark), "text": _text(cell.text, most)}
        case doc.Bar():
            return {"share": cell.share}
    ends = [cell.at(end) for end in (cell.lower, cell.upper) if end is not None]
    return {"ends": ends, "low": cell.at(cell.low), "high": cell.at(cell.high), "value": cell.at(cell.value)}
