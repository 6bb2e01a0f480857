"""Laws of files: whatever the bytes, a file is compiled or refused by line; lines are those of the values."""

from __future__ import annotations

import math
import random
import string
import tempfile
import tomllib
from pathlib import Path

import pytest
from hypothesis import HealthCheck, given
from hypothesis import strategies as st

from acquire.answers.check import check_file
from acquire.errors import FileInvalid
from acquire.files.settings import Bench, load_bench
from acquire.records import Sheet
from acquire.sheets import load_sheet
from acquire.steps.pairs import PairTable
from drivers.toml_lines import find_lines
from tests.tries import tries

CONFIGS = Path(__file__).parents[2] / "configs"
SHEET_TEXTS = [path.read_text(encoding="utf-8") for path in sorted((CONFIGS / "sheets").glob("*.toml"))]
EXAMPLE = (
    (CONFIGS / "benches" / "example.toml")
    .read_text(encoding="utf-8")
    .replace("../", f"{CONFIGS.as_posix()}/")
)
FIRST, MQTT = EXAMPLE.split("# [mqtt]")
BENCH_TEXTS = [EXAMPLE, FIRST + "[mqtt]" + MQTT.replace("\n# password_file", "\n#!").replace("\n# ", "\n")]
"""The example as it is, and with MQTT switched on."""

# ------------------------------------------------------------------ a writer of TOML that knows its lines

KEYS = st.text(string.ascii_letters + string.digits + "_-", min_size=1, max_size=6) | st.text(max_size=5)
SCALARS = (
    st.text(max_size=12)
    | st.integers(-(2**60), 2**60)
    | st.booleans()
    | st.floats(allow_nan=False, allow_infinity=False)
    | st.datetimes()
)
VALUES = st.recursive(
    SCALARS,
    lambda inner: st.lists(inner, max_size=3) | st.dictionaries(KEYS, inner, max_size=3),
    max_leaves=6,
)
TABLES = st.dictionaries(KEYS, VALUES, max_size=4)
FILES = st.dictionaries(KEYS, TABLES | st.lists(TABLES, min_size=1, max_size=3), max_size=4)


class Writer:
    """Writes a tree in a random style and notes on which line each path went."""

    def __init__(self, dice):
        self.dice = dice
        self.lines = [""]
        self.noted = {}

    def put(self, text):
        first, *rest = text.split("\n")
        self.lines[-1] += first
        self.lines += rest

    def note(self, path):
        self.noted[path] = len(self.lines)

    def gap(self, *, inside):
        """Blank space; inside lists also new lines and comments."""
        choices = ["", " ", "\t"] + (["\n", " # [x] = '\"\n  "] if inside else [])
        self.put(self.dice.choice(choices))

    def key(self, name):
        bare = name and all(sign in string.ascii_letters + string.digits + "_-" for sign in name)
        literal = "'" not in name and all(sign.isprintable() for sign in name)
        if bare and self.dice.random() < 0.7:
            return name
        return f"'{name}'" if literal and self.dice.random() < 0.5 else self.basic(name)

    @staticmethod
    def basic(text):
        escaped = "".join(
            sign if sign.isprintable() and sign not in '"\\' else f"\\U{ord(sign):08X}" for sign in text
        )
        return f'"{escaped}"'

    def string(self, text):
        style = self.dice.randrange(4)
        plain = all(sign.isprintable() or sign == "\n" for sign in text)
        if style == 0 and plain and "'''" not in text and not text.endswith("'"):
            return f"'''\n{text}'''"
        if style == 1 and plain and "'" not in text and "\n" not in text:
            return f"'{text}'"
        if style == 2 and plain:
            body = text.replace("\\", "\\\\").replace('"""', '""\\"')
            return f'"""{body[:-1]}\\""""' if body.endswith('"') else f'"""\n{body}"""'
        return self.basic(text)

    def value(self, path, value):
        if isinstance(value, str):
            self.put(self.string(value))
        elif isinstance(value, bool):
            self.put(str(value).lower())
        elif isinstance(value, list):
            self.put("[")
            for place, item in enumerate(value):
                self.gap(inside=True)
                self.note((*path, place))
                self.value((*path, place), item)
                self.gap(inside=True)
                self.put("," if place < len(value) - 1 or self.dice.random() < 0.3 else "")
            self.gap(inside=True)
            self.put("]")
        elif isinstance(value, dict):
            self.put("{")
            for place, (name, item) in enumerate(value.items()):
                self.put(", " if place else " ")
                self.pair((*path, name), name, item)
            self.put(" }")
        elif isinstance(value, float):
            self.put(repr(value) if "e" in repr(value) or "." in repr(value) else f"{value}.0")
        else:
            self.put(
                value.isoformat(sep=self.dice.choice("T ")) if hasattr(value, "isoformat") else str(value)
            )

    def pair(self, path, name, value):
        self.note(path)
        self.put(self.key(name))
        self.gap(inside=False)
        self.put("=")
        self.gap(inside=False)
        self.value(path, value)

    def table(self, path, table):
        for name, value in table.items():
            if isinstance(value, dict) and value and self.dice.random() < 0.5:
                self.dotted((*path, name), name, value)
            else:
                self.pair((*path, name), name, value)
                self.put(self.dice.choice(["\n", " # a = 1\n", "\n\n\t"]))

    def dotted(self, path, name, table):
        """A table as `name.key = value`, one line for each of its keys."""
        self.note(path)
        for inner, value in table.items():
            self.put(self.key(name) + self.dice.choice([".", " . "]))
            self.pair((*path, inner), inner, value)
            self.put("\n")

    def file(self, tree):
        for name, content in tree.items():
            for place, table in enumerate(content if isinstance(content, list) else [content]):
                path = (name, place) if isinstance(content, list) else (name,)
                self.note(path)
                self.put(
                    f"[[{self.key(name)}]]\n" if isinstance(content, list) else f"[ {self.key(name)} ]\n"
                )
                self.table(path, table)
        return "\n".join(self.lines)


