"""A sheet changed on the page: every table and key that a sheet can state, and what every pair then reads.

The same TOML as by hand comes out, with all comments kept. Nothing is written before the whole makes a sheet,
and no shipped file is written over. Not for what a sheet means (acquire.sheets).
"""

from __future__ import annotations

import asyncio
import math
from collections.abc import Callable
from dataclasses import dataclass
from functools import partial
from pathlib import Path
from types import UnionType
from typing import Any, Literal, Union, get_args, get_origin

import tomlkit

from acquire.page.backend import Unfit
from acquire.page.drawing import face, limits
from acquire.page.setup import FILE_NAME
from acquire.page.shelf import Listed, Shelf, on_trial, put_file, put_keys
from acquire.page.telling import Plain
from acquire.records import Limits, Purpose, Sheet, StepKind
from acquire.sheets import load_sheet
from acquire.sheets.language import TABLES
from acquire.steps.pairs import PairTable

MOST_PAIRS = 400
"""In a preview."""

NO_SHEET = "What was sent is not this sheet: open it again."

ONCE = ("sheet", "connector")
"""Tables that stand once; all others are lists."""


def _shape(wanted: Any) -> str:
    """How a key is written: "text", "count", "yes", "names" (a list) or "groups" (lists)."""
    inner = [each for each in get_args(wanted) if each not in (type(None), ...)]
    if get_origin(wanted) is tuple:
        return "groups" if "names" in map(_shape, inner) else "names"
    if get_origin(wanted) is Literal:
        return "count" if isinstance(inner[0], int) else "text"
    if get_origin(wanted) in (Union, UnionType) or hasattr(wanted, "__metadata__"):
        return _shape(inner[0])
    return {int: "count", bool: "yes"}.get(wanted, "text")


SHAPES = {
    name: {key: _shape(field.annotation) for key, field in table.model_fields.items()}
    for name, table in TABLES.items()
}
"""Every key of every table, and how it is written."""


def contents(text: str) -> Plain:
    """A sheet's tables as plain values; a table of a list says by `place` which one it is.

    Raises:
        ValueError: it is no TOML.
    """
    tree = tomlkit.parse(text).unwrap()
    return {
        name: tree.get(name, {})
        if name in ONCE
        else [{"place": place, **each} for place, each in enumerate(tree.get(name, []))]
        for name in SHAPES
    }


def rewritten(text: str, wanted: Plain) -> str:
    """A sheet's text with what is wanted in it, all else kept.

    Args:
        text: of the sheet.
        wanted: as `contents` gives it; without `place`, or with None, a table is a new one.

    Raises:
        ValueError, TypeError, LookupError: the text is no TOML, or what is wanted has another shape.
    """
    document = tomlkit.parse(text)
    for name, keys in SHAPES.items():
        if name in ONCE:
            put_keys(document.setdefault(name, tomlkit.table()), wanted.get(name, {}), keys)
            continue
        given = [dict(each) for each in wanted.get(name, [])]
        listed: Any = document.get(name)
        if listed is None and given:
            listed = document[name] = tomlkit.aot()
        for each in given:
            if each.get("place") is None:
                listed.append(tomlkit.table())
                each["place"] = len(listed) - 1
            put_keys(listed[each["place"]], each, keys)
        for gone in sorted(set(range(len(listed or ()))) - {each["place"] for each in given}, reverse=True):
            del listed[gone]
        if listed is not None and not listed:
            document.remove(name)
    return tomlkit.dumps(document)


@dataclass(frozen=True, slots=True)
class SheetEditor:
    """Sheets of one folder, and the shipped ones to begin with.

    Attributes:
        folder: new sheets are written here.
        shelf: the files there are to choose from.
        written: told that a sheet was written.
    """

    folder: Path
    shelf: Shelf
    written: Callable[[], None] = lambda: None

    async def answer(self, body: Plain) -> Plain:
        """The sheets there are; one of them; what it would be as wanted; or that it is written."""
        try:
            answer = await asyncio.to_thread(self._answer, body)
        except (TypeError, AttributeError, LookupError) as error:  # of another shape, or of another sheet
            raise Unfit(NO_SHEET) from error
        except ValueError as error:
            raise Unfit(" ".join(str(error).split()) or NO_SHEET) from error
        if answer.get("written"):
            self.written()
        return answer

    def _answer(self, body: Plain) -> Plain:
        if "file" not in body:
            return {"sheets": self.shelf.choices("sheet")}
        chosen = self.shelf.chosen(str(body["file"]), "sheet")
        text = chosen.path.read_text(encoding="utf-8")
        if "wanted" in body:
            text = rewritten(text, dict(body["wanted"]))
        with on_trial(self.folder / chosen.path.name, text) as trial:
            sheet = load_sheet(trial)
        written = self._save(chosen, str(body["save"]), text) if body.get("save") else ""
        drawn = {"face": face(sheet), "written": written, **preview(sheet)}
        return {"tables": contents(text), "shapes": SHAPES, **drawn}

    def _save(self, chosen: Listed, name: str, text: str) -> str:
        """Write the sheet: over the one it was, or under a name that is free.

        Raises:
            ValueError: the name is taken, or no name.
        """
        if not FILE_NAME.fullmatch(name):
            raise ValueError("A sheet is named like motor-3.toml: letters, digits, spaces, - and _.")
        path = self.folder / name
        if path.exists() and not path.samefile(chosen.path):
            raise ValueError(f"{name} exists already: name another.")
        put_file(path, text)
        return name


def preview(sheet: Sheet) -> Plain:
    """What every pair of a sheet should read, and the limits of every step."""
    table = PairTable(sheet)

    def row(pair: tuple[str, str], limits_for: Callable[[Purpose], Limits]) -> Plain:
        accepted, serviceable = (limits(limits_for(each)) for each in (Purpose.FINAL, Purpose.INCOMING))
        return {"pair": list(pair), "acceptance": accepted, "serviceable": serviceable}

    pairs = [
        {**row(pair, partial(table.limits, pair)), "nominal_ohm": ohm}
        for pair in table.pairs()[:MOST_PAIRS]
        if math.isfinite(ohm := table.nominal_ohm(pair))
    ]
    steps = [
        {**row(step.pair, partial(table.limits_for, step)), "name": step.name}
        for step in sheet.steps
        if step.kind is not StepKind.TYPED
    ]
    return {"pairs": pairs, "steps": steps}
