"""What files there are to choose from in setup: of one folder, and the shipped ones.

A page never names a path: it names an entry of these lists, and only what is listed can be opened. Not for
reading a sheet (acquire.sheets) or a bench file (acquire.files).
"""

from __future__ import annotations

import tomllib
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from acquire.files.shipped import shipped

LARGEST_BYTES = 1_000_000
"""A file larger than this is none of ours."""

MOST_FILES = 300
"""Of one folder."""


@dataclass(frozen=True, slots=True)
class Listed:
    """A file that can be chosen.

    Attributes:
        file: what the page calls it: "folder/NAME" or "shipped/NAME".
        path: where it is.
        kind: "sheet", "meter" or "bench".
        name, about: as it calls itself.
    """

    file: str
    path: Path
    kind: str
    name: str
    about: str = ""

    def plain(self) -> dict[str, str]:
        """For the page."""
        source = self.file.partition("/")[0]
        return {"file": self.file, "name": self.name, "about": self.about, "source": source}


def files_of(folder: Path) -> list[Listed]:
    """All files of a folder that are ours, by name. Links that lead out of it are passed over."""
    return [*_listed(folder, "folder")]


def files_beside(folder: Path) -> list[Listed]:
    """As `files_of`, of the folder that a file in use lies in."""
    return [*_listed(folder, "beside")]


def all_files(folder: Path) -> Iterator[Listed]:
    """Those of a folder, then the shipped ones."""
    yield from files_of(folder)
    yield from shipped_files()


def shipped_files() -> list[Listed]:
    """The shipped sheets and meter files."""
    return [*_listed(shipped("sheets"), "shipped"), *_listed(shipped("meters"), "shipped")]


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
            name, about = str(head.get("name", path.stem)), str(head.get("about", ""))
            yield Listed(f"{source}/{path.name}", path, kind, name[:100], about[:200])


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
