"""Planted faults in the computing rooms, and which of them the rooms' own tests find.

Run: nice -n 15 python -m tests.benchmarks.mutants [--count 160] [--seed 1] [--rooms physics verdict stats]
     nice -n 15 python -m tests.benchmarks.mutants --places verdict/close.py:120 stats/gauge.py:31:sign

Faults are drawn evenly over the lines of the rooms, one at a time: a comparison turned round, an arithmetic
sign exchanged, a number ten times or a hundredth, a condition negated, `and` for `or`, min for max. First all
tests of the rooms run once, and for each is kept which functions of the rooms it calls; then a fault is shown
only to the tests that call its function, the quickest first, until one fails. Everything happens in one
process after the other on a copy of the tree; a fault is planted as the module is imported. A survivor is
printed with its line, for somebody to say why it may live. Exit code 1 where more than 3 % live.
"""

from __future__ import annotations

import argparse
import ast
import hashlib
import importlib
import importlib.abc
import importlib.util
import json
import os
import random
import re
import shutil
import signal
import sys
import tempfile
import time
from collections import defaultdict
from pathlib import Path

import pytest

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


ALSO_TESTED_BY = ("unit/test_answers_reported.py", "unit/test_unit_result.py", "scene/test_typed_results.py")
"""Tests that name no module of the rooms and still reach far into them."""


def tested_by(tree: Path) -> list[Path]:
    """Files of tests that name a module of the rooms, quick kinds of tests only."""
    kinds = [
        path for kind in ("unit", "property", "published") for path in (tree / "tests" / kind).glob("*.py")
    ]
    named = re.compile(rf"acquire\.({'|'.join(ROOMS)})\b")
    return [
        *sorted(path for path in kinds if path.name.startswith("test_") and named.search(path.read_text())),
        *(tree / "tests" / each for each in ALSO_TESTED_BY),
    ]


_QUIET = ["-q", "-x", "-p", "no:cacheprovider", "-p", "no:xdist", "--no-header", "--tb=no", "-W", "ignore"]
_FOREIGN = ("numpy", "scipy.stats", "networkx", "hypothesis", "pydantic", "pytest_asyncio")
"""What is imported before any test, so that no test waits for it."""


class Calls:
    """A plugin of pytest: which functions of the rooms each test calls, and how long it takes."""

    def __init__(self, tree: Path) -> None:
        """Watch the rooms of a tree."""
        self.rooms = tuple(f"{tree / 'acquire' / room}/" for room in ROOMS)
        self.cut = len(f"{tree / 'acquire'}/")
        self.called: dict[str, set[str]] = {}
        self.seconds: dict[str, float] = {}
        self.failed: set[str] = set()

    @pytest.hookimpl(hookwrapper=True)
    def pytest_runtest_protocol(self, item):
        """Run one test under watch."""
        found = set()

        def seen(frame, *_):  # traces no lines: it returns nothing
            code = frame.f_code
            if code.co_filename.startswith(self.rooms):
                found.add(f"{code.co_filename[self.cut :]}:{code.co_name}")

        start = time.monotonic()
        sys.settrace(seen)
        yield
        sys.settrace(None)
        self.called[item.nodeid], self.seconds[item.nodeid] = found, time.monotonic() - start

    def pytest_runtest_logreport(self, report):
        """A test that fails without a fault finds none."""
        if report.failed:
            self.failed.add(report.nodeid)


class Planted(importlib.abc.MetaPathFinder, importlib.abc.Loader):
    """Imports one module with its fault, and leaves the others to everybody else."""

    def __init__(self, name: str, path: Path, source: str) -> None:
        """The module's name, where it lies, and its text with the fault."""
        self.name, self.path, self.source = name, path, source

    def find_spec(self, name, path=None, target=None):
        """Where the module is."""
        return (
            importlib.util.spec_from_loader(name, self, origin=str(self.path)) if name == self.name else None
        )

    def create_module(self, spec):
        """The usual one."""

    def exec_module(self, module):
        """Run its text."""
        module.__file__ = str(self.path)
        exec(compile(self.source, str(self.path), "exec"), module.__dict__)  # noqa: S102  (that is the point)


