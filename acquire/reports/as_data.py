"""A document as plain data, for a screen that draws it itself: blocks by kind, texts fit to be shown.

Not for what a report says, nor for how a screen draws it (the page's document.js).
"""

from __future__ import annotations

from dataclasses import fields, is_dataclass
from typing import Any

from acquire.reports.document import MARK_OF, Document, Mark, Picture, Plot, Scale, shown

PLOT = 100.0, 40.0
"""Width and height of a plot's own units."""

OUTCOME_OF = {mark: outcome for outcome, mark in MARK_OF.items()}


def as_data(document: Document) -> dict[str, Any]:
    """Title, subtitle and blocks; a mark is the outcome that it stands for, a place on a scale 0 to 1."""
    blocks = [_data(block) for block in document.blocks]
    return {"title": shown(document.title), "subtitle": shown(document.subtitle), "blocks": blocks}


def _data(value: Any) -> Any:
    if isinstance(value, Mark):
        return OUTCOME_OF[value]
    if isinstance(value, str):
        return shown(value)
    if isinstance(value, tuple):
        return [_data(each) for each in value]
    return _drawn(value) if is_dataclass(value) else value


def _drawn(block: Any) -> dict[str, Any]:
    plain = {field.name: _data(getattr(block, field.name)) for field in fields(block)}
    if isinstance(block, Scale):
        names = ("lower", "upper", "value", "low", "high")
        plain = {name: None if plain[name] is None else block.at(plain[name]) for name in names}
    elif isinstance(block, Plot):
        plain["points"], plain["settled"] = block.places(*PLOT)
    elif isinstance(block, Picture):
        plain["svg"] = block.svg
    return {"kind": type(block).__name__.lower(), **plain}
