"""Lines of settings in TOML files, in all the forms that TOML allows."""

from __future__ import annotations

import tomllib

import pytest

from drivers.toml_lines import find_lines

EVERYTHING = '''# a comment with [brackets] = "and quotes
title = "x"                  # 2
"quoted key" = 1
'literal.key' = 2
a.b."c.d" = 3                # 5

[sheet]                      # 7
name = """
two = lines
[not.a.table]
and ""quotes"" """
after = 1                    # 12
raw = \'\'\'
''inside''
\'\'\'
then = 2                     # 16
date = 1979-05-27 07:32:00Z
next = { x = 1, y = { z = [1, 2] }, "q q" = "}" }   # 18

[[winding]]                  # 20
name = "a"
between = [
  "1",                       # 23
  # a comment, ] and "
  "2",
]
[winding.tolerance]          # 27
acceptance = "6 %"

[[winding]]                  # 30
name = "b # not a comment"
between = ["3", "4"]
[[winding.tap]]              # 33
at = 1
[[winding.tap]]
at = 2                       # 36

[ spaced . "out" ]           # 38
key	=	1
nested = [[1, 2],
          [3,
           4]]               # 42
escaped = "a \\" b \\\\"
empty = ""
last = true'''


@pytest.mark.parametrize(
    ("path", "line"),
    [
        (("title",), 2),
        (("quoted key",), 3),
        (("literal.key",), 4),
        (("a", "b", "c.d"), 5),
        (("a", "b"), 5),
        (("sheet",), 7),
        (("sheet", "name"), 8),
        (("sheet", "after"), 12),
        (("sheet", "raw"), 13),
        (("sheet", "then"), 16),
        (("sheet", "date"), 17),
        (("sheet", "next", "y", "z", 1), 18),
        (("sheet", "next", "q q"), 18),
        (("winding",), 20),
        (("winding", 0), 20),
        (("winding", 0, "between"), 22),
        (("winding", 0, "between", 0), 23),
        (("winding", 0, "between", 1), 25),
        (("winding", 0, "tolerance", "acceptance"), 28),
        (("winding", 1), 30),
        (("winding", 1, "name"), 31),
        (("winding", 1, "tap", 0, "at"), 34),
        (("winding", 1, "tap", 1, "at"), 36),
        (("spaced",), 38),
        (("spaced", "out", "key"), 39),
        (("spaced", "out", "nested", 1), 41),
        (("spaced", "out", "nested", 1, 1), 42),
        (("spaced", "out", "escaped"), 43),
        (("spaced", "out", "last"), 45),
    ],
)
@pytest.mark.parametrize("newline", ["\n", "\r\n"])
def test_every_form_of_key_has_its_line(path, line, newline):
    text = EVERYTHING.replace("\n", newline)
    tomllib.loads(text)
    assert find_lines(text).of(path) == line


def test_a_missing_key_has_the_line_of_its_table_and_a_missing_table_none():
    lines = find_lines(EVERYTHING)
    assert lines.of(("winding", 1, "acceptance")) == 30
    assert lines.of(("winding", 0, "tolerance", "serviceable", "deep")) == 27
    assert lines.of(("winding", 7)) == 20
    assert lines.of(("nothing",)) == 0
    assert lines.of(()) == 0


def test_an_empty_text_has_no_lines():
    assert find_lines("").known == {}
    assert find_lines("\n# nothing\n").known == {}


@pytest.mark.parametrize("text", ['a = "unclosed', "a 1", "[a", "a = [1, 2", "= 1"])
def test_what_is_no_toml_is_refused_and_not_looped_over(text):
    with pytest.raises(ValueError, match=r"line 1|not"):
        find_lines(text)
