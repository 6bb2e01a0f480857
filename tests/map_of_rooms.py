"""Writes the map of the rooms into DEVELOPERS.md: every module with the first line of its docstring.

    python -m tests.map_of_rooms

Run it after adding, moving or re-wording a module; a test fails while the map is out of step. Not a test.
"""

from __future__ import annotations

import ast
from pathlib import Path

ROOT = Path(__file__).resolve().parents[1]
GUIDE = ROOT / "DEVELOPERS.md"
START, END = "<!-- map: written by `python -m tests.map_of_rooms` -->\n", "<!-- end of the map -->\n"
HOUSES = ("acquire", "drivers", "sim", "system", "tests")


def first_line(path: Path) -> str:
    """What a module says of itself, in one line; a sentence that runs on is taken whole."""
    whole = ast.get_docstring(ast.parse(path.read_text(encoding="utf-8"))) or ""
    return " ".join(whole.split("\n\n")[0].split())


def rooms(house: str) -> list[Path]:
    """The folders of a house that hold modules, the house itself first."""
    folders = {path.parent for path in (ROOT / house).rglob("*.py")}
    return sorted(folders, key=lambda folder: folder.relative_to(ROOT).parts)


def the_map() -> str:
    """The map as Markdown: one heading a room, one row a module."""
    lines = []
    for house in HOUSES:
        for folder in rooms(house):
            room = folder.relative_to(ROOT).as_posix()
            files = sorted(folder.glob("*.py"))
            if house == "tests":  # each test file is named after what it tests: its room says enough
                files = [f for f in files if not f.stem.startswith("test_")]
            lines.append(f"\n**{room}/**" + (f" {about}" if (about := about_room(folder)) else "") + "\n")
            rows = [f"| `{f.name}` | {first_line(f)} |" for f in files if f.name != "__init__.py"]
            if rows:
                lines += ["| file | what it does |", "|---|---|", *rows]
    return "\n".join(lines).lstrip("\n") + "\n"


def about_room(folder: Path) -> str:
    """What the room says of itself."""
    start = folder / "__init__.py"
    return first_line(start) if start.exists() else TEST_ROOMS.get(folder.name, "")


TEST_ROOMS = {
    "tests": "Common ground of the tests.",
    "unit": "One file for each module, named after it.",
    "property": "Laws that hold for every input, tried by hypothesis.",
    "scene": "Real processes, sockets, ptys and files; the whole way against the simulation's truth log.",
    "published": "Numbers of standards, handbooks and reference libraries; each check names its source.",
    "reliability": "Kills, full disks, torn writes, brokers that vanish.",
    "benchmarks": "Figures, each beside a baseline of the same run; `python -m tests.benchmarks.NAME`.",
    "frames": "Byte streams of known origin.",
}


def with_map(guide: str) -> str:
    """The guide with the map of today in its place."""
    before, rest = guide.split(START)
    _, after = rest.split(END)
    return f"{before}{START}\n{the_map()}\n{END}{after}"


if __name__ == "__main__":
    GUIDE.write_text(with_map(GUIDE.read_text(encoding="utf-8")), encoding="utf-8")
