"""When a serial is asked about before it is taken. Pure. Not for what happens with it then."""

from __future__ import annotations

import re
from dataclasses import dataclass
from enum import StrEnum

from acquire.heart.attempt import attempt_of
from acquire.heart.unit_state import UnitState
from acquire.records import Event, Fact, Judged, Notice, Recorded, Severity, StartUnit
from acquire.records.codes import SCAN_ASKED, Code


class SerialDoubt(StrEnum):
    """What speaks against a serial: it reads like a command word, or is not as this bench's serials are."""

    WORD = "word"
    PATTERN = "pattern"


@dataclass(frozen=True, slots=True)
class SerialRule:
    """What serials of one bench look like.

    Attributes:
        pattern: regular expression that each matches in full; empty where none is stated.
        words: command words, without the full stop that makes a command of them.
    """

    pattern: str = ""
    words: frozenset[str] = frozenset()

    def doubt(self, serial: str) -> SerialDoubt | None:
        """What speaks against a serial; None where nothing does."""
        if self.pattern:
            return None if re.fullmatch(self.pattern, serial) else SerialDoubt.PATTERN
        first = serial.split(maxsplit=1)[0].casefold() if serial.strip() else ""
        return SerialDoubt.WORD if first.strip(".:,;!") in self.words else None


def scan_doubt(
    command: StartUnit, rule: SerialRule, before: UnitState | None, question: Notice | None, utc_s: float
) -> Notice | None:
    """What must be asked before a unit is started; None where it is plain, or was scanned once more.

    Args:
        command: the scan.
        rule: what serials look like.
        before: state of the unit on the bench, None where there is none.
        question: what was asked last.
        utc_s: now.
    """
    if command.sure or command.serial == asked_about(question):
        return None
    if (unlike := rule.doubt(command.serial)) is not None:
        facts: dict[str, Fact] = {"unlike": unlike.value, "pattern": rule.pattern}
        return Notice(Severity.WARNING, Code.SERIAL_DOUBTFUL, utc_s, command.serial, facts=facts)
    if before is None or not before.attempts:
        return None
    facts = {"next": command.serial, "done": before.steps_done, "total": before.total}
    return Notice(Severity.WARNING, Code.UNIT_UNFINISHED, utc_s, before.serial, facts=facts)


def asked_about(question: Notice | None) -> str:
    """The serial of a scan that waits for a yes, from what was asked; empty where nothing was."""
    if question is None:
        return ""
    return question.serial if question.code is Code.SERIAL_DOUBTFUL else str(question.facts.get("next", ""))


def still_asked(question: Notice | None, *events: Event | Recorded) -> Notice | None:
    """What is asked about a scan after some events: the same until something is done.

    Args:
        question: before it, None where nothing was asked.
        events: what has happened; a remark or a refusal is nothing done.
    """
    for event in events:
        question = _still_asked(question, event)
    return question


def _still_asked(question: Notice | None, event: Event | Recorded) -> Notice | None:
    if isinstance(event, Notice):
        if event.code in SCAN_ASKED:
            return event
        answered = attempt_of(event) is not None or event.code in (Code.UNIT_REOPENED, Code.SCAN_TAKEN_BACK)
        return None if answered else question
    return None if isinstance(event, Recorded | Judged) else question
