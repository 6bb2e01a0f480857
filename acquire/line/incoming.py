"""From a message of a bench to a row of the line's database, or to the reason why it is none.

Pure: bytes in, rows out. What a bench says is checked as a whole: a collector writes nothing that a report
could stumble over, and nothing that one bench says in another's name. Not for receiving (hearing) nor for
writing (store).
"""

from __future__ import annotations

import json
import math
import re
from collections.abc import Callable, Iterable
from dataclasses import dataclass
from datetime import UTC, date, datetime, timedelta
from typing import Any

from pydantic_core import from_json

from acquire.journal.plain import evidence_from_plain, from_plain
from acquire.journal.upgrade import in_todays_names
from acquire.outlets.payload import VERSION, as_json
from acquire.outlets.topics import EVIDENCE, LINE_TOPIC_OF_KIND, STATUS, bench_in

LONGEST_NAME = 500
"""Characters of a serial, batch and the like; an index holds no longer ones, and no label does."""

LARGEST_SEQ = 2**53 - 1
"""What every reader of JSON tells from its neighbours (RFC 8259, 6); twice of it fits into a bigint."""

_FAR = re.compile(rb"[:,\[\s]-?(?:\d{16}|\d+\.\d{300}|\d+(?:\.\d+)?[eE][+-]?\d{3})")
"""Only numbers spelt like that can lie beyond what the database and a double hold; hashes are strings."""

_ID = re.compile(r"([0-9a-f]{16})-([1-9][0-9]{0,18})")
_BIRTH = re.compile(r"[0-9a-f]{16}")
_EPOCH = datetime(1970, 1, 1, tzinfo=UTC)
_NAMES = ("serial", "batch", "sheet", "meter_id")


@dataclass(frozen=True, slots=True)
class Stretch:
    """A piece of a journal without a gap, in halves: an entry at 2 seq, its evidence one before.

    Attributes:
        after: where it begins: this place itself is not in it.
        upto: its last place.
    """

    after: int
    upto: int


@dataclass(frozen=True, slots=True)
class Arrived:
    """A record, checked.

    Attributes:
        bench: from the topic, which the broker lets only this bench publish on.
        journal, seq: the two halves of the entry's id.
        kind: of the record, or "evidence".
        utc: its time, rounded down to a microsecond.
        serial, batch, sheet, meter, outcome: what is searched by; empty, or None for the outcome.
        text: the whole message, JSON that PostgreSQL takes.
        stretch: its place in the journal; None from a bench that is not of a line.
    """

    bench: str
    journal: str
    seq: int
    kind: str
    utc: datetime
    serial: str
    batch: str
    sheet: str
    meter: str
    outcome: str | None
    text: str
    stretch: Stretch | None

    @property
    def month(self) -> date:
        """First day of the month (UTC) that its time lies in."""
        return self.utc.date().replace(day=1)


@dataclass(frozen=True, slots=True)
class Rejected:
    """A message that is no record.

    Attributes:
        topic, payload: as they came.
        reason: one sentence.
        bench, journal, stretch: where it stood in a journal, if that could be read; so that a record which
            this version does not know is not asked for again and again.
    """

    topic: str
    payload: bytes
    reason: str
    bench: str = ""
    journal: str = ""
    stretch: Stretch | None = None


@dataclass(frozen=True, slots=True)
class Known:
    """A bench has said, in its status, which journal it has; there may be nothing of it yet."""

    bench: str
    journal: str


Row = Arrived | Rejected | Known
"""What a message becomes."""


class _NoRecord(ValueError):
    """Why a message is none."""


def read(topic: str, payload: bytes) -> Row | None:
    """Check one message; a status that tells no journal is nothing."""
    version, bench, last = bench_in(topic)
    if last == STATUS:
        return _known(bench, payload)
    journal, stretch = "", None
    try:
        text = _of_today(payload) if version == 1 else payload
        plain = _object(text)
        journal, seq = _place(plain)
        stretch = _stretch(plain, seq)
        return _arrived(bench, last, journal, seq, (plain, text, stretch))
    except (_NoRecord, RecursionError) as error:
        reason = str(error) or "it is nested too deeply"
        return Rejected(topic, payload, f"{reason}.", bench, journal, stretch)


def _known(bench: str, payload: bytes) -> Known | None:
    try:
        journal = _object(payload).get("journal")
    except _NoRecord:
        return None
    whole = isinstance(journal, str) and _BIRTH.fullmatch(journal) and 0 < len(bench) <= LONGEST_NAME
    return Known(bench, str(journal)) if whole else None


def _of_today(payload: bytes) -> bytes:
    """A message of version 1 as a bench of today would have sent it."""
    plain = _object(payload)
    if plain.get("schema") == 1:
        plain["schema"] = VERSION
    return in_todays_names(as_json(plain))


def _object(payload: bytes) -> dict[str, Any]:
    try:
        plain = from_json(payload, allow_inf_nan=False)
    except ValueError as error:
        raise _NoRecord(f"this is no JSON: {error}") from error
    if not isinstance(plain, dict):
        raise _NoRecord("this is no JSON object")
    return plain


