"""Commands that come in over the network: read, checked, limited, never done twice, also over a restart.

    {"command": "start_unit", "correlation": "scanner-4711", "serial": "PL80-0007"}

Bytes and times in, orders or refusals out. A line is on the disk before its order is carried out, another
when its answer is known: one sent again by its broker is answered and not done again, and of one cut off
between the two its sender is told to look what became of it. Whoever may send commands at all is the broker's
business (its access list). Not for what a command does (pipeline) nor for the way it came (mqtt).
"""

from __future__ import annotations

import dataclasses
import json
import os
import typing
from collections import OrderedDict
from dataclasses import dataclass, field
from enum import Enum
from pathlib import Path
from typing import Any

from acquire.records import CallGood, ClockSetBack, Command, FixtureMoved, FixtureOpen, UnitKnown, name_of
from system.files import BYTES, to_disk

LARGEST_BYTES = 4096
"""A command larger than this is refused unread."""

LONGEST_TEXT = 200
"""Characters in a serial, a reason, a note."""

LONGEST_CORRELATION = 64

PER_SECOND = 5.0
BURST = 20
"""Sustained rate of commands, and how many may come at once. Workshop choice: a person with a scanner sends
one or two a second, a station that registers a tray of units a dozen at once."""

REMEMBERED = 500
"""How many answered correlations are kept, so that a command delivered twice is done once."""


@dataclass(frozen=True, slots=True)
class Stop:
    """End the daemon as SIGTERM does."""


Order = Command | Stop

NOT_SENT = {ClockSetBack, FixtureMoved, FixtureOpen, UnitKnown, CallGood}
"""Commands that only the bench itself gives, or whoever stands at it."""

ORDERS: dict[str, type[Order]] = {
    name_of(kind): kind for kind in typing.get_args(Order) if kind not in NOT_SENT
}
"""Name of each command, and what it becomes: the record's own name in small letters."""


@dataclass(frozen=True, slots=True)
class Answer:
    """What became of a command.

    Attributes:
        done: whether it was carried out.
        reason: one sentence; empty when done and there is nothing to say.
    """

    done: bool
    reason: str = ""


@dataclass(frozen=True, slots=True)
class Taken:
    """What the desk says of one message.

    Attributes:
        correlation: of the command; empty when it could not be read.
        order: to be carried out now; None where there is an answer already, or none is owed.
        answer: refusal, or the earlier answer to the same command.
    """

    correlation: str = ""
    order: Order | None = None
    answer: Answer | None = None


class Refused(ValueError):
    """A message that is no command of ours; the text says why, for the sender."""


@dataclass(slots=True)
class Desk:
    """Where commands are handed in.

    Attributes:
        refused: how many were refused since the start, for metrics; dropped: of those, without an answer.
        known: orders that were taken, oldest first, with what became of them; None while under way.
    """

    refused: int = 0
    dropped: int = 0
    _tokens: float = float(BURST)
    _filled_s: float = float("-inf")
    known: OrderedDict[str, Answer | None] = field(default_factory=OrderedDict)

    def take(self, message: bytes, monotonic_s: float, *, retained: bool = False) -> Taken:
        """Look at one message.

        Args:
            message: its payload.
            monotonic_s: now, for the rate.
            retained: whether the broker kept it from earlier: whoever sent it cannot mean this moment.
        """
        correlation = ""
        try:
            self._pay(monotonic_s)
            plain = _object_of(message, retained=retained)
            correlation = _correlation_of(plain)
            if correlation in self.known:
                return Taken(correlation, answer=self.known[correlation])
            order = order_of(plain)
        except Refused as error:
            self.refused += 1
            return Taken(correlation, answer=Answer(done=False, reason=str(error)))
        except OverflowError:
            self.refused += 1
            self.dropped += 1
            return Taken()
        self.known[correlation] = None  # under way: a copy that comes meanwhile is not done either
        if len(self.known) > REMEMBERED:
            self.known.popitem(last=False)
        return Taken(correlation, order)

    def answered(self, correlation: str, answer: Answer) -> None:
        """Remember what became of an order."""
        if correlation in self.known:
            self.known[correlation] = answer

    def _pay(self, monotonic_s: float) -> None:
        """Take one token. The last one buys a refusal, so that the sender learns why; then silence.

        Raises:
            Refused: the sender is too fast.
            OverflowError: it goes on all the same: no answer is owed.
        """
        gained = max(0.0, monotonic_s - self._filled_s) * PER_SECOND
        self._tokens = min(float(BURST), self._tokens + gained)
        self._filled_s = monotonic_s
        if self._tokens < 1.0:
            raise OverflowError
        self._tokens -= 1.0
        if self._tokens < 1.0:
            raise Refused(f"Too many commands: at most {PER_SECOND:g} a second are taken.")


