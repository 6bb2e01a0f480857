"""Reading one TOML file of ours, and collecting all of its faults with line, key and remedy.

Not for what a file means: sheets and settings know their own keys.
"""

from __future__ import annotations

import hashlib
import tomllib
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass, field
from difflib import get_close_matches
from pathlib import Path
from typing import Annotated, Any, TypeVar, get_args

from pydantic import BaseModel, ConfigDict, Field, ValidationError
from pydantic.fields import FieldInfo
from pydantic_core import ErrorDetails

from acquire.errors import NAME_AND_RIGHTS, Fault, FileInvalid, why_unreadable
from drivers.plain_file import read_file
from drivers.toml_lines import Path as KeyPath
from drivers.toml_lines import TomlLines, find_lines

SECRETS = frozenset({"password", "user"})
"""Keys that people try; what they hold belongs in the environment."""

LARGEST_BYTES = 1_000_000
"""No sheet or bench file comes near this; a larger one was named by mistake."""

MOST_TABLES = 200
"""Of one sort; a unit with more windings or steps than that is a mistake."""

LONGEST_LINE = 2000
"""Characters; keys of thousands of parts would take minutes to read."""

Text = Annotated[str, Field(max_length=500, pattern=r"^[^\x00-\x1f\x7f-\x9f\u2028\u2029]*$")]
"""A text on one line: what is shown on a terminal and written to CSV must not carry control characters."""
Name = Annotated[
    str,
    Field(
        min_length=1,
        max_length=60,
        pattern=r"^[^\s\x00-\x1f\x7f-\x9f]([^\x00-\x1f\x7f-\x9f\u2028\u2029]*[^\s\x00-\x1f\x7f-\x9f])?$",
        description="A name is one line and neither begins nor ends with a space.",
    ),
]
Flag = Annotated[bool, Field(strict=True)]


class Table(BaseModel):
    """A table of a file: unknown keys are refused, nothing changes afterwards."""

    model_config = ConfigDict(extra="forbid", frozen=True, populate_by_name=False, defer_build=True)


Model = TypeVar("Model", bound=BaseModel)


@dataclass(frozen=True, slots=True)
class TomlFile:
    """One file as it was read.

    Attributes:
        path: as it was named.
        tree: its tables.
        lines: where everything stands.
        content_hash: SHA-256 of its bytes, hexadecimal.
    """

    path: Path
    tree: dict[str, Any]
    lines: TomlLines
    content_hash: str


def read_toml(path: Path, kind: str) -> TomlFile:
    """Read a file.

    Args:
        path: where it is.
        kind: what it should be, for messages: "sheet", "bench file".

    Raises:
        FileInvalid: it is missing, no regular file, too large, no text or no TOML.
    """
    raw = _bytes_of(path, kind)
    try:
        text = raw.decode("utf-8-sig")
    except UnicodeDecodeError as error:
        line = raw.count(b"\n", 0, error.start) + 1
        raise _refused(path, "this is not UTF-8 text.", "Save the file as UTF-8.", line) from error
    for number, written in enumerate(text.split("\n"), start=1):
        if len(written) > LONGEST_LINE:
            raise _refused(path, f"this line has {len(written)} characters.", "Break it up.", number)
    try:
        tree = tomllib.loads(text)
        lines = find_lines(text)
    except tomllib.TOMLDecodeError as error:
        what, line = _in_plain_words(str(error), text)
        raise _refused(path, what, "See toml.io for how TOML is written.", line) from error
    except RecursionError as error:
        raise _refused(path, "lists or tables are nested too deeply.", "Keep it flat.") from error
    except ValueError as error:  # a number of thousands of digits
        raise _refused(path, f"a value cannot be read ({error}).", "Shorten it.") from error
    return TomlFile(path, tree, lines, hashlib.sha256(raw).hexdigest())


def _bytes_of(path: Path, kind: str) -> bytes:
    try:
        return read_file(path, LARGEST_BYTES)
    except FileNotFoundError as error:
        raise _refused(path, f"there is no such {kind}.", _look_alike(path)) from error
    except (OSError, ValueError) as error:  # ValueError: a name with a null character
        why = why_unreadable(error)
        raise _refused(path, f"the {kind} cannot be read ({why}).", NAME_AND_RIGHTS) from error


def _refused(path: Path, what: str, remedy: str, line: int = 0) -> FileInvalid:
    return FileInvalid([Fault(path, line, "", what, remedy)])


