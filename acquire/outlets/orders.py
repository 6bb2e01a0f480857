"""Commands that come in over the network: read, checked, limited, never done twice, also over a restart.

    {"command": "start_unit", "correlation": "scanner-4711", "serial": "PL80-0007"}

Bytes and times in, orders or refusals out. A line is on the disk before its order is carried out, another
when its answer is known: one sent again by its broker is answered and not done again, and of one cut off
between the two its sender is told to look what became of it. Whoever may send commands at all is the broker's
business (its access list). Not for what a command does (pipeline) nor for the way it came (mqtt).
"""

from __future__ import annotations

import asyncio
import dataclasses
import json
import os
import typing
from collections import OrderedDict
from collections.abc import Awaitable, Callable
from dataclasses import dataclass, field
from enum import Enum
from pathlib import Path
from typing import Any

from acquire.errors import SteadyohmError
from acquire.outlets.payload import VERSION
from acquire.records import CallGood, ClockSet, Command, FixtureMoved, FixtureOpen, UnitKnown, name_of
from drivers.plain_file import read_file
from system.files import OWN, to_disk

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

NOT_SENT = {ClockSet, FixtureMoved, FixtureOpen, UnitKnown, CallGood}
"""Commands that only the bench itself gives, or whoever stands at it."""

ORDERS: dict[str, type[Order]] = {
    name_of(kind): kind for kind in typing.get_args(Order) if kind not in NOT_SENT
}
"""Name of each command, and what it becomes: the record's own name in small letters."""


@dataclass(frozen=True, slots=True)
class OrderAnswer:
    """What became of a command.

    Attributes:
        done: whether it was carried out.
        reason: one sentence; empty when done and there is nothing to say.
    """

    done: bool
    reason: str = ""


@dataclass(frozen=True, slots=True)
class OrderTaken:
    """What the desk says of one message.

    Attributes:
        correlation: of the command; empty when it could not be read.
        order: to be carried out now; None where there is an answer already, or none is owed.
        answer: refusal, or the earlier answer to the same command.
    """

    correlation: str = ""
    order: Order | None = None
    answer: OrderAnswer | None = None


class OrderRefused(ValueError):
    """A message that is no command of ours; the text says why, for the sender."""


@dataclass(slots=True)
class Desk:
    """Where commands are handed in.

    Attributes:
        refused: how many were refused since the start, for metrics; dropped: of those, without an answer.
        known: orders that were taken, oldest first, with what became of them; None while under way.
        note: writes on the disk that an order is taken, or what became of it, for the next start.
    """

    refused: int = 0
    dropped: int = 0
    _tokens: float = float(BURST)
    _filled_s: float = float("-inf")
    known: OrderedDict[str, OrderAnswer | None] = field(default_factory=OrderedDict)
    note: Callable[[str, OrderAnswer | None], object] = lambda _correlation, _answer: None

    @classmethod
    def kept(cls, folder: Path) -> Desk:
        """One that knows what was taken before the bench was started anew."""
        file = OrderFile(folder)
        return cls(known=file.known, note=file.note)

    def take(self, message: bytes, monotonic_s: float, *, retained: bool = False) -> OrderTaken:
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
                return OrderTaken(correlation, answer=self.known[correlation])
            order = order_of(plain)
        except OrderRefused as error:
            self.refused += 1
            return OrderTaken(correlation, answer=OrderAnswer(done=False, reason=str(error)))
        except OverflowError:
            self.refused += 1
            self.dropped += 1
            return OrderTaken()
        self.known[correlation] = None  # under way: a copy that comes meanwhile is not done either
        if len(self.known) > REMEMBERED:
            self.known.popitem(last=False)
        return OrderTaken(correlation, order)

    async def carry_out(
        self, correlation: str, order: Order, obey: Callable[[Order], Awaitable[OrderAnswer]]
    ) -> OrderAnswer:
        """Have an order obeyed that was taken; it is noted before and after, so that it is done once."""
        await asyncio.to_thread(self.note, correlation, None)
        try:
            answer = await obey(order)
        except SteadyohmError as error:
            answer = OrderAnswer(done=False, reason=str(error))
        if correlation in self.known:
            self.known[correlation] = answer
        await asyncio.to_thread(self.note, correlation, answer)
        return answer

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
            raise OrderRefused(f"Too many commands: at most {PER_SECOND:g} a second are taken.")


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
        raise OrderRefused(f"No such command. Known are {', '.join(ORDERS)}.")
    fields = _fields_of(kind)
    given = {key: value for key, value in plain.items() if key not in ("command", "correlation")}
    if strange := sorted(set(given) - set(fields)):
        raise OrderRefused(f"{name} has no field {strange[0][:LONGEST_TEXT]!r}.")
    if missing := [key for key, part in fields.items() if key not in given and part.required]:
        raise OrderRefused(f"{name} needs {missing[0]}.")
    return kind(**{key: fields[key].read(key, value) for key, value in given.items()})