def order_of(plain: dict[str, Any]) -> Order:
    """Make an order of a JSON object.

    Args:
        plain: with "command", "correlation" and the command's own fields, nothing else.

    Raises:
        Refused: no such command, a field that does not belong, one missing, or a text or number that is not
            acceptable.
    """
    name = plain.get("command")
    kind = ORDERS.get(name) if isinstance(name, str) else None
    if kind is None:
        raise Refused(f"No such command. Known are {', '.join(ORDERS)}.")
    fields = {each.name: each for each in _fields_of(kind)}
    given = {key: value for key, value in plain.items() if key not in ("command", "correlation")}
    if strange := sorted(set(given) - set(fields)):
        raise Refused(f"{name} has no field {strange[0][:LONGEST_TEXT]!r}.")
    for key, each in fields.items():
        if key not in given and each.default is dataclasses.MISSING:
            raise Refused(f"{name} needs {key}.")
    hints = typing.get_type_hints(kind)
    values: dict[str, Any] = {}
    for key, value in given.items():
        read = _flag if hints[key] is bool else _number if _holds_number(hints[key]) else _text
        values[key] = read(key, value, fields[key])
    return kind(**values)


def _fields_of(kind: type[Order]) -> list[dataclasses.Field[Any]]:
    """The fields that a sender may fill; what only the bench itself says, such as an ending, is none."""
    hints = typing.get_type_hints(kind)
    return [each for each in dataclasses.fields(kind) if not _is_enum(hints[each.name])]


def _is_enum(hint: Any) -> bool:
    return isinstance(hint, type) and issubclass(hint, Enum)


def _holds_number(hint: Any) -> bool:
    return bool({int, float} & {hint, *typing.get_args(hint)})


def _flag(key: str, value: Any, _: dataclasses.Field[Any]) -> bool:
    """One field's value: true or false of JSON."""
    if not isinstance(value, bool):
        raise Refused(f"{key} must be true or false.")
    return value


def _number(key: str, value: Any, field_: dataclasses.Field[Any]) -> float | None:
    """One field's value: a number of JSON within the field's bounds, never a text, and never NaN."""
    if value is None and field_.default is None:
        return None
    if isinstance(value, bool) or not isinstance(value, int | float):
        raise Refused(f"{key} must be a number.")
    least, most = field_.metadata["at_least"], field_.metadata["at_most"]
    if not least <= value <= most:  # an integer too long for a float is compared as it is
        raise Refused(f"{key} must lie between {least:g} and {most:g}.")
    if not field_.metadata.get("whole"):
        return float(value)
    if value != int(value):
        raise Refused(f"{key} must be a whole number.")
    return int(value)


def _text(key: str, value: Any, field_: dataclasses.Field[Any]) -> str | None:
    """One field's value: a short printable text. Null stands for nothing given, where the field allows it."""
    if value is None and field_.default is None:
        return None
    if not isinstance(value, str):
        raise Refused(f"{key} must be a text.")
    text = value.strip()
    if len(text) > LONGEST_TEXT:
        raise Refused(f"{key} is longer than {LONGEST_TEXT} characters.")
    if not text.isprintable():
        raise Refused(f"{key} holds characters that cannot be printed.")
    if not text and field_.default is dataclasses.MISSING:
        raise Refused(f"{key} must not be empty.")
    return text


def _object_of(message: bytes, *, retained: bool) -> dict[str, Any]:
    if retained:
        raise Refused("A retained message is no command: send it without retain.")
    if len(message) > LARGEST_BYTES:
        raise Refused(f"A command has at most {LARGEST_BYTES} bytes.")
    try:
        plain = json.loads(message)
    except (ValueError, RecursionError):
        raise Refused("That is no JSON.") from None
    if not isinstance(plain, dict):
        raise Refused("A command is a JSON object.")
    return plain


