"""On which line of a TOML file a setting stands. Not a parser: the file must already be valid (tomllib).

The keys of the answer are paths as pydantic reports them: names and 0-based places in lists, e.g.
`("winding", 2, "acceptance")`. A path that is not in the file gets the line of what would hold it: a missing
key the line of its table, a whole missing table line 0.
"""

from __future__ import annotations

import re
import tomllib
from collections import deque
from collections.abc import Iterator, Mapping

Path = tuple[str | int, ...]
"""Names of tables and keys, and 0-based places in lists."""


class TomlLines:
    """Lines of all tables, keys and list items of one file.

    Attributes:
        known: path -> 1-based line.
    """

    def __init__(self, known: Mapping[Path, int]) -> None:
        self.known = dict(known)

    def of(self, path: Path) -> int:
        """Line of a path, else of the nearest thing that holds it; 0 where nothing does."""
        for length in range(len(path), 0, -1):
            if (line := self.known.get(path[:length])) is not None:
                return line
        return 0


def find_lines(text: str) -> TomlLines:
    """Find the line of everything in a TOML text.

    Args:
        text: accepted by `tomllib.loads`.

    Raises:
        ValueError: it is no TOML after all.
    """
    return TomlLines(_Scan(text).tables())


_TOKEN = re.compile(
    r'''(?P<blank>[ \t\r\n]+|\#[^\n]*)
    |(?P<quoted>"""(?:[^"\\]|\\.|"{1,2}(?!"))*"{3,5}|'''
    r"""'''(?:[^']|'{1,2}(?!'))*'{3,5}|"""
    r""""(?:[^"\\\n]|\\.)*"|'[^'\n]*')
    |(?P<sign>[][{}=,.])
    |(?P<word>[^][{}=,.\s"'\#]+)""",
    re.DOTALL | re.VERBOSE,
)
"""Blanks and comments; strings, the multi-line forms first, as their quotes begin like those of an empty one,
and up to two quotes may stand before the closing three; signs; pieces of keys, numbers, words, dates."""


def _tokens(text: str) -> Iterator[tuple[int, str, str]]:
    """Line, sort and text of each; the last says where the text ends."""
    at, line = 0, 1
    while at < len(text):
        match = _TOKEN.match(text, at)
        if match is None:
            raise ValueError(f"line {line}: not expected here")
        if match.lastgroup != "blank":
            yield line, str(match.lastgroup), match[0]
        at, line = match.end(), line + match[0].count("\n")
    yield line, "end", ""


class _Scan:
    """One pass over the tokens; the first of `left` is where it has got to."""

    def __init__(self, text: str) -> None:
        self.left = deque(_tokens(text))
        self.found: dict[Path, int] = {}
        self.items: dict[Path, int] = {}  # path of an array of tables -> how many there are so far

    def tables(self) -> dict[Path, int]:
        """Scan everything."""
        table: Path = ()
        while self.left[0][1] != "end":
            if self._is("["):
                table = self._header()
            else:
                self._pair(table)
        return self.found

    def _header(self) -> Path:
        """`[a.b]` or `[[a.b]]`; gives back the path with the places of arrays of tables filled in."""
        line = self._take("[")
        is_item = self._is("[")
        if is_item:
            self._take("[")
        names = self._key()
        for _ in range(1 + is_item):
            self._take("]")
        path: Path = ()
        for index, name in enumerate(names):
            path = (*path, name)
            if index == len(names) - 1 and is_item:
                self.found.setdefault(path, line)
                self.items[path] = self.items.get(path, 0) + 1
            if path in self.items:
                path = (*path, self.items[path] - 1)
            if index < len(names) - 1:
                self.found.setdefault(path, line)
        self.found[path] = line
        return path

    def _pair(self, table: Path) -> None:
        """`key.key = value`."""
        line, path = self.left[0][0], table
        for name in self._key():
            path = (*path, name)
            self.found.setdefault(path, line)
        self._take("=")
        self._value(path)

    def _key(self) -> list[str]:
        """A dotted key, its parts bare or quoted."""
        names = []
        while True:
            line, sort, text = self.left.popleft()
            if sort not in ("quoted", "word"):
                raise ValueError(f"line {line}: a key expected")
            names.append(text if sort == "word" else str(tomllib.loads(f"k = {text}")["k"]))
            if not self._is("."):
                return names
            self._take(".")

    def _value(self, path: Path) -> None:
        if self._is("[") or self._is("{"):
            self._listed(path, "]" if self._is("[") else "}")
            return
        line, sort, _ = self.left.popleft()
        if sort not in ("quoted", "word"):
            raise ValueError(f"line {line}: a value expected")
        # A number has points, a date may be parted from its time: what is on the line belongs to it.
        while (sort == "word" and self.left[0][:2] == (line, "word")) or self.left[0][::2] == (line, "."):
            self.left.popleft()

    def _listed(self, path: Path, end: str) -> None:
        """A list or an inline table."""
        self.left.popleft()
        place = 0
        while not self._is(end):
            if end == "]":
                self.found[*path, place] = self.left[0][0]
                self._value((*path, place))
            else:
                self._pair(path)
            place += 1
            if self._is(","):
                self._take(",")
        self._take(end)

    def _is(self, sign: str) -> bool:
        return self.left[0][1:] == ("sign", sign)

    def _take(self, sign: str) -> int:
        line, *rest = self.left.popleft()
        if rest != ["sign", sign]:
            raise ValueError(f"line {line}: {sign} expected")
        return line
