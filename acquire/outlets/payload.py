"""What others get to read: the JSON object of an entry, and the cells of its CSV row.

Both are the record itself, field by field, with the entry's id and the version of this spelling in front and
the sentences that people read behind. A field is never renamed or given another meaning within a version; new
fields may come, so readers pass over what they do not know. The columns of a CSV file are listed in
`columns.csv`, those of a kind in order. Not for files (csv_log) and not for topics (mqtt).
"""

from __future__ import annotations

import csv
import dataclasses
import json
import re
from collections.abc import Callable
from dataclasses import dataclass
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

from acquire.journal.entry import Entry
from acquire.journal.plain import KINDS
from acquire.words.beside import check_text, typed_reason
from acquire.words.faults import batch_doubt, likely
from acquire.words.notices import said
from acquire.words.units import findings_words, missing_words, relations_words, why_not
from acquire.words.verdicts import hint, reason

VERSION = 2
"""Of payloads and columns; part of topics and schema names. A collector of a line still reads version 1."""

HEAD = ("schema", "id", "seq", "kind")
"""Keys that stand before the record's own."""

SAID: dict[str, dict[str, Callable[[Any], str | list[str]]]] = {
    "verdict": {"reason": reason, "hint": hint},
    "typed_result": {"reason": typed_reason},
    "check_standard": {"text": check_text},
    "notice": {"text": said},
    "unit_result": {
        "explanation": lambda result: likely(result.hypotheses[0]) if result.hypotheses else "",
        "held": why_not,
        "findings": lambda result: list(findings_words(result)),
        "relations": lambda result: list(relations_words(result)),
        "not_tested": lambda result: list(missing_words(result)),
    },
    "batch": {"doubt": batch_doubt},
}
"""Sentences by kind of entry and key; nothing of ours reads them back."""

TEXT = {"type": "string", "description": "for people"}
TEXTS = {"type": "array", "items": {"type": "string"}, "description": "for people"}
LISTED = frozenset({"findings", "relations", "not_tested"})
"""Schemas of such a sentence, and of several; keys that hold several."""

OPTIONAL = frozenset({"after"})
"""Keys beside them that only a bench of a line sends."""


def payload_of(entry: Entry) -> dict[str, Any]:
    """Give the JSON object of an entry, without its evidence."""
    head = {"schema": VERSION, "id": entry.id, "seq": entry.seq, "kind": entry.kind}
    return {**head, **entry.payload, **said_of(entry)}


def said_of(entry: Entry) -> dict[str, str | list[str]]:
    """The sentences of an entry, kept on record as facts (`SAID`); none where it is no record."""
    said = SAID.get(entry.kind, {})
    try:
        record = entry.record if said else None
    except ValueError:
        return {}
    return {name: say(record) for name, say in said.items()}


def evidence_payload_of(entry: Entry) -> dict[str, Any]:
    """Give the JSON object of a verdict's evidence, with the id and the time of the verdict."""
    head = {"schema": VERSION, "id": entry.id, "seq": entry.seq, "kind": "evidence", "utc_s": entry.utc_s}
    return {**head, **(entry.evidence or {})}


def as_json(payload: dict[str, Any]) -> bytes:
    """UTF-8 JSON without line breaks. Half a surrogate pair (hostile text) becomes a question mark."""
    text = json.dumps(payload, ensure_ascii=False, separators=(",", ":"), allow_nan=False)
    return text.encode("utf-8", "replace")


# -------------------------------------------------------------------------- CSV


@dataclass(frozen=True, slots=True)
class CsvColumn:
    """One column of a CSV file.

    Attributes:
        name: in the header; ends with its unit of measure where it has one.
        about: for people.
        text: True where the content may come from a person or a file, so that a spreadsheet must be kept
            from taking it for a formula.
    """

    name: str
    about: str
    text: bool = False


def _listed() -> dict[str, tuple[CsvColumn, ...]]:
    found: dict[str, tuple[CsvColumn, ...]] = {}
    with Path(__file__).with_name("columns").with_suffix(".csv").open(newline="", encoding="utf-8") as file:
        for row in csv.DictReader(file):
            column = CsvColumn(row["name"], row["about"], text=bool(row["text"]))
            found[row["kind"]] = (*found.get(row["kind"], ()), column)
    return found


COLUMNS_OF = _listed()
"""Kinds of entries that have a row, with their columns. The first is `schema`, because a reader that does not
know the byte order mark sees it glued to this name."""

COLUMNS = COLUMNS_OF["verdict"]
"""The columns of a verdict's row, in order."""

FORMULA = re.compile(r"'*[=+\-@\t\r\n\uff0b\uff0d\uff1d\uff20]")
"""How a text begins that a spreadsheet might run: = + - @, tab, CR, LF, and the full-width signs (the list of
OWASP, "CSV Injection"); apostrophes in front are counted in, so that ours can be told from the text's own."""

UNPRINTABLE = re.compile("[\x00-\x08\x0b\x0c\x0e-\x1f\x7f\ud800-\udfff]")
"""Control characters that end or upset a row in some readers, and halves of surrogate pairs. Tab, CR and LF
stay: quotes hold them."""


