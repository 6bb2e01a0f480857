"""The record as lines for people. Not for outlets, and not for statistics."""

from __future__ import annotations

from collections.abc import Iterator
from datetime import UTC, date, datetime
from pathlib import Path
from typing import Any

from acquire.errors import InputImpossible
from acquire.journal.entry import Entry
from acquire.journal.history import JournalReader, Question
from acquire.quantity import show


def history_entries(
    journal: Path, *, serial: str | None, batch: str | None, day: str | None, limit: int
) -> Iterator[Entry]:
    """Entries that answer the question, oldest first.

    Raises:
        InputImpossible: the day is none.
        JournalUnusable: there is no journal in that folder, or it cannot be read.
    """
    try:
        when = date.fromisoformat(day) if day else None
    except ValueError as error:
        raise InputImpossible(f'"{day}" is no day.', "Write it as 2026-11-25.") from error
    with JournalReader(journal) as reader:
        yield from reader.find(Question(serial=serial, batch=batch, day=when, limit=limit))


def history_line(entry: Entry) -> str:
    """One line: when, which unit, what."""
    when = datetime.fromtimestamp(entry.utc_s, UTC).strftime("%Y-%m-%d %H:%M:%S")
    serial = entry.payload.get("serial") or "-"
    return f"{when}  {serial:<12}  {_what(entry.kind, entry.payload)}"


def _what(kind: str, payload: dict[str, Any]) -> str:
    match kind:
        case "verdict":
            return verdict_line(payload)
        case "unit_started":
            return f"put on the bench as {payload['sheet']} ({payload['purpose']})"
        case "unit_result":
            said = (payload["outcome"] or f"held: {payload['held']}").replace("_", " ")
            why = payload["hypotheses"][0]["sentence"] if payload["hypotheses"] else ""
            return f"unit: {said}  {why}".rstrip()
        case "lead_zero":
            return f"leads zeroed at {show(payload['value_ohm'], 'ohm')}"
        case _:
            return f"{payload.get('weight', kind)}: {payload.get('text', '')}"


def verdict_line(payload: dict[str, Any]) -> str:
    """One verdict: pins, step, value, outcome."""
    value = payload["reference_ohm"]
    shown = "open" if value is None else show(value, "ohm", payload["expanded_ohm"])
    once_more = "" if payload["counts"] else " (did not count)"
    word = payload["outcome"].replace("_", " ")
    pins = f"{payload['pin_a']}–{payload['pin_b']}"
    return f"{pins:<8} {payload['step']:<20} {shown:>12}  {word}{once_more}"
