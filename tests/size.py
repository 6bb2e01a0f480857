"""How large the house is, and where it may be too large: `python -m tests.size [--list] [FOLDER]`.

Lines and modules of the product; public names; modules that one other alone imports; pairs of classes that
share more than half of their fields; class names that stand for several things. Not a test itself.
"""

from __future__ import annotations

import ast
import sys
from collections import defaultdict
from dataclasses import dataclass, field
from itertools import combinations
from pathlib import Path

HOUSES = ("acquire", "drivers", "sim", "system")
FEWEST_FIELDS = 3
"""Of a class that is compared with others: two that hold a name and a value are no twins."""
BEFORE = {
    "lines": 63_376,
    "modules": 414,
    "public names": 2325,
    "modules with one importer": 137,
    "pairs of classes alike": 69,
    "class names for several things": 51,
}
"""On 29 November 2026 (commit ab9cd73), by the same rules."""


@dataclass
class Size:
    """What was counted; lists hold what was found, each as it is shown."""

    lines: int = 0
    modules: int = 0
    public_names: int = 0
    one_importer: list[str] = field(default_factory=list)
    alike: list[str] = field(default_factory=list)
    same_name: list[str] = field(default_factory=list)


def size_of(root):
    """Count a tree."""
    paths = sorted(path for house in HOUSES for path in (root / house).rglob("*.py"))
    names = {path: ".".join(path.relative_to(root).with_suffix("").parts) for path in paths}
    names = {path: name.removesuffix(".__init__") for path, name in names.items()}
    size, importers, classes = Size(modules=len(paths)), defaultdict(set), []
    for path, name in names.items():
        text = path.read_text(encoding="utf-8")
        size.lines += len(text.splitlines())
        tree = ast.parse(text)
        size.public_names += sum(not each.startswith("_") for each in defined(tree))
        for target in imported(tree) & set(names.values()):
            importers[target].add(name)
        classes += [
            (each.name, name, fields(each)) for each in ast.walk(tree) if isinstance(each, ast.ClassDef)
        ]
    size.one_importer = sorted(f"{name} < {min(by)}" for name, by in importers.items() if len(by) == 1)
    for (one, here, mine), (other, there, its) in combinations(classes, 2):
        shared = mine & its
        if min(len(mine), len(its)) >= FEWEST_FIELDS and 2 * len(shared) > max(len(mine), len(its)):
            size.alike.append(f"{here}.{one} = {there}.{other}: {', '.join(sorted(shared))}")
    places = defaultdict(list)
    for each, module, _ in classes:
        places[each].append(module)
    size.same_name = sorted(
        f"{each}: {', '.join(at)}" for each, at in places.items() if len(at) > 1 and each[0] != "_"
    )
    return size


def defined(tree):
    """Names that a module defines at its top."""
    for node in tree.body:
        if isinstance(node, ast.FunctionDef | ast.AsyncFunctionDef | ast.ClassDef):
            yield node.name
        elif isinstance(node, ast.Assign):
            yield from (each.id for each in node.targets if isinstance(each, ast.Name))
        elif isinstance(node, ast.AnnAssign) and isinstance(node.target, ast.Name):
            yield node.target.id


def imported(tree):
    """Modules that one may import, wherever in it: of `from a import b` both a and a.b."""
    found = set()
    for node in ast.walk(tree):
        if isinstance(node, ast.Import):
            found |= {each.name for each in node.names}
        elif isinstance(node, ast.ImportFrom) and node.module:
            inner = {f"{node.module}.{each.name}" for each in node.names}
            found |= inner | {node.module}
    return found


def fields(tree):
    """Annotated names of a class: the fields of a record."""
    return {
        each.target.id
        for each in tree.body
        if isinstance(each, ast.AnnAssign) and isinstance(each.target, ast.Name)
    }


def told(size, *, whole):
    """Lines to print: each figure with what it was, and what was found where that is wanted."""
    figures = {
        "lines": size.lines,
        "modules": size.modules,
        "public names": size.public_names,
        "modules with one importer": size.one_importer,
        "pairs of classes alike": size.alike,
        "class names for several things": size.same_name,
    }
    for name, figure in figures.items():
        count = figure if isinstance(figure, int) else len(figure)
        yield f"{name:<32} {count:>8}   29 November: {BEFORE[name]:>6}"
        if whole and not isinstance(figure, int):
            yield from (f"    {each}" for each in figure)


if __name__ == "__main__":
    folder = next((word for word in sys.argv[1:] if not word.startswith("-")), None)
    here = Path(folder) if folder else Path(__file__).resolve().parents[1]
    print("\n".join(told(size_of(here), whole="--list" in sys.argv)))
