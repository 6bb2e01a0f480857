"""Prints every module with the first line of its docstring, room by room: where is what decided?

    python -m tests.map_of_rooms [ROOM ...]     # of these rooms, such as acquire/heart; of all without
    python -m tests.map_of_rooms --write        # and writes the table of rooms into DEVELOPERS.md

A test fails while that table is out of step with the rooms' own first lines. Not a test.
"""

from __future__ import annotations

import sys
from pathlib import Path

ROOT = Path(__file__).resolve().parents[1]
GUIDE = ROOT / "DEVELOPERS.md"
START, END = (
    "<!-- rooms: written by `python -m tests.map_of_rooms --write` -->\n",
    "<!-- end of the rooms -->\n",
)
HOUSES = ("acquire", "drivers", "sim", "system", "tests")


def first_line(path: Path) -> str:
    """What a module says of itself, in one line; a sentence that runs on is taken whole."""
    text = path.read_text(encoding="utf-8")
    whole = text[3 : text.index('"""', 3)] if text.startswith('"""') else ""
    return " ".join(whole.split("\n\n")[0].split())


def rooms() -> dict[str, Path]:
    """The folders that hold modules by their path from the root, each house before its rooms."""
    folders = {path.parent for house in HOUSES for path in (ROOT / house).rglob("*.py")}
    return {folder.relative_to(ROOT).as_posix(): folder for folder in sorted(folders)}


def about_room(folder: Path) -> str:
    """What the room says of itself."""
    start = folder / "__init__.py"
    said = first_line(start) if start.exists() else ""
    return said or TEST_ROOMS.get(folder.name, "")


TEST_ROOMS = {
    "tests": "Common ground of the tests.",
    "unit": "Single modules: files are named after the module, and what of it.",
    "property": "Laws that hold for every input, tried by hypothesis.",
    "scene": "Real processes, sockets, ptys and files; the whole way against the simulation's truth log.",
    "published": "Numbers of standards, handbooks and reference libraries; each check names its source.",
    "reliability": "Kills, full disks, torn writes, brokers that vanish.",
    "adversary": "Instruments, hands and circuits that share no code with the product.",
    "benchmarks": "Figures, each beside a baseline of the same run; `python -m tests.benchmarks.NAME`.",
    "frames": "Byte streams of known origin.",
}


def modules(folder: Path) -> list[str]:
    """A line for each module of a room; a test file is named after what it tests, its room says enough."""
    files = [
        f for f in sorted(folder.glob("*.py")) if f.name != "__init__.py" and not f.stem.startswith("test_")
    ]
    return [f"  {f.name:<24} {first_line(f)}" for f in files]


def with_rooms(guide: str) -> str:
    """The guide with the table of rooms of today in its place."""
    before, rest = guide.split(START)
    rows = [f"| `{name}` | {about_room(folder)} |" for name, folder in rooms().items()]
    table = "\n".join(["| room | what it is for |", "|---|---|", *rows])
    return f"{before}{START}{table}\n{END}{rest.split(END)[1]}"


if __name__ == "__main__":
    wanted = [each for each in sys.argv[1:] if each != "--write"]
    for name, folder in rooms().items():
        if not wanted or name in wanted:
            print(f"{name}/ {about_room(folder)}", *modules(folder), "", sep="\n")
    if "--write" in sys.argv:
        GUIDE.write_text(with_rooms(GUIDE.read_text(encoding="utf-8")), encoding="utf-8")
