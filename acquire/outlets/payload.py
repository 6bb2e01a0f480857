"""What others get to read: the JSON object of an entry, and the columns of a verdict's CSV row.

Both are the record itself, field by field, with the entry's id and the version of this spelling in front. A
field is never renamed or given another meaning within a version; new fields may come, so readers pass over
what they do not know. Not for files (csv_log) and not for topics (mqtt).
"""

from __future__ import annotations

import dataclasses
import json
import re
from dataclasses import dataclass
from datetime import UTC, datetime
from typing import Any

from acquire.journal.entry import Entry
from acquire.journal.plain import KINDS, from_plain
from acquire.records import Recorded

VERSION = 1
"""Of payloads and columns; part of topics and schema names."""

HEAD = ("schema", "id", "seq", "kind")
"""Keys that stand before the record's own."""


def payload_of(entry: Entry) -> dict[str, Any]:
    """Give the JSON object of an entry, without its evidence."""
    return {"schema": VERSION, "id": entry.id, "seq": entry.seq, "kind": entry.kind, **entry.payload}


def record_of(payload: dict[str, Any]) -> Recorded:
    """Read a record back from what was published.

    Raises:
        ValueError: it is none, or its version is not known here.
    """
    if payload.get("schema") != VERSION:
        raise ValueError(f"payload of version {payload.get('schema')!r}, known here is {VERSION}")
    return from_plain(str(payload.get("kind")), payload)


def as_json(payload: dict[str, Any]) -> bytes:
    """UTF-8 JSON without line breaks. Half a surrogate pair (hostile text) becomes a question mark."""
    text = json.dumps(payload, ensure_ascii=False, separators=(",", ":"), allow_nan=False)
    return text.encode("utf-8", "replace")


# -------------------------------------------------------------------------- CSV


@dataclass(frozen=True, slots=True)
class Column:
    """One column of the CSV.

    Attributes:
        name: in the header; ends with its unit of measure where it has one.
        about: for people.
        text: True where the content may come from a person or a file, so that a spreadsheet must be kept
            from taking it for a formula.
    """

    name: str
    about: str
    text: bool = False


COLUMNS: tuple[Column, ...] = (
    # First, because a reader that does not know the byte order mark sees it glued to this name.
    Column("schema", "version of these columns"),
    Column("id", "of the verdict, unique for ever; the same in MQTT and in the journal"),
    Column("time_utc", "when the deciding reading was taken, ISO 8601"),
    Column("bench", "name of the bench", text=True),
    Column("purpose", "incoming, winding, final or returned; decides which limits apply"),
    Column("batch", "name of the batch", text=True),
    Column("operator", "who measured", text=True),
    Column("serial", "of the unit", text=True),
    Column("sheet", "name of the unit type", text=True),
    Column("step", "name of the step on the sheet", text=True),
    Column("pin_a", "first pin", text=True),
    Column("pin_b", "second pin", text=True),
    Column("outcome", "pass, conditional_pass, conditional_fail, fail or cannot_judge"),
    Column("counts", "false for a verdict that was asked for once more before it counts"),
    Column("reference_ohm", "the resistance without leads at reference_celsius; empty for an open circuit"),
    Column("expanded_ohm", "half-width of its 95 % interval"),
    Column("lower_ohm", "lower limit at reference_celsius; empty where there is none"),
    Column("upper_ohm", "upper limit at reference_celsius; empty where there is none"),
    Column("nominal_ohm", "what the circuit on the sheet gives for this pair"),
    Column("conformity", "probability that the true value lies within the limits, 0 to 1"),
    Column("guard_band_ohm", "taken off each limit before a pass"),
    Column("rule", "decision rule"),
    Column("reason", "one sentence with the numbers that decided", text=True),
    Column("hint", "what the value reads like, where it is not as expected", text=True),
    Column("raw_ohm", "as the meter settled"),
    Column("lead_ohm", "subtracted for the leads"),
    Column("winding_celsius", "temperature the winding was taken to have"),
    Column("reference_celsius", "temperature that limits and reference_ohm hold at"),
    Column("standard_uncertainty_ohm", "of reference_ohm"),
    Column("coverage_factor", "expanded_ohm divided by standard_uncertainty_ohm"),
    Column("quantity", "what the meter measured"),
    Column("range_full_scale_ohm", "of the range in use; empty when unknown"),
    Column("resolution_ohm", "worth of one count on that range; empty when unknown"),
    Column("conversions", "how many conversions of the meter it rests on"),
    Column("settle_s", "from the touch of the probes to the deciding reading"),
    Column("attempt", "1 for the first attempt at this step"),
    Column("revision", "of the settled value"),
    Column("utc_s", "time_utc in seconds since 1970-01-01T00:00:00 UTC"),
    Column("meter_id", "name of the meter on the bench", text=True),
    Column("meter_model", "name of its meter file", text=True),
    Column("sheet_hash", "SHA-256 of the sheet file"),
    Column("meter_hash", "SHA-256 of the meter file"),
    Column("bench_hash", "SHA-256 of the bench file"),
    Column("software", "name and version of the program", text=True),
)
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


def header() -> list[str]:
    """Names of the columns."""
    return [column.name for column in COLUMNS]


def row_of(entry: Entry) -> list[str]:
    """The cells of a verdict's row, as text; empty where there is no value."""
    known = {"schema": VERSION, "id": entry.id, "time_utc": iso_time(entry.utc_s)}
    return [_cell(known.get(c.name, entry.payload.get(c.name)), text=c.text) for c in COLUMNS]


def _cell(value: Any, *, text: bool) -> str:
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
    return schema_of(KINDS[kind], f"{kind}", head=_head_schema(kind))


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
        "required": [*front, *(field.name for field in dataclasses.fields(record))],
    }


def _head_schema(kind: str) -> dict[str, Any]:
    return {
        "schema": {"const": VERSION, "description": "version of this spelling"},
        "id": {
            "type": "string",
            "pattern": "^[0-9a-f]{16}-[1-9][0-9]*$",
            "description": "the same for every copy of this entry; count an id once",
        },
        "seq": {"type": "integer", "minimum": 1, "description": "rises by commit; gaps are normal"},
        "kind": {"const": kind},
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