@dataclass(frozen=True, slots=True)
class _Part:
    """One field of an order that a sender may fill.

    Attributes:
        sort: type of JSON: "boolean", "integer", "number" or "string".
        required: it must be there; nullable: null stands for nothing given.
        least, most: bounds of a number.
    """

    sort: str
    required: bool
    nullable: bool
    least: float = 0.0
    most: float = 0.0

    def read(self, key: str, value: Any) -> Any:
        """Its value: true or false, a number within its bounds and never NaN, or a short printable text."""
        if value is None and self.nullable:
            return None
        if self.sort == "boolean":
            if not isinstance(value, bool):
                raise OrderRefused(f"{key} must be true or false.")
            return value
        return self._text(key, value) if self.sort == "string" else self._number(key, value)

    def _number(self, key: str, value: Any) -> float:
        if isinstance(value, bool) or not isinstance(value, int | float):
            raise OrderRefused(f"{key} must be a number.")
        if not self.least <= value <= self.most:  # an integer too long for a float is compared as it is
            raise OrderRefused(f"{key} must lie between {self.least:g} and {self.most:g}.")
        if self.sort == "number":
            return float(value)
        if value != int(value):
            raise OrderRefused(f"{key} must be a whole number.")
        return int(value)

    def _text(self, key: str, value: Any) -> str:
        if not isinstance(value, str):
            raise OrderRefused(f"{key} must be a text.")
        text = value.strip()
        if len(text) > LONGEST_TEXT:
            raise OrderRefused(f"{key} is longer than {LONGEST_TEXT} characters.")
        if not text.isprintable():
            raise OrderRefused(f"{key} holds characters that cannot be printed.")
        if not text and self.required:
            raise OrderRefused(f"{key} must not be empty.")
        return text

    def schema(self) -> dict[str, Any]:
        """The same as JSON Schema."""
        part: dict[str, Any] = {"type": self.sort}
        if self.sort == "string":
            part |= {"maxLength": LONGEST_TEXT, **({"pattern": r"\S"} if self.required else {})}
        elif self.sort != "boolean":
            part |= {"minimum": self.least, "maximum": self.most}
        return {"anyOf": [part, {"type": "null"}]} if self.nullable else part


def _fields_of(kind: type[Order]) -> dict[str, _Part]:
    """The fields that a sender may fill; what only the bench itself says, such as an ending, is none."""
    kinds, found = typing.get_type_hints(kind), {}
    for each in dataclasses.fields(kind):
        of, bounds = kinds[each.name], each.metadata
        if isinstance(of, type) and issubclass(of, Enum):
            continue
        sort = "integer" if bounds.get("whole") else "number" if "at_least" in bounds else "string"
        found[each.name] = _Part(
            "boolean" if of is bool else sort,
            each.default is dataclasses.MISSING,
            each.default is None,
            bounds.get("at_least", 0.0),
            bounds.get("at_most", 0.0),
        )
    return found


def _object_of(message: bytes, *, retained: bool) -> dict[str, Any]:
    if retained:
        raise OrderRefused("A retained message is no command: send it without retain.")
    if len(message) > LARGEST_BYTES:
        raise OrderRefused(f"A command has at most {LARGEST_BYTES} bytes.")
    try:
        plain = json.loads(message)
    except (ValueError, RecursionError):
        raise OrderRefused("That is no JSON.") from None
    if not isinstance(plain, dict):
        raise OrderRefused("A command is a JSON object.")
    return plain


def _correlation_of(plain: dict[str, Any]) -> str:
    value = plain.get("correlation")
    if not isinstance(value, str) or not 0 < len(value) <= LONGEST_CORRELATION or not value.isprintable():
        raise OrderRefused(f"A command needs a correlation: a text of 1 to {LONGEST_CORRELATION} characters.")
    return value


def command_schema() -> dict[str, Any]:
    """Give the JSON Schema (draft 2020-12) of everything that is taken."""
    return {
        "$schema": "https://json-schema.org/draft/2020-12/schema",
        "$id": f"urn:steadyohm:{VERSION}:command",
        "title": "Command",
        "description": f"At most {LARGEST_BYTES} bytes and {PER_SECOND:g} a second; never retained.",
        "oneOf": [_schema_of(name, kind) for name, kind in ORDERS.items()],
    }


def _schema_of(name: str, kind: type[Order]) -> dict[str, Any]:
    correlation = {
        "type": "string",
        "minLength": 1,
        "maxLength": LONGEST_CORRELATION,
        "description": "comes back in the reply; the same one again is not carried out again",
    }
    fields = _fields_of(kind)
    return {
        "title": name,
        "description": (kind.__doc__ or "").partition("\n")[0],
        "type": "object",
        "properties": {
            "command": {"const": name},
            "correlation": correlation,
            **{key: part.schema() for key, part in fields.items()},
        },
        "required": ["command", "correlation", *(key for key, part in fields.items() if part.required)],
        "additionalProperties": False,
    }


FILE = "orders.jsonl"
CUT_OFF = OrderAnswer(
    done=False,
    reason="This command came before the bench was restarted: the record shows what became of it.",
)
_MODE = 0o640


class OrderFile:
    """The file in a journal's folder. One that cannot be written is no fault here: the journal tells that."""

    def __init__(self, folder: Path) -> None:
        """Read what is there, and keep the latest of it only."""
        self._path = folder / FILE
        self.known: OrderedDict[str, OrderAnswer | None] = OrderedDict()
        try:
            content = read_file(self._path)
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
            self.known[str(correlation)] = OrderAnswer(bool(said[0]), str(said[1])) if said else CUT_OFF
        except (ValueError, TypeError, IndexError):
            return  # torn by a power cut: its order was not begun

    def note(self, correlation: str, answer: OrderAnswer | None) -> None:
        """Write on the disk that an order is taken, or what became of it."""
        try:
            number = os.open(self._path, os.O_WRONLY | os.O_CREAT | os.O_APPEND | OWN, _MODE)
            try:
                os.write(number, ("\n" * self._torn + _line(correlation, answer)).encode())
                self._torn = False
                to_disk(number)
            finally:
                os.close(number)
        except OSError:
            return


def _line(correlation: str, answer: OrderAnswer | None) -> str:
    said = [] if answer is None or answer == CUT_OFF else [answer.done, answer.reason]
    return json.dumps([correlation, *said]) + "\n"
