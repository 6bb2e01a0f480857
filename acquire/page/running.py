"""What of a running bench can be chosen on its page: operator, purpose, sheet, accuracy, temperature.

The bench file is changed where those stand, with its comments and order kept, tried as a whole, and read
again by the bench as after any other change: it counts from the next unit on. Not for making one (setup).
"""

from __future__ import annotations

import asyncio
import contextlib
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path

import tomlkit

from acquire.files.settings import load_bench
from acquire.page.backend import short_text
from acquire.page.shelf import FILES, SETTINGS, Shelf, put_bench, put_keys
from acquire.page.telling import Plain

PLACES = {each.name: each.place for each in SETTINGS if each.place is not None}
"""Where each setting that can be changed stands in a bench file."""


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
            put_keys(place, {key: value}, [key])
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
        return {"file": self.file.name, "fields": self.shelf.fields(self._values())}

    def _values(self) -> dict[str, str]:
        """What the file says; a temperature only where it is typed."""
        tree = tomlkit.parse(self.file.read_text(encoding="utf-8")).unwrap()
        bench = load_bench(self.file)
        values = {name: str(tree.get(table, {}).get(key, "")) for name, (table, key) in PLACES.items()}
        for name, kind, path in (("sheet", "sheet", bench.sheet), ("model", "meter", bench.meter.model)):
            values[name] = next((one.file for one in self.shelf.files(kind) if one.path.samefile(path)), "")
        if "value" not in tree.get("temperature", {}):
            del values["temperature"]
        return values

    async def change(self, body: Plain) -> Plain:
        """Change some settings; the file stays as it is unless all of it still makes a bench."""
        changes = self._changes(body)
        text = rewritten(self.file.read_text(encoding="utf-8"), changes)
        await asyncio.to_thread(put_bench, self.file, text)
        self.again()
        return {"changed": sorted(changes)}

    @property
    def shelf(self) -> Shelf:
        """All files to choose from, those beside the ones in use among them."""
        return Shelf(self.file.parent, self._in_use)

    def _in_use(self) -> list[Path]:
        bench = load_bench(self.file)
        return [Path(bench.sheet), Path(bench.meter.model)]

    def _changes(self, body: Plain) -> dict[str, str]:
        """The settings of a body that differ from the file's. Raises Unfit for what is none."""
        before, changes = self._values(), {}
        for each in SETTINGS:
            if each.name not in body or each.name not in before:
                continue
            value = short_text(body, each.name)
            if value == before[each.name] or not (value or each.may_go):
                continue
            if each.of in FILES:
                value = self._named(self.shelf.chosen(value, each.of).path)
            changes[each.name] = value
        return changes

    def _named(self, path: Path) -> str:
        """A file as the bench file names it: from its own folder where that leads there."""
        with contextlib.suppress(ValueError):
            return path.resolve().relative_to(self.file.parent.resolve()).as_posix()
        return str(path.resolve())
