"""Records as plain JSON values, and back: dataclass <-> dict, enum <-> its text, tuple <-> list.

This is the one spelling of a record outside the program: the journal keeps it, CSV and MQTT send it. JSON has
no infinity: a number that is not finite becomes null, and null read back where a plain number belongs
(degrees of freedom) is infinite. Not for choosing columns or topics (outlets).
"""

from __future__ import annotations

import math
import typing
from functools import cache
from typing import Any

import msgspec

from acquire.records import Evidence, Recorded, Term, name_of

KINDS: dict[str, type[Recorded]] = {name_of(record): record for record in typing.get_args(Recorded)}
"""Name of each kind of entry, and the record it holds."""

_KIND_OF = {record: kind for kind, record in KINDS.items()}


def kind_of(record: Recorded) -> str:
    """Name of the kind of entry that holds this record."""
    return _KIND_OF[type(record)]


def to_plain(record: Recorded | Evidence) -> dict[str, Any]:
    """Spell a record in JSON values, fields in the record's order."""
    return spelt(record)


def spelt(record: Any) -> dict[str, Any]:
    """Spell any dataclass of plain fields, words, tuples and further dataclasses."""
    return typing.cast("dict[str, Any]", _listed(msgspec.to_builtins(record, enc_hook=dict)))


def _listed(value: Any) -> Any:
    """Tuples as lists, and what is not finite as null."""
    kind = type(value)
    if kind is float:
        return value if math.isfinite(value) else None
    if kind is tuple or kind is list:
        return [_listed(each) for each in value]
    return {key: _listed(each) for key, each in value.items()} if kind is dict else value


def from_plain(kind: str, payload: dict[str, Any]) -> Recorded:
    """Read a record back.

    Args:
        kind: a key of `KINDS`.
        payload: as `to_plain` gave it. Unknown keys are passed over, so that a newer program's entries can
            still be listed; a missing key takes the record's default.

    Raises:
        ValueError: no such kind, or values that do not make the record.
    """
    record: Any = KINDS.get(kind)
    if record is None:
        raise ValueError(f"no record is called {kind!r}")
    return typing.cast("Recorded", _made(record, payload))


def evidence_from_plain(payload: dict[str, Any]) -> Evidence:
    """Read the evidence of a verdict back.

    Raises:
        ValueError: values that do not make evidence.
    """
    if isinstance(terms := payload.get("terms"), list):
        payload = {**payload, "terms": [_with_infinities(Term, each) for each in terms]}
    return typing.cast("Evidence", _made(Evidence, payload))


def _made(record: type[Any], payload: dict[str, Any]) -> Any:
    try:
        return msgspec.convert(_with_infinities(record, payload), record)
    except msgspec.MsgspecError as error:
        raise ValueError(str(error)) from error


def _with_infinities(record: Any, plain: Any) -> Any:
    """Null is infinite where a plain number belongs."""
    if not isinstance(plain, dict):
        return plain
    unbounded = [name for name in _numbers(record) if name in plain and plain[name] is None]
    return {**plain, **dict.fromkeys(unbounded, math.inf)} if unbounded else plain


@cache
def _numbers(record: Any) -> tuple[str, ...]:
    """Fields that hold a number, and never nothing."""
    return tuple(name for name, kind in typing.get_type_hints(record).items() if kind is float)
