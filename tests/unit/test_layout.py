"""The shape of the code: sizes, docstrings, names of tests, and the rules of import."""

from __future__ import annotations

import ast
import shutil
import subprocess
import sys
from pathlib import Path

import pytest

from tests.trees import statements, tree

ROOT = Path(__file__).resolve().parents[2]
HOUSES = ("acquire", "drivers", "sim", "system")
MODULES = sorted(path for house in HOUSES for path in (ROOT / house).rglob("*.py"))
LONGEST_MODULE, LONGEST_FUNCTION, MOST_POSITIONAL = 500, 60, 5
WHOLE_HOUSES = {
    "cli",
    "documents",
    "drivers_readme",
    "drivers_scanner",
    "layout",
    "prose_in_step",
    "size",
    "settle_benchmark",
    "sheets",
}
"""Subjects of tests/unit that are a whole room, the tree, or a benchmark, not one module."""

KNOWN_MANY = {
    "acquire/steps/matcher.py:_weights",
    "acquire/verdict/diagnose.py:_foretold",
}
"""Functions that take six or seven values by place. No new ones: name the values instead."""


def named(path):
    """A path as people say it."""
    return path.relative_to(ROOT).as_posix()


def functions(path):
    """All functions of a module, methods and inner ones too."""
    return [n for n in statements(path) if isinstance(n, ast.FunctionDef | ast.AsyncFunctionDef)]


def test_there_is_something_to_look_at():
    """Else every check below would pass."""
    assert len(MODULES) > 100


def test_no_module_is_longer_than_a_few_screens():
    """At most 500 lines."""
    long = {named(p): n for p in MODULES if (n := p.read_text(encoding="utf-8").count("\n")) > LONGEST_MODULE}
    assert not long


def test_no_function_is_longer_than_a_screen():
    """At most 60 lines, docstring and all; a command's declarations of options are no code."""
    long = {}
    for path in MODULES:
        for node in functions(path):
            first = node.body[0].lineno if path.parent.name in ("cli", "answers") else node.lineno
            if (lines := node.end_lineno - first + 1) > LONGEST_FUNCTION:
                long[f"{named(path)}:{node.name}"] = lines
    assert not long


def test_no_function_takes_many_values_by_place():
    """At most five besides self; the rest by name. Records and commands are lists of fields, not calls."""
    many = {}
    for path in MODULES:
        for node in functions(path):
            given = [a.arg for a in [*node.args.posonlyargs, *node.args.args] if a.arg not in {"self", "cls"}]
            if len(given) > MOST_POSITIONAL:
                many[f"{named(path)}:{node.name}"] = len(given)
    assert set(many) <= KNOWN_MANY, set(many) - KNOWN_MANY


def test_every_module_says_what_it_does():
    """In its first line, as a sentence."""
    silent = [named(p) for p in MODULES if not (ast.get_docstring(tree(p)) or "").split("\n")[0].strip()]
    assert not silent


def test_every_public_thing_says_what_it_is():
    """Classes and functions without an underscore."""
    kinds = ast.ClassDef | ast.FunctionDef | ast.AsyncFunctionDef
    silent = [
        f"{named(path)}:{node.name}"
        for path in MODULES
        for node in tree(path).body
        if isinstance(node, kinds) and not node.name.startswith("_") and not ast.get_docstring(node)
    ]
    assert not silent


def test_no_default_can_be_changed_by_a_call():
    """No list, dict or set as a default value."""
    changeable = ast.List | ast.Dict | ast.Set | ast.ListComp | ast.DictComp | ast.SetComp
    bad = [
        f"{named(path)}:{node.name}"
        for path in MODULES
        for node in functions(path)
        for value in [*node.args.defaults, *node.args.kw_defaults]
        if isinstance(value, changeable)
        or (isinstance(value, ast.Call) and getattr(value.func, "id", "") in {"list", "dict", "set", "deque"})
    ]
    assert not bad


