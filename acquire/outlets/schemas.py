"""The public contract in machine-readable form: a JSON Schema of everything said, and an AsyncAPI document.

Made from the records themselves, so that it cannot fall behind them; tests check it against what is really
sent. Not for making payloads (payload, topics).
"""

from __future__ import annotations

import re
from collections.abc import Iterator
from typing import Any

from acquire import __version__
from acquire.journal.plain import KINDS
from acquire.outlets.orders import command_schema
from acquire.outlets.payload import COLUMNS, COLUMNS_OF, VERSION, head_schema, json_schema, schema_of
from acquire.outlets.topics import LINE_TOPIC_OF_KIND, ROOT, Ack, Reply, ShownPrompt, ShownReading, Status
from acquire.records import Evidence

LIVE: dict[str, type] = {
    "status": Status,
    "prompt": ShownPrompt,
    "reading": ShownReading,
    "reply": Reply,
    "ack": Ack,
}
"""What is said and not kept."""

CHANNELS: dict[str, str] = {
    "status": "Retained, QoS 1, and the will: whether the bench can be heard.",
    "prompt": "Retained, QoS 1: what to do next; empty when nobody is asked.",
    "reading": "QoS 0, at most 5 a second: what the meter shows, for displays.",
    "verdict": "QoS 1, at least once, in order: count an id once.",
    "unit": "QoS 1, at least once, in order, with the verdicts.",
    "latest": "Retained, QoS 1: how the unit stands whose result came or changed last; see revision.",
    "result": "QoS 1, at least once: results of other instruments, typed in.",
    "check": "QoS 1, at least once: the bench's known resistor as it sees it.",
    "batch": "QoS 1, at least once: what was done to a batch, with its whole state.",
    "zero": "QoS 1, from a bench of a line: the leads were zeroed.",
    "notice": "QoS 1, from a bench of a line: what the operator was told.",
    "imported": "QoS 1, from a bench of a line: a value of an earlier paper record.",
    "evidence": "QoS 1, from a bench of a line that is set to: what a verdict rests on, just before the "
    "verdict.",
    "ack": "To a bench of a line: up to where the line's database holds its journal.",
    "command": "QoS 1, not retained: what the bench is asked to do.",
    "reply": "QoS 1: what became of a command.",
}
"""Each channel, and what it is for."""

PLAIN = {"None": "null", "True": "true", "False": "false"}
"""Values of Python as JSON writes them."""

RETAINED = frozenset({"status", "prompt", "latest"})
TO_THE_BENCH = frozenset({"command", "ack"})


def json_schemas() -> dict[str, dict[str, Any]]:
    """Every schema by name (draft 2020-12), without references from one place to another."""
    head = {"schema": {"const": VERSION, "description": "version of this spelling"}}
    schemas = {kind: json_schema(kind) for kind in KINDS}
    schemas |= {name: schema_of(record, name, head) for name, record in LIVE.items()}
    schemas["command"] = command_schema()
    when = {"type": "number", "description": "of the verdict, seconds since 1970-01-01T00:00:00 UTC"}
    schemas["evidence"] = schema_of(Evidence, "evidence", {**head_schema("evidence"), "utc_s": when})
    schemas = {name: _tidied(schema) for name, schema in schemas.items()}
    for name, schema in schemas.items():
        told = {c.name: c.about.replace("; empty ", "; null ") for c in COLUMNS_OF.get(name, COLUMNS)}
        told["utc_s"] = "seconds since 1970-01-01T00:00:00 UTC"
        for key, part in schema.get("properties", {}).items():
            if key in told and (name in COLUMNS_OF or "description" not in part):
                part["description"] = told[key]
    return schemas


def _tidied(part: Any) -> Any:
    """A schema without made-up titles; of a docstring the first sentence, its attributes in their place."""
    if isinstance(part, list):
        return [_tidied(item) for item in part]
    if not isinstance(part, dict):
        return part
    tidy = {key: _tidied(value) for key, value in part.items() if key not in ("title", "properties")}
    about = part.get("description", "")
    if about:
        tidy["description"] = _first_sentence(about)
    if "properties" in part:
        tidy["properties"] = {name: _tidied(value) for name, value in part["properties"].items()}
        for name, text in _attributes(about):
            if name in tidy["properties"]:
                tidy["properties"][name]["description"] = _first_sentence(text)
    return tidy


def _first_sentence(text: str) -> str:
    paragraph = " ".join(text.partition("\n\n")[0].split())
    sentence = re.split(r"(?<=[.!?])\s+(?=[A-Z])", paragraph, maxsplit=1)[0]
    return re.sub(r"\b(None|True|False)\b", lambda word: PLAIN[word[0]], sentence)


def _attributes(docstring: str) -> Iterator[tuple[str, str]]:
    """Names and texts of the section `Attributes:`; one text may belong to several names."""
    _, _, section = docstring.partition("Attributes:\n")
    for entry in re.split(r"\n(?= {4}\S)", section):
        for part in re.split(r"; (?=\w+: )", entry.strip()):
            names, colon, text = part.partition(": ")
            if colon and re.fullmatch(r"\w+(, \w+)*", names):
                yield from ((name, text) for name in names.split(", "))


def asyncapi() -> dict[str, Any]:
    """Give the AsyncAPI 3.0 document of the MQTT interface."""
    schemas = json_schemas()
    messages = sorted({message for name in CHANNELS for message in messages_of(name)})
    return {
        "asyncapi": "3.0.0",
        "info": {
            "title": "steadyohm",
            "version": __version__,
            "description": "What a bench that reads its own meter says over MQTT, and what it takes.",
        },
        "defaultContentType": "application/json",
        "channels": {name: _channel(name) for name in CHANNELS},
        "operations": {name: _operation(name) for name in CHANNELS if name != "reply"},
        "components": {
            "messages": {
                name: {
                    "name": name,
                    "payload": {
                        "schemaFormat": "application/schema+json;version=draft-2020-12",
                        "schema": schemas[name],
                    },
                }
                for name in messages
            }
        },
    }


def last_of(name: str) -> str:
    """Last part of a channel's topic."""
    return "command/reply" if name == "reply" else name


def messages_of(name: str) -> tuple[str, ...]:
    """What comes on a channel: the kinds of entries that are published there, or what is called like it."""
    kinds = tuple(kind for kind, topic in LINE_TOPIC_OF_KIND.items() if topic == name)
    return kinds or (("unit_result",) if name == "latest" else (name,))


def _channel(name: str) -> dict[str, Any]:
    return {
        "address": f"{ROOT}/{{bench}}/{last_of(name)}",
        "description": CHANNELS[name],
        "parameters": {"bench": {"description": "name of the bench, written as in a URL (RFC 3986, 2.1)"}},
        "messages": {message: {"$ref": f"#/components/messages/{message}"} for message in messages_of(name)},
    }


def _operation(name: str) -> dict[str, Any]:
    binding: dict[str, Any] = {"qos": 0 if name == "reading" else 1, "bindingVersion": "0.2.0"}
    operation: dict[str, Any] = {
        "action": "receive" if name in TO_THE_BENCH else "send",
        "channel": {"$ref": f"#/channels/{name}"},
        "summary": CHANNELS[name],
    }
    if name == "command":
        operation["reply"] = {"channel": {"$ref": "#/channels/reply"}}
    elif name not in TO_THE_BENCH:
        binding["retain"] = name in RETAINED
    return {**operation, "bindings": {"mqtt": binding}}
