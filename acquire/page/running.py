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
from typing import Any

import tomlkit

from acquire.errors import FileInvalid, SteadyohmError
from acquire.files.new_file import new_file
from acquire.files.settings import load_bench
from acquire.page.about import PURPOSE_WORDS
from acquire.page.shelf import Listed, files_beside, files_of, shipped_files
from acquire.sheets import load_sheet
from drivers.models import load_model
from system.files import to_disk

Plain = dict[str, Any]
Answered = tuple[int, Plain]

LARGEST_BYTES = 16_384
"""Of a body."""

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
        place: Any = document.get(table)
        if place is None:
            continue
        if value:
            place[key] = value
        else:
            place.pop(key, None)
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
            "purposes": {each.value: words for each, words in PURPOSE_WORDS.items()},
            "typed_temperature": "value" in tree.get("temperature", {}),
            **lists,
        }

    async def change(self, body: Plain) -> Answered:
        """Change some settings; the file stays as it is unless all of it still makes a bench."""
        try:
            changes = self._changes(body)
            await asyncio.to_thread(self._rewrite, changes)
        except FileInvalid as error:
            return 422, {"error": "That makes no bench file.", "faults": [str(f) for f in error.faults]}
        except (ValueError, OSError, SteadyohmError) as error:
            return 422, {"error": " ".join(str(error).split()), "faults": []}
        self.again()
        return 200, {"changed": sorted(changes)}

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
        """The settings of a body that differ from the file's.

        Raises:
            ValueError: one is no short text, or names a file that is not listed.
        """
        before, changes = self.state({})["values"], {}
        bench = load_bench(self.file)
        for name in PLACES:
            value = body.get(name, before[name])
            if not isinstance(value, str) or len(value) > 200 or not value.isprintable():
                raise ValueError(f"{name} is a short text.")
            if (value := value.strip()) == before[name] or not (value or name in MAY_GO):
                continue
            if name in FILES:
                folder = Path(bench.sheet if name == "sheet" else bench.meter.model).parent
                listed = {each.file: each.path for each in self._shelf(folder) if each.kind == FILES[name]}
                if value not in listed:
                    raise ValueError(f"Choose a {FILES[name]} file of the list.")
                value = self._named(listed[value])
            changes[name] = value
        return changes

    def _named(self, path: Path) -> str:
        """A file as the bench file names it: from its own folder where that leads there."""
        with contextlib.suppress(ValueError):
            return path.resolve().relative_to(self.file.parent.resolve()).as_posix()
        return str(path.resolve())

    def _rewrite(self, changes: dict[str, str]) -> None:
        """Try the changed text as a file of its own, then put it in place.

        Raises:
            FileInvalid, SteadyohmError, ValueError, OSError: it makes no bench, or cannot be written.
        """
        content = rewritten(self.file.read_text(encoding="utf-8"), changes).encode()
        trial = self.file.with_name(f".{self.file.stem}.trial.toml")
        try:
            trial.write_bytes(content)
            bench = load_bench(trial)
            load_sheet(bench.sheet)
            load_model(Path(bench.meter.model))
        finally:
            trial.unlink(missing_ok=True)
        with new_file(self.file) as file:
            file.write(content)
            file.flush()
            to_disk(file.fileno())