def disarmed(text: str) -> str:
    """Text that no spreadsheet takes for a formula: an apostrophe goes in front of one that looks like it.

    `rearmed` undoes it exactly.
    """
    text = UNPRINTABLE.sub("\ufffd", text)
    return f"'{text}" if FORMULA.match(text) else text


def rearmed(text: str) -> str:
    """Take back the apostrophe of `disarmed`."""
    return text[1:] if text.startswith("'") and FORMULA.match(text) else text


def header(kind: str = "verdict") -> list[str]:
    """Names of the columns of one kind of entries."""
    return [column.name for column in COLUMNS_OF[kind]]


def row_of(entry: Entry) -> list[str]:
    """The cells of an entry's row, as text; empty where there is no value."""
    known = {**fields_of(entry), "schema": VERSION, "id": entry.id, "time_utc": iso_time(entry.utc_s)}
    return [cell(known.get(column.name), text=column.text) for column in COLUMNS_OF[entry.kind]]


def fields_of(entry: Entry) -> dict[str, Any]:
    """The fields of an entry's record with its sentences, those of a list in one text."""
    said = said_of(entry).items()
    return {**entry.payload, **{name: "; ".join(t) if isinstance(t, list) else t for name, t in said}}


def cell(value: Any, *, text: bool = True) -> str:
    """A value as it stands in a CSV file; `text`: from anybody, so that no spreadsheet may run it."""
    if value is None:
        return ""
    if isinstance(value, bool):
        return "true" if value else "false"
    if isinstance(value, float):
        return repr(value)  # the shortest text that gives the same number again
    return disarmed(str(value)) if text else str(value)


def iso_time(utc_s: float) -> str:
    """ISO 8601 in UTC to the millisecond; empty for a time outside the calendar's years."""
    try:
        return datetime.fromtimestamp(utc_s, UTC).isoformat(timespec="milliseconds").replace("+00:00", "Z")
    except (ValueError, OverflowError, OSError):
        return ""


# -------------------------------------------------------------------------- JSON Schema


def json_schema(kind: str) -> dict[str, Any]:
    """Give the JSON Schema (draft 2020-12) of one kind's payload.

    Args:
        kind: a key of `acquire.journal.plain.KINDS`.
    """
    schema = schema_of(KINDS[kind], f"{kind}", head=head_schema(kind))
    said = {name: TEXTS if name in LISTED else TEXT for name in SAID.get(kind, {})}
    return {
        **schema,
        "properties": {**schema["properties"], **said},
        "required": [*schema["required"], *said],
    }


def schema_of(record: Any, name: str, head: dict[str, Any] | None = None) -> dict[str, Any]:
    """Give the JSON Schema of any of our dataclasses, with further properties in front."""
    from pydantic import TypeAdapter  # noqa: PLC0415  (0.1 s that only the schema's reader pays)

    schema = TypeAdapter(record).json_schema(mode="serialization")
    _open_infinite(schema, record)
    schema = _inlined(schema, schema.pop("$defs", {}))
    front = head or {}
    return {
        "$schema": "https://json-schema.org/draft/2020-12/schema",
        "$id": f"urn:steadyohm:{VERSION}:{name}",
        **schema,
        "properties": {**front, **schema.get("properties", {})},
        "required": [
            *(name for name in front if name not in OPTIONAL),
            *(field.name for field in dataclasses.fields(record)),
        ],
    }


def head_schema(kind: str) -> dict[str, Any]:
    """Schemas of what stands before the record's own fields."""
    return {
        "schema": {"const": VERSION, "description": "version of this spelling"},
        "id": {
            "type": "string",
            "pattern": "^[0-9a-f]{16}-[1-9][0-9]*$",
            "description": "the same for every copy of this entry; count an id once",
        },
        "seq": {"type": "integer", "minimum": 1, "description": "rises by commit; gaps are normal"},
        "kind": {"const": kind},
        "after": {
            "type": "integer",
            "minimum": 0,
            "description": "from a bench of a line: seq of what was sent before, 0 at the start of the"
            " record; this message's own seq where the evidence of this verdict went before it",
        },
    }


def _inlined(part: Any, definitions: dict[str, Any]) -> Any:
    """Put each definition where it is used, so that a schema means the same inside another document."""
    if isinstance(part, dict):
        name = str(part.get("$ref", "")).removeprefix("#/$defs/")
        if name in definitions:
            return _inlined(definitions[name], definitions)
        return {key: _inlined(value, definitions) for key, value in part.items()}
    if isinstance(part, list):
        return [_inlined(item, definitions) for item in part]
    return part


def _open_infinite(schema: dict[str, Any], record: Any) -> None:
    """Degrees of freedom may be infinite, which JSON writes as null."""
    for name, part in [(record.__name__, schema), *schema.get("$defs", {}).items()]:
        if name == "Term" and "degrees_of_freedom" in part.get("properties", {}):
            part["properties"]["degrees_of_freedom"] = {
                "anyOf": [{"type": "number"}, {"type": "null"}],
                "description": "null where infinite",
            }
