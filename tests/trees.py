"""Syntax trees of our own modules, for tests that look at the shape of the code. Not a test itself."""

from __future__ import annotations

import ast
from functools import cache


@cache
def tree(path):
    """The syntax tree of a module."""
    return ast.parse(path.read_text(encoding="utf-8"))


@cache
def statements(path):
    """All its statements, at any depth; to look into expressions too takes five times as long."""
    found, todo = [], [tree(path)]
    while todo:
        inner = [n for n in ast.iter_child_nodes(todo.pop()) if not isinstance(n, ast.expr)]
        todo += inner
        found += [n for n in inner if isinstance(n, ast.stmt)]
    return found
