"""What of a running bench can be chosen on its page: operator, purpose, sheet, accuracy, temperature.

The bench file is changed where those stand, with its comments and order kept, tried as a whole, and read
again by the bench as after any other change: it counts from the next unit on. Not for making one (setup).
"""

from __future__ import annotations

import asyncio
import contextlib
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from pathlib import Path

import tomlkit

from acquire.files.settings import load_bench
from acquire.page.behind import Plain, Unfit, short_text
from acquire.page.rewriting import on_trial, put_file, put_key
from acquire.page.shelf import Listed, files_beside, files_of, shipped_files
from acquire.sheets import load_sheet
from acquire.words.batches import PURPOSES
from drivers.models import load_model

PLACES = {
    "operator": ("bench", "operator"),
    "purpose": ("bench", "purpose"),
    "sheet": ("bench", "sheet"),
    "model": ("meter", "model"),
    "temperature": ("temperature", "value"),
    "self_check": ("meter", "self_check"),
}
"""Where each setting stands in a bench file."""

FILES = {"sheet": "sheet", "model": "meter"}
"""Settings that are files, and the kind of file."""

MAY_GO = ("operator", "self_check")
"""Settings that a bench file may do without."""


def rewritten(text: str, changes: dict[str, str]) -> str:
    """A bench file with some settings changed and all else kept, comments included.

    Args:
        text: of the file.
        changes: values by the names of `PLACES`; an empty one takes its key out.

    Raises:
        ValueError: the file is no TOML.
    """
    document = tomlkit.parse(text)
    for name, value in changes.items():
        table, key = PLACES[name]
        if (place := document.get(table)) is not None:
            put_key(place, key, value)
    return tomlkit.dumps(document)


@dataclass(frozen=True, slots=True)
class Running:
    """A bench at work, as its settings go.

    Attributes:
        file: of the bench.
        again: asks the bench to read its files again.
    """

    file: Path
    again: Callable[[], None]

    def state(self, _words: dict[str, str]) -> Plain:
        """What the file says now, and what there is to choose from.

        Raises:
            SteadyohmError: the file cannot be read.
        """
        bench, tree = load_bench(self.file), self._tree()
        values = {name: str(tree.get(table, {}).get(key, "")) for name, (table, key) in PLACES.items()}
        chosen = {"sheet": Path(bench.sheet), "model": Path(bench.meter.model)}
        lists: dict[str, list[Plain]] = {}
        for name, kind in FILES.items():
            listed = [each for each in self._shelf(chosen[name].parent) if each.kind == kind]
            values[name] = next((one.file for one in listed if one.path.samefile(chosen[name])), "")
            lists[f"{name}s"] = [each.plain() for each in listed]
        return {
            "file": self.file.name,
            "values": values,
            "purposes": {each.value: words for each, words in PURPOSES.items()},
            "typed_temperature": "value" in tree.get("temperature", {}),
            **lists,
        }

    async def change(self, body: Plain) -> Plain:
        """Change some settings; the file stays as it is unless all of it still makes a bench."""
        changes = self._changes(body)
        await asyncio.to_thread(self._rewrite, changes)
        self.again()
        return {"changed": sorted(changes)}

    def _tree(self) -> Plain:
        return tomlkit.parse(self.file.read_text(encoding="utf-8")).unwrap()

    def shelf(self) -> Iterator[Listed]:
        """All files to choose from, those beside the sheet in use among them."""
        return self._shelf(Path(load_bench(self.file).sheet).parent)

    def _shelf(self, beside: Path) -> Iterator[Listed]:
        """Files of the bench file's folder, of the one in use and the shipped ones, each once."""
        seen = set()
        for each in (*files_of(self.file.parent), *files_beside(beside), *shipped_files()):
            if (real := each.path.resolve()) not in seen:
                seen.add(real)
                yield each

    def _changes(self, body: Plain) -> dict[str, str]:
        """The settings of a body that differ from the file's. Raises Unfit for what is none."""
        before, changes = self.state({})["values"], {}
        bench = load_bench(self.file)
        for name in PLACES:
            value = short_text(body, name) if name in body else before[name]
            if value == before[name] or not (value or name in MAY_GO):
                continue
            if name in FILES:
                folder = Path(bench.sheet if name == "sheet" else bench.meter.model).parent
                listed = {each.file: each.path for each in self._shelf(folder) if each.kind == FILES[name]}
                if value not in listed:
                    raise Unfit(f"Choose a {FILES[name]} file of the list.")
                value = self._named(listed[value])
            changes[name] = value
        return changes

    def _named(self, path: Path) -> str:
        """A file as the bench file names it: from its own folder where that leads there."""
        with contextlib.suppress(ValueError):
            return path.resolve().relative_to(self.file.parent.resolve()).as_posix()
        return str(path.resolve())

    def _rewrite(self, changes: dict[str, str]) -> None:
        """Try the changed text, then put it in place. Raises FileInvalid, SteadyohmError or OSError."""
        text = rewritten(self.file.read_text(encoding="utf-8"), changes)
        with on_trial(self.file, text) as trial:
            bench = load_bench(trial)
            load_sheet(bench.sheet)
            load_model(Path(bench.meter.model))
        put_file(self.file, text)
