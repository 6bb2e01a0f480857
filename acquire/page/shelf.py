"""What a bench is put together of: its settings, described once, and the files there are to choose from.

A page never names a path: it names an entry of these lists, and only what is listed can be opened. Not for
reading a sheet (acquire.sheets) or a bench file (acquire.files).
"""

from __future__ import annotations

import contextlib
import tomllib
from collections.abc import Callable, Iterable, Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from acquire.files.new_file import new_file
from acquire.files.settings import load_bench
from acquire.files.shipped import shipped
from acquire.page.backend import Unfit
from acquire.page.telling import Plain
from acquire.sheets import load_sheet
from acquire.words.batches import PURPOSES
from drivers.models import load_model
from system.files import to_disk

LARGEST_BYTES = 1_000_000
"""A file larger than this is none of ours."""

FILES = ("sheet", "meter")
"""Kinds of files that a bench file names."""

MOST_FILES = 300
"""Of one folder."""


@dataclass(frozen=True, slots=True)
class Listed:
    """A file that can be chosen.

    Attributes:
        file: what the page calls it: "folder/NAME" or "shipped/NAME".
        path: where it is.
        kind: "sheet", "meter" or "bench".
        name: as it calls itself.
    """

    file: str
    path: Path
    kind: str
    name: str

    @property
    def choice(self) -> list[str]:
        """Itself, and what the page shows of it."""
        example = self.kind == "sheet" and self.file.startswith("shipped/")
        return [self.file, f"{self.name} (example)" if example else self.name]


def field(name: str, label: str, value: str = "", choices: list[list[str]] | None = None) -> Plain:
    """A field of a form on the page: typed, or chosen among (value, words)."""
    return {"name": name, "label": label, "value": value, "choices": choices}


@dataclass(frozen=True, slots=True)
class Setting:
    """One setting of a bench, for the form of setup and for that of a bench at work.

    Attributes:
        name, label: in answers, and for people.
        usual: what setup proposes; None where it does not ask.
        of: kind of file that it is, or "purpose"; empty where it is typed.
        place: table and key of the bench file; None where a bench at work cannot change it.
        may_go: a bench file may do without.
    """

    name: str
    label: str
    usual: str | None = ""
    of: str = ""
    place: tuple[str, str] | None = None
    may_go: bool = False


SETTINGS = (
    Setting("name", "Name of the bench", "bench-1"),
    Setting("purpose", "What is measured here", "final", "purpose", ("bench", "purpose")),
    Setting("sheet", "Sheet (the unit type)", "", "sheet", ("bench", "sheet")),
    Setting("model", "Accuracy of the meter, from", "", "meter", ("meter", "model")),
    Setting("temperature", "Temperature of the room", "22 °C", "", ("temperature", "value")),
    Setting("operator", "Operator (may be empty)", "", "", ("bench", "operator"), may_go=True),
    Setting("batch", "Batch (may be empty)"),
    Setting("self_check", "Resistor of the daily self-check", None, "", ("meter", "self_check"), may_go=True),
    Setting("file", "File to write", "bench.toml"),
)
"""In the order of the forms."""


@dataclass(frozen=True, slots=True)
class Shelf:
    """Files that are ours: of one folder, of the folders that files in use lie in, and the shipped ones.

    Attributes:
        folder: looked through first; links that lead out of it are passed over.
        in_use: files whose folders are looked through too.
    """

    folder: Path
    in_use: Callable[[], Iterable[Path]] = tuple

    def files(self, *kinds: str) -> list[Listed]:
        """All of some kinds, each once."""
        places = [(self.folder, "folder"), *((each.parent, "beside") for each in self.in_use())]
        places += [(shipped("sheets"), "shipped"), (shipped("meters"), "shipped")]
        found: dict[Path, Listed] = {}
        for place in places:
            for each in _listed(*place):
                found.setdefault(each.path.resolve(), each)
        return [each for each in found.values() if each.kind in kinds]

    def chosen(self, name: str, kind: str) -> Listed:
        """The one that a page names. Raises Unfit where there is none of this kind."""
        if (found := next((each for each in self.files(kind) if each.file == name), None)) is None:
            raise Unfit(f"Choose a {kind} file of the list.")
        return found

    def choices(self, kind: str) -> list[list[str]]:
        """All files of a kind, or all purposes, each with its words."""
        if kind == "purpose":
            return [[each.value, words] for each, words in PURPOSES.items()]
        return [each.choice for each in self.files(kind)]

    def fields(self, values: dict[str, str]) -> list[Plain]:
        """The form of the settings that have a value."""
        wanted = [each for each in SETTINGS if each.name in values]
        return [
            field(each.name, each.label, values[each.name], self.choices(each.of) if each.of else None)
            for each in wanted
        ]


def _listed(folder: Path, source: str) -> Iterator[Listed]:
    try:
        paths = sorted(folder.glob("*.toml"))[:MOST_FILES]
    except OSError:
        return
    for path in paths:
        tree = _tree(path, folder)
        if tree is None:
            continue
        kind, head = _kind(tree)
        if kind:
            yield Listed(f"{source}/{path.name}", path, kind, str(head.get("name", path.stem))[:100])


def _tree(path: Path, folder: Path) -> dict[str, Any] | None:
    try:
        inside = path.resolve().is_relative_to(folder.resolve())
        if not inside or not path.is_file() or path.stat().st_size > LARGEST_BYTES:
            return None
        return tomllib.loads(path.read_text(encoding="utf-8"))
    except (OSError, ValueError, RuntimeError):  # a loop of links; a file nested without end
        return None


def _kind(tree: dict[str, Any]) -> tuple[str, dict[str, Any]]:
    if isinstance(tree.get("bench"), dict) and "meter" in tree:
        return "bench", tree["bench"]
    if isinstance(tree.get("sheet"), dict):
        return "sheet", tree["sheet"]
    if isinstance(tree.get("range"), list):
        return "meter", tree
    return "", {}


def put_keys(table: Any, wanted: dict[str, Any], keys: Iterable[str]) -> None:
    """Some keys of a table: what is alike stays as it is written, an empty value takes its key out."""
    before = table.unwrap()
    for key in keys:
        value = wanted.get(key)
        if before.get(key) == value:
            continue
        if value in ("", None, [], {}):
            table.pop(key, None)
        else:
            table[key] = value


@contextlib.contextmanager
def on_trial(path: Path, text: str) -> Iterator[Path]:
    """The text as a file of a hidden name beside the one that it is to become, so that it can be read."""
    trial = path.with_name(f".{path.stem}.trial.toml")
    try:
        trial.write_text(text, encoding="utf-8")
        yield trial
    finally:
        trial.unlink(missing_ok=True)


def put_bench(path: Path, text: str) -> None:
    """Put a bench file in place once all that it names makes a bench. Raises as those are read."""
    with on_trial(path, text) as trial:
        bench = load_bench(trial)
        load_sheet(bench.sheet)
        load_model(Path(bench.meter.model))
    put_file(path, text)


def put_file(path: Path, text: str) -> None:
    """Put the text in place, whole or not at all, and on the disk. Raises OSError, SteadyohmError."""
    with new_file(path) as file:
        file.write(text.encode())
        file.flush()
        to_disk(file.fileno())