def _look_alike(path: Path) -> str:
    """Which file was probably meant."""
    try:
        there = sorted(each.name for each in path.parent.iterdir() if each.suffix == ".toml")
    except OSError:
        return f"The folder {path.parent} cannot be listed either."
    near = get_close_matches(path.name, there, 1)
    if near:
        return f"Did you mean {path.parent / near[0]}?"
    return f"The folder {path.parent} holds {', '.join(there[:8])}." if there else "Check the name."


def _in_plain_words(message: str, text: str) -> tuple[str, int]:
    """The parser's message without its place, and the line of that place."""
    said, _, place = message.partition(" (at ")
    if place.startswith("line "):
        line = int(place.removeprefix("line ").partition(",")[0])
    else:
        line = text.count("\n") + (not text.endswith("\n"))
    return f"this is no TOML: {said[:1].lower()}{said[1:]}.", max(line, 1)


@dataclass(slots=True)
class Faults:
    """All faults of one file, in the order of its lines.

    Attributes:
        file: the file they are in.
        found: so far.
    """

    file: TomlFile
    found: list[Fault] = field(default_factory=list)

    def add(self, at: KeyPath, what: str, remedy: str = "") -> None:
        """Note a fault at a key."""
        fault = Fault(self.file.path, self.file.lines.of(at), key_text(at), what, remedy)
        if fault not in self.found:
            self.found.append(fault)

    def check(self, model: type[Model], given: object, at: KeyPath) -> Model | None:
        """Check one table; gives None where it has faults, which are then noted.

        A table whose only faults are unknown keys is given back without them, so that it can still take part
        in the checks of the whole.

        Args:
            model: its keys.
            given: from the tree.
            at: where it stands in the file.
        """
        if not isinstance(given, dict):
            self.add(at, "this must be a table.", f"Begin it with a line [{key_text(at)}].")
            return None
        context = {"folder": self.file.path.parent}
        try:
            return model.model_validate(given, context=context)
        except ValidationError as error:
            details = error.errors(include_url=False)
        for detail in details:
            self._note(model, detail, at)
        unknown = {d["loc"][0] for d in details if d["type"] == "extra_forbidden" and len(d["loc"]) == 1}
        if len(unknown) < len(details):
            return None
        known = {key: value for key, value in given.items() if key not in unknown}
        try:
            return model.model_validate(known, context=context)
        except ValidationError:  # what a validator of the whole table found; told once the keys are right
            return None

    def several(self, model: type[Model], name: str) -> list[tuple[KeyPath, Model | None]]:
        """Check tables that stand as often as needed, each with its place; None for one with faults."""
        given = self.file.tree.get(name, [])
        if not isinstance(given, list):
            self.add((name,), "this table may stand several times.", f"Write [[{name}]], not [{name}].")
            return [((name,), None)]
        if len(given) > MOST_TABLES:
            self.add((name,), f"these are {len(given)} tables.", f"At most {MOST_TABLES} are allowed.")
            return [((name,), None)]
        return [((name, at), self.check(model, each, (name, at))) for at, each in enumerate(given)]

    def unknown_tables(self, known: Iterable[str], kind: str) -> None:
        """Note every key at the top of the file that is none of these.

        Args:
            known: names of tables.
            kind: what the file should be: "sheet", "bench file".

        Raises:
            FileInvalid: none is known at all, so this is some other file; one fault says so.
        """
        known = tuple(known)
        if self.file.tree and not any(name in known for name in self.file.tree):
            remedy = f"A {kind} has the tables {', '.join(known)}."
            raise _refused(self.file.path, f"this is no {kind}.", remedy)
        for name in self.file.tree:
            if name not in known:
                self.add((name,), "this is not known here.", did_you_mean(name, known))

    def stop_here(self) -> None:
        """Refuse the file if anything was found.

        Raises:
            FileInvalid: with all faults.
        """
        if self.found:
            raise FileInvalid(sorted(self.found, key=lambda fault: fault.line))

    def _note(self, model: type[BaseModel], detail: ErrorDetails, at: KeyPath) -> None:
        own = tuple(detail["loc"])
        what, remedy = in_words(detail, field_at(model, own), keys_at(model, own[:-1]))
        self.add((*at, *own), what, remedy)


def key_text(path: KeyPath) -> str:
    """A path as a person counts: `winding[2].acceptance` is the second winding's."""
    return "".join(f"[{part + 1}]" if isinstance(part, int) else f".{part}" for part in path).lstrip(".")