def _refuse_far(value: Any) -> None:
    """Raise for a number that PostgreSQL takes into jsonb, and no view can cast afterwards."""
    match value:
        case dict():
            for each in value.values():
                _refuse_far(each)
        case list():
            for each in value:
                _refuse_far(each)
        case float() if not math.isfinite(value):
            raise _NoRecord("a number in it is beyond all measure")
        case int() if abs(value) > LARGEST_SEQ:
            raise _NoRecord("a whole number in it is beyond all counting")


def _place(plain: dict[str, Any]) -> tuple[str, int]:
    """Birth id and number."""
    found = _ID.fullmatch(str(plain.get("id")))
    if not found or type(plain.get("seq")) is not int or int(found[2]) != plain["seq"]:
        raise _NoRecord("it has no id of an entry, or another number than its id")
    if plain["seq"] > LARGEST_SEQ:
        raise _NoRecord("its number is beyond all counting")
    return found[1], plain["seq"]


def _stretch(plain: dict[str, Any], seq: int) -> Stretch | None:
    after = plain.get("after")
    if after is None:
        return None
    if type(after) is not int or not 0 <= after <= seq:
        raise _NoRecord("what it says to come after is no earlier entry")
    if plain.get("kind") == EVIDENCE:
        if after == seq:
            raise _NoRecord("evidence cannot come after itself")
        return Stretch(2 * after, 2 * seq - 1)
    return Stretch(2 * seq - 1 if after == seq else 2 * after, 2 * seq)


def _arrived(
    bench: str, last: str, journal: str, seq: int, message: tuple[dict[str, Any], bytes, Stretch | None]
) -> Arrived:
    plain, payload, stretch = message
    if far := _FAR.search(payload):
        _refuse_far(plain)
    if not bench or len(bench) > LONGEST_NAME:
        raise _NoRecord("the topic belongs to no bench")
    if plain.get("schema") != VERSION:
        raise _NoRecord(f"its spelling is version {plain.get('schema')!r}, known here is {VERSION}")
    kind = plain.get("kind")
    if kind == EVIDENCE and last == EVIDENCE:
        _check(lambda: evidence_from_plain(plain), kind)
    elif isinstance(kind, str) and LINE_TOPIC_OF_KIND.get(kind) == last:
        _check(lambda: from_plain(kind, plain), kind)
    else:
        raise _NoRecord(f"a {kind!r} has no place on the topic {last}")
    if plain.get("bench", bench) != bench:
        raise _NoRecord("it speaks for another bench than its topic")
    names: list[Any] = [plain.get(name, "") for name in _NAMES]
    if any(not isinstance(name, str) or len(name) > LONGEST_NAME for name in names):
        raise _NoRecord(f"a name in it has more than {LONGEST_NAME} characters")
    text = payload.decode("utf-8")
    if far:  # 1e-400 is nothing to us, and no double to PostgreSQL
        text = json.dumps(plain, ensure_ascii=False, separators=(",", ":"))
    if "\\u0000" in text:  # PostgreSQL's text holds no NUL; one that stands behind a backslash is left alone
        text = json.dumps(_without_nul(plain), ensure_ascii=False, separators=(",", ":"))
        names = [_without_nul(name) for name in names]
    serial, batch, sheet, meter = names
    return Arrived(
        bench=bench,
        journal=journal,
        seq=seq,
        kind=kind,
        utc=_time(plain),
        serial=serial,
        batch=batch,
        sheet=sheet,
        meter=meter,
        outcome=plain.get("outcome"),
        text=text,
        stretch=stretch,
    )


def _time(plain: dict[str, Any]) -> datetime:
    try:
        return _EPOCH + timedelta(microseconds=math.floor(plain["utc_s"] * 1e6))
    except (KeyError, TypeError, OverflowError, ValueError) as error:
        raise _NoRecord("its time lies outside the calendar") from error


def _check(make: Callable[[], object], kind: str) -> None:
    """Raise unless it makes the record."""
    try:
        make()
    except ValueError as error:
        raise _NoRecord(f"it makes no {kind}: {error}") from error


def _without_nul(value: Any) -> Any:
    if isinstance(value, str):
        return value.replace("\x00", "\ufffd")
    if isinstance(value, list):
        return [_without_nul(item) for item in value]
    if isinstance(value, dict):
        return {_without_nul(key): _without_nul(item) for key, item in value.items()}
    return value


def joined(stretches: Iterable[Stretch]) -> list[Stretch]:
    """The same places in as few stretches as possible, in order."""
    out: list[Stretch] = []
    for stretch in sorted(stretches, key=lambda s: (s.after, s.upto)):
        if out and stretch.after <= out[-1].upto:
            out[-1] = Stretch(out[-1].after, max(out[-1].upto, stretch.upto))
        else:
            out.append(stretch)
    return out


def complete_upto(kept: int, stretches: Iterable[Stretch]) -> tuple[int, list[Stretch]]:
    """How far a journal is complete, with what has come in.

    Args:
        kept: how far it was.
        stretches: in any order, copies among them.

    Returns:
        How far now, and the stretches behind a gap.
    """
    behind = []
    for stretch in joined(stretches):
        if stretch.after <= kept:
            kept = max(kept, stretch.upto)
        else:
            behind.append(stretch)
    return kept, behind
