"""On which line of a TOML file a setting stands. Not a parser: the file must already be valid (tomllib).

The keys of the answer are paths as pydantic reports them: names and 0-based places in lists, e.g.
`("winding", 2, "acceptance")`. A path that is not in the file gets the line of what would hold it: a missing
key the line of its table, a whole missing table line 0.
"""

from __future__ import annotations

import re
import tomllib
from collections.abc import Mapping

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


_BLANK = re.compile(r"(?:[ \t\r\n]|#[^\n]*)*")
_GAP = re.compile(r"[ \t]*")
_BARE_KEY = re.compile(r"[A-Za-z0-9_-]+")
_STRINGS = (
    re.compile(r'"""(?:[^"\\]|\\.|"{1,2}(?!"))*"{3,5}', re.DOTALL),
    re.compile(r"'''(?:[^']|'{1,2}(?!'))*'{3,5}", re.DOTALL),
    re.compile(r'"(?:[^"\\\n]|\\.)*"'),
    re.compile(r"'[^'\n]*'"),
)
"""Basic and literal strings, the multi-line forms first: their quotes begin like those of an empty string.
Up to two quotes may stand before the closing three."""
_WORD = re.compile(r"[^\s,\]}#]+(?:[ ][0-9][^\s,\]}#]*)?")
"""A number, a truth value or a date; a date and its time may be parted by one space."""


class _Scan:
    """One pass over the text; `at` is where it has got to."""

    def __init__(self, text: str) -> None:
        self.text = text.replace("\r\n", "\n")
        self.at = 0
        self.line = 1
        self.counted = 0
        self.found: dict[Path, int] = {}
        self.items: dict[Path, int] = {}  # path of an array of tables -> how many there are so far

    def tables(self) -> dict[Path, int]:
        """Scan everything."""
        table: Path = ()
        while self._skip(_BLANK) and self.at < len(self.text):
            if self._peek("["):
                table = self._header()
            else:
                self._pair(table)
        return self.found

    def _header(self) -> Path:
        """`[a.b]` or `[[a.b]]`; gives back the path with the places of arrays of tables filled in."""
        line = self._line_now()
        is_item = self._peek("[[")
        self.at += 2 if is_item else 1
        names = self._key()
        self._expect("]]" if is_item else "]")
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
        line = self._line_now()
        path = table
        for name in self._key():
            path = (*path, name)
            self.found.setdefault(path, line)
        self._expect("=")
        self._skip(_GAP)
        self._value(path)

    def _key(self) -> list[str]:
        """A dotted key, its parts bare or quoted; stops behind it."""
        names = []
        while True:
            self._skip(_GAP)
            names.append(self._key_part())
            self._skip(_GAP)
            if not self._peek("."):
                return names
            self.at += 1

    def _key_part(self) -> str:
        if self.text[self.at : self.at + 1] in ('"', "'"):
            quoted = self._string()
            return str(tomllib.loads(f"k = {quoted}")["k"])
        return self._take(_BARE_KEY)

    def _value(self, path: Path) -> None:
        if self._peek("["):
            self._array(path)
        elif self._peek("{"):
            self._inline_table(path)
        elif self.text[self.at : self.at + 1] in ('"', "'"):
            self._string()
        else:
            self._take(_WORD)

    def _array(self, path: Path) -> None:
        self.at += 1
        place = 0
        while self._skip(_BLANK) and not self._peek("]"):
            self.found[(*path, place)] = self._line_now()
            self._value((*path, place))
            self._skip(_BLANK)
            place += 1
            if self._peek(","):
                self.at += 1
        self._expect("]")

    def _inline_table(self, path: Path) -> None:
        self.at += 1
        while self._skip(_BLANK) and not self._peek("}"):
            self._pair(path)
            self._skip(_BLANK)
            if self._peek(","):
                self.at += 1
        self._expect("}")

    def _string(self) -> str:
        for form in _STRINGS:
            if match := form.match(self.text, self.at):
                self.at = match.end()
                return match.group()
        raise ValueError(f"line {self._line_now()}: a string does not end")

    def _skip(self, pattern: re.Pattern[str]) -> bool:
        """Step over what may be empty; always true, so that it can open a loop's condition."""
        if match := pattern.match(self.text, self.at):
            self.at = match.end()
        return True

    def _take(self, pattern: re.Pattern[str]) -> str:
        match = pattern.match(self.text, self.at)
        if match is None:
            raise ValueError(f"line {self._line_now()}: not expected here")
        self.at = match.end()
        return match.group()

    def _expect(self, sign: str) -> None:
        if not self._peek(sign):
            raise ValueError(f"line {self._line_now()}: {sign} expected")
        self.at += len(sign)

    def _peek(self, sign: str) -> bool:
        return self.text.startswith(sign, self.at)

    def _line_now(self) -> int:
        """Line of the present place; counts on from where it was last asked."""
        self.line += self.text.count("\n", self.counted, self.at)
        self.counted = self.at
        return self.line