def _correlation_of(plain: dict[str, Any]) -> str:
    value = plain.get("correlation")
    if not isinstance(value, str) or not 0 < len(value) <= LONGEST_CORRELATION or not value.isprintable():
        raise Refused(f"A command needs a correlation: a text of 1 to {LONGEST_CORRELATION} characters.")
    return value


def command_schema() -> dict[str, Any]:
    """Give the JSON Schema (draft 2020-12) of everything that is taken."""
    return {
        "$schema": "https://json-schema.org/draft/2020-12/schema",
        "$id": "urn:steadyohm:1:command",
        "title": "Command",
        "description": f"At most {LARGEST_BYTES} bytes and {PER_SECOND:g} a second; never retained.",
        "oneOf": [_schema_of(name, kind) for name, kind in ORDERS.items()],
    }


def _schema_of(name: str, kind: type[Order]) -> dict[str, Any]:
    text = {"type": "string", "maxLength": LONGEST_TEXT}
    properties: dict[str, Any] = {
        "command": {"const": name},
        "correlation": {
            "type": "string",
            "minLength": 1,
            "maxLength": LONGEST_CORRELATION,
            "description": "comes back in the reply; the same one again is not carried out again",
        },
    }
    required = ["command", "correlation"]
    hints = typing.get_type_hints(kind)
    for each in _fields_of(kind):
        part, is_number = text, _holds_number(hints[each.name])
        if hints[each.name] is bool:
            part = {"type": "boolean"}
        elif is_number:
            least, most = each.metadata["at_least"], each.metadata["at_most"]
            sort = "integer" if each.metadata.get("whole") else "number"
            part = {"type": sort, "minimum": least, "maximum": most}
        if each.default is dataclasses.MISSING:
            required.append(each.name)
            part = part if is_number else {**part, "pattern": r"\S"}
        elif each.default is None:
            part = {"anyOf": [part, {"type": "null"}]}
        properties[each.name] = part
    return {
        "title": name,
        "description": (kind.__doc__ or "").partition("\n")[0],
        "type": "object",
        "properties": properties,
        "required": required,
        "additionalProperties": False,
    }


FILE = "orders.jsonl"
CUT_OFF = Answer(
    done=False,
    reason="This order was taken before the bench was started anew: see on the record what became of it.",
)
_MODE = 0o640


class OrderFile:
    """The file in a journal's folder. One that cannot be written is no fault here: the journal tells that."""

    def __init__(self, folder: Path) -> None:
        """Read what is there, and keep the latest of it only."""
        self._path = folder / FILE
        self.known: OrderedDict[str, Answer | None] = OrderedDict()
        try:
            content = self._path.read_bytes()
        except OSError:
            content = b""
        lines = content.splitlines()
        self._torn = bool(content) and not content.endswith(b"\n")
        for line in lines:
            self._understand(line)
        while len(self.known) > REMEMBERED:
            self.known.popitem(last=False)
        if len(lines) > 4 * REMEMBERED:
            beside = self._path.with_suffix(".new")
            text = "".join(_line(correlation, answer) for correlation, answer in self.known.items())
            try:
                beside.write_text(text, encoding="utf-8")
                beside.replace(self._path)
            except OSError:
                return

    def _understand(self, line: bytes) -> None:
        try:
            correlation, *said = json.loads(line)
            self.known[str(correlation)] = Answer(bool(said[0]), str(said[1])) if said else CUT_OFF
        except (ValueError, TypeError, IndexError):
            return  # torn by a power cut: its order was not begun

    def note(self, correlation: str, answer: Answer | None) -> None:
        """Write on the disk that an order is taken, or what became of it."""
        try:
            number = os.open(self._path, os.O_WRONLY | os.O_CREAT | os.O_APPEND | BYTES, _MODE)
            try:
                os.write(number, ("\n" * self._torn + _line(correlation, answer)).encode())
                self._torn = False
                to_disk(number)
            finally:
                os.close(number)
        except OSError:
            return


def _line(correlation: str, answer: Answer | None) -> str:
    said = [] if answer is None or answer == CUT_OFF else [answer.done, answer.reason]
    return json.dumps([correlation, *said]) + "\n"