def test_nothing_is_caught_blindly_without_a_reason():
    """A bare `except Exception` says why beside it."""
    blind = []
    for path in MODULES:
        lines = path.read_text(encoding="utf-8").splitlines()
        for node in ast.walk(tree(path)):
            if isinstance(node, ast.ExceptHandler):
                kind = getattr(node.type, "id", None)
                if node.type is None or kind in {"Exception", "BaseException"}:
                    reraises = any(isinstance(n, ast.Raise) and n.exc is None for n in ast.walk(node))
                    if not reraises and "#" not in lines[node.lineno - 1]:
                        blind.append(f"{named(path)}:{node.lineno}")
    assert not blind


def test_every_unit_test_is_named_after_its_module():
    """tests/unit/test_<package>_<module>.py without `acquire`; one about a part of it says which."""
    subjects = set(WHOLE_HOUSES)
    for path in MODULES:
        parts = [*path.relative_to(ROOT).with_suffix("").parts]
        if parts[-1] == "__init__":
            continue
        subjects.add("_".join(parts))
        subjects.add("_".join(parts[1:] if parts[0] == "acquire" else parts))
    lost = [
        path.name
        for path in (ROOT / "tests" / "unit").glob("test_*.py")
        if not any(f"{path.stem}_".startswith(f"test_{name}_") for name in subjects)
    ]
    assert not lost


def test_no_folder_of_tests_shadows_a_package():
    """A folder named like a house would be imported in its place."""
    clash = [p for p in (ROOT / "tests").rglob("*") if p.is_dir() and p.name in {*HOUSES, "configs"}]
    assert not clash


def test_every_package_is_in_the_wheel():
    """The list in pyproject.toml is by hand, so that configs and tests stay out of it."""
    import tomllib

    project = tomllib.loads((ROOT / "pyproject.toml").read_text(encoding="utf-8"))
    listed = set(project["tool"]["setuptools"]["packages"])
    there = {".".join(p.parent.relative_to(ROOT).parts) for p in MODULES if p.name == "__init__.py"}
    assert listed == there


ONLY_SOME = {
    "sys": "platform",
    "os": "name uname fork openpty getuid geteuid getgid getpgrp tcgetpgrp ttyname set_blocking fchmod chown "
    "fchown pread pwrite statvfs sync fsync killpg setsid execv mkfifo "
    "O_CLOEXEC O_NOFOLLOW O_NONBLOCK O_DIRECTORY",
    "signal": "SIGHUP SIGKILL SIGQUIT SIGPIPE SIGUSR1 SIGUSR2 SIGCHLD SIGWINCH pause",
    "socket": "AF_UNIX SO_REUSEADDR SO_REUSEPORT",
    "time": "tzset",
    "asyncio": "run create_subprocess_exec create_subprocess_shell open_unix_connection",
}
"""What one of the three systems lacks, or does in a way of its own."""

ONLY_SOME_LOOPS = {"add_reader", "add_writer", "add_signal_handler", "connect_read_pipe", "subprocess_exec"}


def test_only_one_house_asks_which_system_it_is_on():
    """The others stand on `system`, which has each of these for all three."""
    asked = [
        f"{named(path)}:{node.lineno} {ast.unparse(node)}"
        for path in MODULES
        if path.relative_to(ROOT).parts[0] != "system"
        for node in ast.walk(tree(path))
        if isinstance(node, ast.Attribute)
        and (
            node.attr in ONLY_SOME.get(getattr(node.value, "id", ""), "").split()
            or node.attr in ONLY_SOME_LOOPS
        )
    ]
    assert not asked


def test_the_rules_of_import_are_kept():
    """One way, and nothing behind the daemon's back; see pyproject.toml."""
    tool = shutil.which("lint-imports", path=str(Path(sys.executable).parent))
    if tool is None:
        pytest.fail("lint-imports is missing: run `make setup`")
    done = subprocess.run(
        [tool, "--no-cache"], cwd=ROOT, capture_output=True, text=True, timeout=50, check=False
    )
    assert done.returncode == 0, done.stdout