def apart(work, longest_s: float) -> int:
    """Do some work in a process of its own; its exit code, or 124 where it took too long."""
    child = os.fork()
    if child == 0:
        os.setsid()
        nothing = os.open(os.devnull, os.O_WRONLY)
        os.dup2(nothing, 1)
        os.dup2(nothing, 2)
        code = 70
        try:
            code = int(work())
        finally:
            os._exit(code)
    end = time.monotonic() + longest_s
    while time.monotonic() < end:
        done, status = os.waitpid(child, os.WNOHANG)
        if done:
            return os.waitstatus_to_exitcode(status)
        time.sleep(0.02)
    os.killpg(child, signal.SIGKILL)
    os.waitpid(child, 0)
    return 124


def reach(tree: Path, kept: Path, longest_s: float) -> tuple[dict[str, list[str]], dict[str, float]]:
    """(function -> tests that call it, the quickest first; test -> seconds), for all that pass.

    Functions go by module and name, so that a map of an earlier run still holds where it is kept: only files
    of tests that have changed since, or are new, are watched again.
    """
    before: dict = {}
    if kept.exists():
        before = json.loads(kept.read_text())
    marks = {str(path.relative_to(tree)): hash_of(path) for path in tested_by(tree)}
    files = [name for name, mark in marks.items() if before.get(name, {}).get("mark") != mark]

    def watched() -> int:
        calls = Calls(tree)
        pytest.main([*_QUIET[2:], "--continue-on-collection-errors", *files], plugins=[calls])
        for name in files:
            of_file = {k: v for k, v in calls.called.items() if k.partition("::")[0] == name}
            before[name] = {
                "mark": marks[name],
                "called": {k: sorted(v) for k, v in of_file.items() if k not in calls.failed},
                "seconds": {k: calls.seconds[k] for k in of_file},
                "failed": sorted(calls.failed.intersection(of_file)),
            }
        kept.write_text(json.dumps(before))
        return 0

    if files and apart(watched, longest_s):
        raise SystemExit("The tests of the rooms could not be watched.")
    known = [each for name, each in json.loads(kept.read_text()).items() if name in marks]
    called = {test: functions for each in known for test, functions in each["called"].items()}
    seconds = {test: spent for each in known for test, spent in each["seconds"].items()}
    if not called:
        raise SystemExit("No test of the rooms passes.")
    for test in (test for each in known for test in each["failed"]):
        print(f"fails without a fault, and is left out: {test}", flush=True)
    of: dict[str, list[str]] = defaultdict(list)
    for test in sorted(called, key=seconds.__getitem__):
        for function in called[test]:
            of[function].append(test)
    return of, seconds


def hash_of(path: Path) -> str:
    """What a file holds, in few letters."""
    return hashlib.sha256(path.read_bytes()).hexdigest()[:16]


def functions_at(tree: ast.Module, line: int) -> list[str]:
    """Names of the functions that a line is in, the innermost first; those of a class count one by one."""
    inside = [
        node
        for node in ast.walk(tree)
        if isinstance(node, ast.FunctionDef) and node.lineno <= line <= (node.end_lineno or 0)
    ]
    return [node.name for node in sorted(inside, key=lambda node: -node.lineno)]


def tests_of(
    module: Path, name: str, line: int, of: dict[str, list[str]], seconds: dict[str, float]
) -> list[str]:
    """Tests that reach a line, the quickest first: of its function, then of any other of its module.

    What is kept from test to test (dictionaries, laws) is computed in the first test that asks for it, so the
    others are not seen to call its function.

    Args:
        module: where it lies.
        name: room and file, as the map has it.
        line: of the module.
        of, seconds: from `reach`.
    """
    inside = functions_at(ast.parse(module.read_text()), line)
    first = of.get(f"{name}:{inside[0]}", []) if inside else []
    every = {test for key, tests in of.items() if key.startswith(f"{name}:") for test in tests}
    return [*first, *sorted(every.difference(first), key=seconds.__getitem__)]


