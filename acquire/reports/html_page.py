"""Prints a document as one HTML file: nothing from elsewhere, no scripts, good on screen and paper.

The templates of `templates/` escape everything by themselves; what prints nothing is written out before that.
The same document always gives the same bytes. Not for what a report says.
"""

from __future__ import annotations

import base64
from functools import cache
from pathlib import Path

from jinja2 import Environment, FileSystemLoader, StrictUndefined, Template
from markupsafe import Markup

from acquire.reports.document import COLOUR, Document, qr_svg, shown

FACTS_BEGIN = '<script type="application/json" id="facts">'
FACTS_END = "</script>"
"""Between these stands what is attached. A script of this type is never run; the page forbids all others."""

LOGO_TYPES = {"svg": "image/svg+xml", "png": "image/png"}

TEMPLATES = Path(__file__).with_name("templates")


def as_html(document: Document) -> bytes:
    """The file."""
    kinds = [(type(block).__name__.lower(), block) for block in document.blocks]
    logo = ""
    if document.head is not None and document.head.logo:
        data = base64.b64encode(document.head.logo).decode("ascii")
        logo = f"data:{LOGO_TYPES[document.head.logo_kind]};base64,{data}"
    attached = document.attached.replace("<", "\\u003c")  # JSON either way
    style = (TEMPLATES / "document").with_suffix(".css").read_text(encoding="utf-8")
    facts = f"{FACTS_BEGIN}{attached}{FACTS_END}" if attached else ""
    page = template("document.html").render(
        document=document,
        blocks=kinds,
        style=Markup(style),  # noqa: S704  (our own file)
        running=Markup(_as_css(document.running)),  # noqa: S704  (every sign that could end it is gone)
        logo=logo,
        attached=Markup(facts),  # noqa: S704  (JSON without "<")
    )
    return page.encode("utf-8")


def template(name: str) -> Template:
    """One of our templates; what it prints is escaped and shown as anybody's text."""
    return _environment().get_template(name)


@cache
def _environment() -> Environment:
    made = Environment(
        loader=FileSystemLoader(TEMPLATES), autoescape=True, finalize=lambda value: value if isinstance(value,
        Markup) or not isinstance(value, str) else shown(value), undefined=StrictUndefined, trim_blocks=True,
        lstrip_blocks=True, keep_trailing_newline=True,
    )  # fmt: skip
    made.filters |= {
        "svg": Markup,
        "code": lambda text: Markup(qr_svg(text)),  # noqa: S704  (letters and digits of segno's)
        "ink": COLOUR.__getitem__,
    }
    return made


def _as_css(text: str) -> str:
    """A text within quotes of a style sheet."""
    return shown(text, 120).replace("\\", "").replace('"', "'").replace("<", "‹").replace("\n", " ")