def in_words(detail: ErrorDetails, about: FieldInfo | None, known: Iterable[str]) -> tuple[str, str]:
    """What is wrong with a setting and what to do, from pydantic's account of it."""
    key = next((part for part in reversed(detail["loc"]) if isinstance(part, str)), "")
    context: Mapping[str, Any] = detail.get("ctx", {})
    example = _said(about, "examples")
    such = f"Write it like {key} = {example}." if example else ""
    kind, given = detail["type"], _given(detail)
    if kind == "extra_forbidden" and key.lower() in SECRETS:
        return "no secret may stand in this file.", f"Use {key}_env, the name of an environment variable."
    if kind == "sentence":
        return context["what"], context["remedy"]
    if kind in ("enum", "literal_error"):
        return f"{given} is none of {context['expected']}.", ""
    plain = {
        "missing": ("this is missing.", f"Add {key} = {example or '…'}."),
        "extra_forbidden": ("this key is not known here.", did_you_mean(key, known)),
        "string_type": (f"{given} is no text.", such or "Put it in quotation marks."),
        "bool_type": (f"{given} is neither true nor false.", "Write true or false, unquoted."),
        "int_type": (f"{given} is no whole number.", such or "Write a number, unquoted."),
        "float_type": (f"{given} is no number.", such or "Write a number, unquoted."),
        "tuple_type": (f"{given} is no list.", such),
        "dict_type": (f"{given} is no table.", such),
        "model_type": (f"{given} is no table.", such),
        "string_pattern_mismatch": (f"{given} cannot be used here.", _allowed(about, such)),
    }
    if kind in plain:
        return plain[kind]
    message = detail["msg"].removeprefix("Value error, ")
    shown = "" if kind == "value_error" else f"{given}: "
    return f"{shown}{message[:1].lower()}{message[1:]}.", such


def _allowed(about: FieldInfo | None, such: str) -> str:
    """What a text may consist of, where its field says so."""
    return f"{_said(about, 'description')} {such}".strip()


def _said(about: FieldInfo | None, what: str) -> str:
    """The description or first example of a field, or of what it holds; empty where it has none."""
    if about is None:
        return ""
    told = about.description if what == "description" else (about.examples or [""])[0]
    if told:
        return str(told)
    inner = [part for part in _parts(about.annotation) if isinstance(part, FieldInfo)]
    return next((text for part in inner if (text := _said(part, what))), "")


def _parts(annotation: Any) -> Iterator[Any]:
    """Everything that an annotation is made of, through unions, lists and `Annotated`."""
    for part in get_args(annotation):
        yield part
        yield from _parts(part)


def _given(detail: ErrorDetails) -> str:
    given = detail.get("input")
    if isinstance(given, bool):
        return str(given).lower()
    if isinstance(given, dict | list):
        return "a table" if isinstance(given, dict) else "a list"
    text = "".join(sign if sign.isprintable() else "�" for sign in str(given))
    short = text if len(text) <= 40 else f"{text[:40]}…"
    return f'"{short}"' if isinstance(given, str) else short


def did_you_mean(key: str, known: Iterable[str]) -> str:
    """Remedy for an unknown name: the nearest known one, else all of them."""
    known = list(known)
    near = get_close_matches(key, known, 1, 0.6)
    if near:
        return f'Did you mean "{near[0]}"?'
    return f"Known are {', '.join(known)}." if known else "Nothing is known here."


def keys_at(model: type[BaseModel], path: KeyPath) -> list[str]:
    """Keys that the table at a path below a model may have."""
    inner = _model_at(model, path)
    return [] if inner is None else [key_of(name, about) for name, about in inner.model_fields.items()]


def field_at(model: type[BaseModel], path: KeyPath) -> FieldInfo | None:
    """What the model says of the key at a path; None for an unknown key."""
    names = [index for index, part in enumerate(path) if isinstance(part, str)]
    if not names:
        return None
    inner = _model_at(model, path[: names[-1]])
    fields = {} if inner is None else inner.model_fields
    return next((about for name, about in fields.items() if key_of(name, about) == path[names[-1]]), None)


def key_of(name: str, about: FieldInfo) -> str:
    """How a field is written in the file."""
    return about.alias or name


def _model_at(model: type[BaseModel], path: KeyPath) -> type[BaseModel] | None:
    for part in path:
        if isinstance(part, str):
            about = field_at(model, (part,))
            inner = None if about is None else _inner_model(about.annotation)
            if inner is None:
                return None
            model = inner
    return model


def _inner_model(annotation: Any) -> type[BaseModel] | None:
    """The table that a field holds, through lists and `| None`."""
    if isinstance(annotation, type) and issubclass(annotation, BaseModel):
        return annotation
    return next((found for each in get_args(annotation) if (found := _inner_model(each))), None)
