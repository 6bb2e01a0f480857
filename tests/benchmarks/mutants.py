"""Planted faults in the computing rooms, and which of them the rooms' own tests find.

Run: nice -n 10 python -m tests.benchmarks.mutants [--count 160] [--seed 1] [--rooms physics verdict stats]

Faults are drawn evenly over the lines of the rooms, one at a time, in a copy of the tree: a comparison turned
round or made to include its end, an arithmetic sign exchanged, a number ten times or a tenth, a condition
negated, `and` for `or`, min for max, a return of nothing. Only the test files of the module and of its room
are asked. A survivor is printed with its line, for somebody to say why it may live. Exit code 1 where more
than 3 % live.
"""

from __future__ import annotations

import argparse
import ast
import random
import shutil
import subprocess
import sys
import tempfile
from pathlib import Path

ROOT = Path(__file__).resolve().parents[2]
ROOMS = ("physics", "verdict", "stats")

_COMPARED = {ast.Lt: ast.LtE, ast.LtE: ast.Lt, ast.Gt: ast.GtE, ast.GtE: ast.Gt, ast.Eq: ast.NotEq}
_REVERSED = {ast.Lt: ast.Gt, ast.LtE: ast.GtE, ast.Gt: ast.Lt, ast.GtE: ast.LtE}
_SIGNS = {ast.Add: ast.Sub, ast.Sub: ast.Add, ast.Mult: ast.Div, ast.Div: ast.Mult}
_NAMES = {"min": "max", "max": "min", "any": "all", "all": "any", "minimum": "maximum", "maximum": "minimum"}


def changes(node: ast.AST):
    """Every fault that can be planted at a node: (what, function that plants it)."""
    if isinstance(node, ast.Compare) and type(node.ops[0]) in _REVERSED:
        yield "turned", lambda: node.ops.__setitem__(0, _REVERSED[type(node.ops[0])]())
    if isinstance(node, ast.Compare) and type(node.ops[0]) in _COMPARED:
        yield "end", lambda: node.ops.__setitem__(0, _COMPARED[type(node.ops[0])]())
    if isinstance(node, ast.BinOp) and type(node.op) in _SIGNS:
        yield "sign", lambda: setattr(node, "op", _SIGNS[type(node.op)]())
    if isinstance(node, ast.Constant) and isinstance(node.value, float) and node.value:
        yield "ten times", lambda: setattr(node, "value", node.value * 10.0)
        yield "a hundredth", lambda: setattr(node, "value", node.value / 100.0)
    if isinstance(node, ast.BoolOp):
        other = ast.Or if isinstance(node.op, ast.And) else ast.And
        yield "and/or", lambda: setattr(node, "op", other())
    if isinstance(node, ast.If | ast.IfExp):
        yield "negated", lambda: setattr(node, "test", ast.UnaryOp(ast.Not(), node.test))
    if isinstance(node, ast.Name) and node.id in _NAMES:
        yield "min/max", lambda: setattr(node, "id", _NAMES[node.id])
    if isinstance(node, ast.Attribute) and node.attr in _NAMES:
        yield "min/max", lambda: setattr(node, "attr", _NAMES[node.attr])


def candidates(path: Path):
    """(line, number of the node, what) of every fault that a module can have; docstrings and ends apart."""
    for number, node in enumerate(ast.walk(ast.parse(path.read_text()))):
        for which, (what, _) in enumerate(changes(node)):
            if what != "end":  # whether an end belongs to an interval of reals seldom means anything
                yield node.lineno, number, which, what


def planted(source: str, number: int, which: int) -> str:
    """The module with one fault."""
    tree = ast.parse(source)
    node = next(node for place, node in enumerate(ast.walk(tree)) if place == number)
    list(changes(node))[which][1]()
    return ast.unparse(ast.fix_missing_locations(tree))


def tests_of(room: str, module: str) -> list[str]:
    """Test files of the module first, then those of its room that are quick and lean on all of it."""
    unit = ROOT / "tests" / "unit"
    own = [unit / f"test_{room}_{module}.py"]
    more = {
        "physics": ["physics_correct", "physics_budget", "verdict_guard", "verdict_temperature"],
        "verdict": [
            "verdict_closure",
            "verdict_close",
            "verdict_diagnose",
            "verdict_weighing",
            "answers_explain",
        ],
        "stats": ["stats_gauge", "stats_charts", "stats_capability"],
    }[room]
    own += [unit / f"test_{name}.py" for name in more]
    own += sorted((ROOT / "tests" / "published").glob("test_*.py")) if room != "verdict" else []
    return [str(path.relative_to(ROOT)) for path in dict.fromkeys(own) if path.exists()]


def survives(copy: Path, room: str, path: Path, number: int, which: int, longest_s: float) -> bool:
    """Whether no test finds the fault; one that makes tests run for ever is found."""
    target = copy / path.relative_to(ROOT)
    sound = target.read_text()
    target.write_text(planted(sound, number, which))
    try:
        for file in tests_of(room, path.stem):
            command = [
                sys.executable,
                "-m",
                "pytest",
                "-x",
                "-q",
                "-p",
                "no:cacheprovider",
                "-p",
                "no:xdist",
                file,
            ]
            done = subprocess.run(command, cwd=copy, capture_output=True, timeout=longest_s, check=False)
            if done.returncode:
                return False
    except subprocess.TimeoutExpired:
        return False
    finally:
        target.write_text(sound)
    return True


def main() -> int:
    """Plant, test, count."""
    arguments = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    arguments.add_argument("--count", type=int, default=160)
    arguments.add_argument("--seed", type=int, default=1)
    arguments.add_argument("--rooms", nargs="+", default=list(ROOMS))
    arguments.add_argument("--modules", nargs="*", default=[])
    arguments.add_argument("--longest", type=float, default=300.0)
    chosen = arguments.parse_args()
    every = [
        (room, path, *fault)
        for room in chosen.rooms
        for path in sorted((ROOT / "acquire" / room).glob("*.py"))
        if not chosen.modules or path.stem in chosen.modules
        for fault in candidates(path)
    ]
    drawn = random.Random(chosen.seed).sample(every, min(chosen.count, len(every)))
    alive = 0
    with tempfile.TemporaryDirectory() as folder:
        copy = Path(folder) / "tree"
        skipped = shutil.ignore_patterns(".git", ".venv", "output", "*.egg-info", "__pycache__")
        shutil.copytree(ROOT, copy, ignore=skipped)
        for count, (room, path, line, number, which, what) in enumerate(drawn, start=1):
            if survives(copy, room, path, number, which, chosen.longest):
                alive += 1
                text = (copy / path.relative_to(ROOT)).read_text().splitlines()[line - 1].strip()
                print(f"ALIVE {path.relative_to(ROOT)}:{line} {what}: {text}", flush=True)
            if count % 10 == 0:
                print(f"{count} planted, {alive} alive", flush=True)
    share = f"{100.0 * alive / len(drawn):.1f} %"
    print(f"{len(drawn)} of {len(every)} possible faults planted, {alive} alive: {share}")
    return 1 if alive > 0.03 * len(drawn) else 0


if __name__ == "__main__":
    sys.exit(main())
