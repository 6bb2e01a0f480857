"""Finds places that decide by reading a sentence, in Python and in the pages' scripts. Not a test.

By the syntax tree: a sentence is known by what holds it, an attribute, key or variable named like one. To
compare it, look for something in it, cut or match it is to read it back; to show it, or ask whether there is
one, is not.
"""

from __future__ import annotations

import ast
from collections.abc import Iterator

import tree_sitter_javascript
from tree_sitter import Language, Node, Parser

HOLDERS = frozenset(
    [
        "text",
        "reason",
        "hint",
        "sentence",
        "said",
        "held",
        "findings",
        "not_tested",
        "answer",
        "word",
        "words",
    ]
)
"""Attributes and keys that hold sentences."""

NAMES = frozenset(["reason", "hint", "sentence", "sentences", "held", "findings", "not_tested"])
"""Variables that do; a `text` may be anything typed or read from a file, an `answer` an instrument's."""

READING = frozenset(
    [
        "startswith",
        "endswith",
        "removeprefix",
        "removesuffix",
        "partition",
        "rpartition",
        "split",
        "rsplit",
        "splitlines",
        "find",
        "index",
        "count",
        "match",
        "search",
        "fullmatch",
        "findall",
        "finditer",
        "startsWith",
        "endsWith",
        "includes",
        "indexOf",
        "lastIndexOf",
        "matchAll",
        "test",
        "exec",
        "slice",
        "substring",
    ]
)
"""Methods of a text, or of a regular expression, that look into it."""


# ------------------------------------------------------------------ Python


def in_python(source: str) -> Iterator[tuple[int, str]]:
    """Line and expression of each place."""
    for node in ast.walk(ast.parse(source)):
        if isinstance(node, ast.Compare):
            sides = [node.left, *node.comparators]
            known = [side for side in sides if not (isinstance(side, ast.Constant) and side.value is None)]
            found = len(known) == len(sides) and any(map(_holds, sides))
        elif isinstance(node, ast.Call) and isinstance(node.func, ast.Attribute):
            parts = [node.func.value, *node.args]
            found = node.func.attr in READING and any(map(_holds, parts))
        elif isinstance(node, ast.Match):
            found = _holds(node.subject)
        else:
            found = False
        if found:
            yield node.lineno, ast.unparse(node)


def _holds(node: ast.AST) -> bool:
    name = ""
    match node:
        case ast.Attribute(attr=name) | ast.Subscript(slice=ast.Constant(value=str(name))):
            pass
        case ast.Call(func=ast.Attribute(attr="get"), args=[ast.Constant(value=str(name)), *_]):
            pass
        case ast.Call(func=ast.Attribute(value=inner)) | ast.Call(func=ast.Name(id="str"), args=[inner, *_]):
            return _holds(inner)
        case ast.Call(func=ast.Name(id=made)):
            return made in {"said", "asked", "refused"}
        case ast.Name(id=variable):
            return variable in NAMES
    return name in HOLDERS


# ------------------------------------------------------------------ scripts

_PARSER = Parser(Language(tree_sitter_javascript.language()))
_COMPARING = frozenset({"==", "===", "!=", "!==", "in"})


def in_script(source: str) -> Iterator[tuple[int, str]]:
    """Line and expression of each place.

    Raises:
        ValueError: the script cannot be parsed.
    """
    root = _PARSER.parse(source.encode()).root_node
    if root.has_error:
        raise ValueError("a script cannot be parsed")
    for node in _walk(root):
        if _reads(node):
            yield node.start_point[0] + 1, _text(node)


def _walk(node: Node) -> Iterator[Node]:
    yield node
    for child in node.children:
        yield from _walk(child)


def _reads(node: Node) -> bool:
    if node.type == "binary_expression":
        operator, left, right = (node.child_by_field_name(each) for each in ("operator", "left", "right"))
        return operator is not None and _text(operator) in _COMPARING and (_keeps(left) or _keeps(right))
    if node.type == "call_expression":
        callee, given = node.child_by_field_name("function"), node.child_by_field_name("arguments")
        if callee is None or given is None or callee.type != "member_expression":
            return False
        method = callee.child_by_field_name("property")
        parts = [callee.child_by_field_name("object"), *given.named_children]
        return method is not None and _text(method) in READING and any(map(_keeps, parts))
    return node.type == "switch_statement" and _keeps(node.child_by_field_name("value"))


def _keeps(node: Node | None) -> bool:
    """Whether a node holds a sentence, or is a method of one, or one with something in its place."""
    if node is None:
        return False
    kind, inner = node.type, node.child_by_field_name("function")
    if kind in ("parenthesized_expression", "binary_expression"):
        return any(map(_keeps, node.named_children))
    if kind == "call_expression":
        method = inner if inner is not None and inner.type == "member_expression" else None
        return method is not None and _keeps(method.child_by_field_name("object"))
    key = {"member_expression": "property", "subscript_expression": "index"}.get(kind)
    name = node if key is None else node.child_by_field_name(key)
    held = "" if name is None else _text(name).strip("\"'`")
    return held in HOLDERS if key else kind == "identifier" and held in NAMES | {"word"}


def _text(node: Node) -> str:
    return (node.text or b"").decode()
