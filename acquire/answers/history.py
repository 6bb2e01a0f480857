"""The record as lines for people. Not for outlets, and not for statistics."""

from __future__ import annotations

import math
from collections import deque
from collections.abc import Iterator
from dataclasses import replace
from datetime import UTC, date, datetime
from pathlib import Path
from typing import Any

from acquire.reports.doubtful import Doubts
from acquire.errors import InputImpossible
from acquire.journal.entry import Entry
from acquire.journal.history import JournalReader, Question
from acquire.quantity import show
from acquire.records import Outcome, Verdict
from acquire.records.words import OUTCOME_WORDS, ending_words


def history_entries(
    journal: Path,
    *,
    serial: str | None,
    batch: str | None,
    day: str | None,
    limit: int,
    doubtful: bool = False,
    since_check: bool = False,
) -> Iterator[tuple[Entry, str]]:
    """Entries that answer the question, oldest first, each with why it is doubtful (else empty).

    Args:
        journal: folder of a bench's journal.
        serial: only of this unit; None: any.
        batch: only of this batch; None: any.
        day: only of this UTC day, as 2026-11-25; None: any.
        limit: at most so many, the latest.
        doubtful: True for doubtful verdicts only.
        since_check: True for verdicts only that a meter gave since its check standard was last in control.

    Raises:
        InputImpossible: the day is none.
        JournalUnusable: there is no journal in that folder, or it cannot be read.
    """
    try:
        when = date.fromisoformat(day) if day else None
    except ValueError as error:
        raise InputImpossible(f'"{day}" is no day.', "Write it as 2026-11-25.") from error
    with JournalReader(journal) as reader:
        doubts = Doubts.of(reader)
        question = Question(serial=serial, batch=batch, day=when, limit=limit)
        if not (doubtful or since_check):
            yield from ((entry, _doubt(entry, doubts)) for entry in reader.find(question))
            return
        good = _last_good_check_s(reader) if since_check else {}
        kept: deque[tuple[Entry, str]] = deque(maxlen=limit)
        for entry in reader.find(replace(question, kinds=("verdict",), limit=None)):
            doubt = _doubt(entry, doubts)
            late = entry.utc_s > good.get(entry.payload["meter_id"], -math.inf)
            if (doubt or not doubtful) and (late or not since_check):
                kept.append((entry, doubt))
        yield from kept


def _last_good_check_s(reader: JournalReader) -> dict[str, float]:
    """When each meter's check standard was last in control; a meter that never had one is not in it."""
    checks = (entry.payload for entry in reader.find(Question(kinds=("check_standard",))))
    return {check["meter_id"]: check["utc_s"] for check in checks if check["in_control"]}


def _doubt(entry: Entry, doubts: Doubts) -> str:
    record = entry.record if doubts.zeros and entry.kind == "verdict" else None
    return doubts.why(record) if isinstance(record, Verdict) else ""


def history_line(entry: Entry, doubt: str = "") -> str:
    """One line: when, which unit, what; a second one for why it is doubtful."""
    when = datetime.fromtimestamp(entry.utc_s, UTC).strftime("%Y-%m-%d %H:%M:%S")
    serial = entry.payload.get("serial") or "-"
    line = f"{when}  {serial:<12}  {_what(entry.kind, entry.payload)}"
    return f"{line}\n{'':35}{doubt}" if doubt else line


def _what(kind: str, payload: dict[str, Any]) -> str:
    match kind:
        case "verdict":
            return verdict_line(payload)
        case "unit_started":
            return f"put on the bench as {payload['sheet']} ({payload['purpose']})"
        case "unit_result":
            outcome = Outcome(payload["outcome"]) if payload["outcome"] else None
            said = ending_words(outcome, payload["held"])
            why = payload["hypotheses"][0]["sentence"] if payload["hypotheses"] else ""
            missing = "".join(f"  ({each})" for each in payload.get("not_tested", ()))
            return f"unit: {said}  {why}".rstrip() + missing
        case _:
            return _beside(kind, payload)


def _beside(kind: str, payload: dict[str, Any]) -> str:
    """What stands on the record beside units and their verdicts."""
    match kind:
        case "lead_zero":
            return f"leads zeroed at {show(payload['value_ohm'], 'Ω')}"
        case "check_standard":
            state = "in control" if payload["in_control"] else f"OUT OF CONTROL: {payload['text']}"
            shown = show(payload["reading_ohm"], "Ω", payload["expanded_ohm"])
            return f"check standard {payload['resistor']}: {shown}, {state}"
        case "batch":
            units = f", {payload['expected']} units" if payload["expected"] else ""
            said = f": {payload['remark']}" if payload["remark"] else ""
            deed = payload["deed"].replace("_", " ")
            return f"batch {payload['batch']} ({payload['sheet']}{units}) {deed}{said}"
        case "typed_result":
            word = OUTCOME_WORDS[Outcome(payload["outcome"])] if payload["outcome"] else "recorded"
            return f"typed: {payload['typed']}: {word}{' as stated' if payload['stated'] else ''}"
        case _:
            return f"{payload.get('weight', kind)}: {payload.get('text', '')}"


def verdict_line(payload: dict[str, Any]) -> str:
    """One verdict: pins, step, value, outcome."""
    value = payload["reference_ohm"]
    shown = "open" if value is None else show(value, "Ω", payload["expanded_ohm"])
    once_more = "" if payload["counts"] else " (did not count)"
    word = OUTCOME_WORDS[Outcome(payload["outcome"])]
    pins = f"{payload['pin_a']}–{payload['pin_b']}"
    return f"{pins:<8} {payload['step']:<20} {shown:>12}  {word}{once_more}"
