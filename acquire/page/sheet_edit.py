"""A sheet changed on the page: pins on the face, windings, tolerances, steps; what every pair then reads.

The same TOML as by hand comes out, with all comments kept. Nothing is written before the whole makes a sheet,
and no shipped file is written over. Not for what a sheet means (acquire.sheets).
"""

from __future__ import annotations

import asyncio
import math
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from functools import partial
from pathlib import Path
from typing import Any

import tomlkit

from acquire.errors import FileInvalid, SteadyohmError
from acquire.files.new_file import new_file
from acquire.page.drawing import face, limits_words
from acquire.page.setup import FILE_NAME
from acquire.page.shelf import Listed
from acquire.quantity import show
from acquire.records import Purpose, Sheet, StepKind
from acquire.sheets import load_sheet
from acquire.steps.pairs import PairTable

Plain = dict[str, Any]
Answered = tuple[int, Plain]

LARGEST_BYTES = 400_000
"""Of a body: a sheet of 60 pins and a hundred steps has a tenth of that."""

MOST_PAIRS = 400
"""In a preview."""

HEAD = {"sheet": ("name", "about"), "connector": ("rows", "view", "latch", "core")}
"""Keys that are changed one by one, by their table."""

LISTS = {
    "pin": ("name", "colour", "remark", "lead"),
    "winding": ("name", "between", "resistance", "acceptance", "serviceable"),
    "step": ("name", "pair", "kind"),
}
"""Keys that are changed in each table of a list."""


def contents(text: str) -> Plain:
    """What of a sheet's text can be changed, as it stands there.

    Raises:
        ValueError: it is no TOML.
    """
    tree = tomlkit.parse(text).unwrap()
    plain: Plain = {
        table: {key: tree.get(table, {}).get(key, "") for key in keys} for table, keys in HEAD.items()
    }
    for kind, keys in LISTS.items():
        found = enumerate(tree.get(kind, []))
        plain[kind] = [{"at": at, **{key: each.get(key, "") for key in keys}} for at, each in found]
    return plain


def rewritten(text: str, wanted: Plain) -> str:
    """A sheet's text with what is wanted in it, all else kept.

    Args:
        text: of the sheet.
        wanted: as `contents` gives it; a table of a list says by `at` which one it was, none is a new one.

    Raises:
        ValueError, TypeError: the text is no TOML, or what is wanted has another shape.
    """
    document = tomlkit.parse(text)
    for table, keys in HEAD.items():
        for key in keys:
            _set(document.setdefault(table, tomlkit.table()), key, wanted.get(table, {}).get(key, ""))
    for kind, keys in LISTS.items():
        listed: Any = document.get(kind)
        if listed is None:
            listed = document[kind] = tomlkit.aot()
        given = [dict(each) for each in wanted.get(kind, [])]
        for each in given:
            if each.get("at") is None:
                listed.append(tomlkit.table())
                each["at"] = len(listed) - 1
            for key in keys:
                _set(listed[each["at"]], key, each.get(key, ""))
        for gone in sorted(set(range(len(listed))) - {each["at"] for each in given}, reverse=True):
            del listed[gone]
        if not listed:
            document.remove(kind)
    return tomlkit.dumps(document)


def _set(table: Any, key: str, value: Any) -> None:
    """One key as wanted; what is alike stays as it is written, nothing takes the key out."""
    plain = (
        value if isinstance(value, str) else [each if isinstance(each, str) else list(each) for each in value]
    )
    before = table.get(key, "")
    if (before.unwrap() if hasattr(before, "unwrap") else before) == plain:
        return
    if plain:
        table[key] = plain
    else:
        table.pop(key, None)


@dataclass(frozen=True, slots=True)
class SheetEditor:
    """Sheets of one folder, and the shipped ones to begin with.

    Attributes:
        folder: new sheets are written here.
        shelf: gives all files there are to choose from.
        written: told that a sheet was written.
    """

    folder: Path
    shelf: Callable[[], Iterator[Listed]]
    written: Callable[[], None] = lambda: None

    async def answer(self, body: Plain) -> Answered:
        """The sheets there are; one of them; what it would be as wanted; or that it is written."""
        try:
            answer = await asyncio.to_thread(self._answer, body)
        except FileInvalid as error:
            return 422, {
                "error": "That makes no sheet yet.",
                "faults": [fault.partition(".trial.toml:")[2] or fault for fault in map(str, error.faults)],
            }
        except (ValueError, TypeError, AttributeError, LookupError, OSError, SteadyohmError) as error:
            return 422, {"error": " ".join(str(error).split()) or "That is no sheet.", "faults": []}
        if answer.get("written"):
            self.written()
        return 200, answer

    def _answer(self, body: Plain) -> Plain:
        sheets = {each.file: each for each in self.shelf() if each.kind == "sheet"}
        if "file" not in body:
            return {"sheets": [each.plain() for each in sheets.values()]}
        if (chosen := sheets.get(str(body["file"]))) is None:
            raise ValueError("Choose a sheet of the list.")
        text = chosen.path.read_text(encoding="utf-8")
        if "wanted" in body:
            text = rewritten(text, dict(body["wanted"]))
        trial = self.folder / f".{chosen.path.stem}.trial.toml"
        try:
            trial.write_text(text, encoding="utf-8")
            sheet = load_sheet(trial)
        finally:
            trial.unlink(missing_ok=True)
        written = self._save(chosen, str(body["save"]), text) if body.get("save") else ""
        return {**contents(text), "face": face(sheet), "written": written, **preview(sheet)}

    def _save(self, chosen: Listed, name: str, text: str) -> str:
        """Write the sheet: over the one it was, or under a name that is free.

        Raises:
            ValueError: the name is taken, or no name.
        """
        if not FILE_NAME.fullmatch(name):
            raise ValueError("A sheet is named like motor-3.toml: letters, digits, spaces, - and _.")
        path = self.folder / name
        if path.exists() and not path.samefile(chosen.path):
            raise ValueError(f"{name} is there already: name another.")
        with new_file(path) as file:
            file.write(text.encode())
        return name


def preview(sheet: Sheet) -> Plain:
    """What every pair of a sheet should read, and the limits of every step."""
    table = PairTable(sheet)

    def row(pair: tuple[str, str], limits: Callable[[Purpose], Any]) -> Plain:
        accepted, serviceable = (limits_words(limits(each)) for each in (Purpose.FINAL, Purpose.INCOMING))
        return {"pair": list(pair), "acceptance": accepted, "serviceable": serviceable}

    pairs = [
        {**row(pair, partial(table.limits, pair)), "nominal": show(ohm, "Ω")}
        for pair in table.pairs()[:MOST_PAIRS]
        if math.isfinite(ohm := table.nominal_ohm(pair))
    ]
    steps = [
        {**row(step.pair, partial(table.limits_for, step)), "name": step.name}
        for step in sheet.steps
        if step.kind is not StepKind.TYPED
    ]
    return {"pairs": pairs, "steps": steps}