@tries(150, suppress_health_check=[HealthCheck.too_slow])
@given(FILES, st.integers(0, 2**32), st.booleans())
def test_every_value_of_a_random_file_is_found_on_its_line(tree, seed, crlf):
    writer = Writer(random.Random(seed))
    text = writer.file(tree)
    if crlf:
        text = text.replace("\n", "\r\n")
    tomllib.loads(text)  # what was written is TOML
    lines = find_lines(text)
    assert {path: lines.of(path) for path in writer.noted} == writer.noted


@tries(200)
@given(st.text("[]{}=.,#\"'\\ \t\n\r01ab", max_size=40))
def test_whatever_tomllib_takes_the_lines_take_with_the_same_paths(text):
    try:
        tree = tomllib.loads(text)
    except tomllib.TOMLDecodeError:
        return
    assert paths_of(tree) <= set(find_lines(text).known)


def paths_of(value, path=()):
    """Every path of a tree, except a table that stands in the file only by what is in it."""
    found = {path} if path else set()
    items = value.items() if isinstance(value, dict) else enumerate(value) if isinstance(value, list) else ()
    for key, item in items:
        found |= paths_of(item, (*path, key))
    return found


# ------------------------------------------------------------------ any bytes: a file, or FileInvalid


def outcome(load, raw):
    """What comes of a file with these bytes: the result, or the faults."""
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "file.toml"
        path.write_bytes(raw)
        report = check_file(path)  # never raises
        try:
            return load(path), report
        except FileInvalid as error:
            faults = error.faults
        assert faults
        for fault in faults:
            assert fault.file == path
            assert 0 <= fault.line <= raw.count(b"\n") + 1
            assert fault.what.strip()
            assert "\n" not in str(fault)
        return None, report


def mutated(dice, text, words):
    """A file with a few slips: lines lost, doubled, swapped, words replaced."""
    lines = text.split("\n")
    for _ in range(dice.randint(1, 4)):
        at = dice.randrange(len(lines))
        match dice.randrange(6):
            case 0:
                del lines[at]
            case 1:
                lines.insert(at, lines[dice.randrange(len(lines))])
            case 2:
                lines[at] = lines[at].replace(
                    dice.choice(["a", "1", '"', "=", "o", "[", " "]), dice.choice(words), 1
                )
            case 3:
                left, equals, _ = lines[at].partition("=")
                lines[at] = f"{left}{equals} {dice.choice(words)}" if equals else lines[at]
            case 4:
                other = dice.randrange(len(lines))
                lines[at], lines[other] = lines[other], lines[at]
            case 5:
                lines[at] = lines[at][: dice.randrange(len(lines[at]) + 1)]
        lines = lines or [""]
    return "\n".join(lines)


WORDS = [
    *('"1"', '"CORE"', '"12 parsnips"', '"1,5 ohm"', '"nan ohm"', '"1e-9 ohm"', '"1e15 ohm"', '"6 %"'),
    *('"-3 %"', "5", "-1", "1e400", "nan", "inf", "true", "[]", '[["1"], ["2"]]', '["1", "2"]', '["1", "1"]'),
    *("{}", "{ a = 1 }", '""', '"\\u001b[31m"', '"x y"', '"AWG 99"', '"open"', '"typed"', "1979-05-27"),
    *('"tcp:[::1]:99999"', "9" * 30, '"maximum_risk"', '"../sheets/plover-80.toml"', "'''", '"1\'"', "2"),
    *("4", '"none"', '"value"', '"\\u0000"'),
]


@tries(120)
@given(st.sampled_from(SHEET_TEXTS), st.randoms(use_true_random=False))
def test_a_sheet_with_slips_is_compiled_or_refused_by_line(text, dice):
    sheet, _ = outcome(load_sheet, mutated(dice, text, WORDS).encode())
    if sheet is not None:
        assert isinstance(sheet, Sheet)
        table = PairTable(sheet)
        assert all(table.nominal_ohm(pair) > 0 for pair in table.pairs())
        assert all(math.isfinite(branch.reference_ohm) for branch in sheet.branches)
        assert len({step.name for step in sheet.steps}) == len(sheet.steps)


@tries(120)
@given(st.sampled_from(BENCH_TEXTS), st.randoms(use_true_random=False))
def test_a_bench_file_with_slips_is_taken_or_refused_by_line(text, dice):
    bench, _ = outcome(load_bench, mutated(dice, text, WORDS).encode())
    assert bench is None or isinstance(bench, Bench)


@tries(100)
@given(st.binary(max_size=200) | st.sampled_from(SHEET_TEXTS).map(lambda text: text.encode("utf-16")))
def test_any_bytes_are_a_file_or_refused(raw):
    for load in (load_sheet, load_bench):
        outcome(load, raw)


@pytest.mark.parametrize(
    "text",
    [
        "a." * 900 + "b = 1",
        "a = " + "[" * 5000 + "]" * 5000,
        "a = " + "9" * 5000,
        "a." * 3000 + "b = 1",
        "[sheet]\nname = " + '"' * 7,
    ],
)
def test_files_made_to_break_a_parser_are_refused_in_words(text):
    for load in (load_sheet, load_bench):
        result, report = outcome(load, text.encode())
        assert result is None
        assert report.faults