def survives(tree: Path, module: Path, fault: str, tests: list[str], longest_s: float) -> bool:
    """Whether no test finds a fault; one that makes tests run for ever is found.

    Args:
        tree: the copy.
        module: of it.
        fault: the module's text with the fault.
        tests: that reach it.
        longest_s: for all of them.
    """
    name = ".".join(module.relative_to(tree).with_suffix("").parts)

    def shown() -> int:
        sys.meta_path.insert(0, Planted(name, module, fault))
        return pytest.main([*_QUIET, *tests])

    return (bool(tests) and apart(shown, longest_s) == 0) or not tests


def drawn(tree: Path, chosen: argparse.Namespace) -> list:
    """The faults to plant: (module, line, number of the node, which of its faults, what)."""
    places = {tuple(f"{place}:".split(":")[:3]) for place in chosen.places}
    every = [
        (path, *fault)
        for room in chosen.rooms
        for path in sorted((tree / "acquire" / room).glob("*.py"))
        for fault in candidates(path)
        if not places or places & {(f"{room}/{path.name}", str(fault[0]), what) for what in ("", fault[3])}
    ]
    print(f"{len(every)} faults are possible", flush=True)
    return every if places else random.Random(chosen.seed).sample(every, min(chosen.count, len(every)))


def main() -> int:
    """Watch, plant, test, count."""
    arguments = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    arguments.add_argument("--count", type=int, default=160)
    arguments.add_argument("--seed", type=int, default=1)
    arguments.add_argument("--rooms", nargs="+", default=list(ROOMS))
    arguments.add_argument("--places", nargs="*", default=[], help="these lines, or one kind of fault there")
    arguments.add_argument("--reach", default="", help="file that keeps which test reaches what")
    arguments.add_argument("--longest", type=float, default=120.0, help="seconds of tests for one fault")
    chosen = arguments.parse_args()
    sys.dont_write_bytecode = True
    for name in _FOREIGN:
        importlib.import_module(name)
    alive = 0
    with tempfile.TemporaryDirectory() as folder:
        tree = Path(folder).resolve() / "tree"
        skipped = shutil.ignore_patterns(".git", ".venv", "output", "*.egg-info", ".hypothesis", ".*_cache")
        shutil.copytree(ROOT, tree, ignore=skipped)
        chosen.reach = chosen.reach and str(Path(chosen.reach).resolve())
        os.chdir(tree)
        sys.path[:] = [str(tree), *(each for each in sys.path if each and Path(each).resolve() != ROOT)]
        for name in [name for name in sys.modules if name.split(".")[0] in ("acquire", "drivers", "tests")]:
            del sys.modules[name]
        kept = Path(chosen.reach).resolve() if chosen.reach else Path(folder) / "reach.json"
        of, seconds = reach(tree, kept, 3600.0)
        print(f"{len(seconds)} tests watched, {sum(seconds.values()):.0f} s", flush=True)
        faults = drawn(tree, chosen)
        for count, (module, line, number, which, what) in enumerate(faults, start=1):
            source = module.read_text()
            tests, spent = [], 0.0
            for test in tests_of(module, "/".join(module.parts[-2:]), line, of, seconds):
                spent += seconds[test]
                if tests and spent > chosen.longest / 2.0:
                    break
                tests.append(test)
            if survives(tree, module, planted(source, number, which), tests, chosen.longest):
                alive += 1
                text = source.splitlines()[line - 1].strip()
                print(
                    f"ALIVE {module.relative_to(tree)}:{line} {what}: {text} ({len(tests)} tests)", flush=True
                )
            if count % 10 == 0:
                print(f"{count} planted, {alive} alive", flush=True)
    print(f"{len(faults)} planted, {alive} alive: {100.0 * alive / max(len(faults), 1):.1f} %")
    return 1 if alive > 0.03 * len(faults) else 0


if __name__ == "__main__":
    sys.exit(main())
