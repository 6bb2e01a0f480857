"""Records as plain JSON values, and back: dataclass <-> dict, enum <-> its text, tuple <-> list.

This is the one spelling of a record outside the program: the journal keeps it, CSV and MQTT send it. JSON has
no infinity: a number that is not finite becomes null, and null read back where a plain number belongs
(degrees of freedom) is infinite. Not for choosing columns or topics (outlets).
"""

from __future__ import annotations

import dataclasses
import math
import types
import typing
from collections.abc import Callable, Mapping, Sequence
from enum import StrEnum
from functools import cache
from typing import Any

from acquire.records import (
    Batch,
    CheckStandard,
    Evidence,
    ImportedResult,
    LeadZero,
    Notice,
    Recorded,
    TypedResult,
    UnitResult,
    UnitStarted,
    Verdict,
)

KINDS: dict[str, type[Recorded]] = {
    "verdict": Verdict,
    "unit_started": UnitStarted,
    "unit_result": UnitResult,
    "lead_zero": LeadZero,
    "check_standard": CheckStandard,
    "typed_result": TypedResult,
    "batch": Batch,
    "imported_result": ImportedResult,
    "notice": Notice,
}
"""Name of each kind of entry, and the record it holds."""

_AS_THEY_ARE = frozenset({str, int, bool, type(None)})

_KIND_OF = {record: kind for kind, record in KINDS.items()}


def kind_of(record: Recorded) -> str:
    """Name of the kind of entry that holds this record."""
    return _KIND_OF[type(record)]


def to_plain(record: Recorded | Evidence) -> dict[str, Any]:
    """Spell a record in JSON values, fields in the record's order.

    Args:
        record: any record the journal keeps, or the evidence of one.
    """
    return spelt(record)


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
    return typing.cast("Recorded", _maker(record)(payload))


def evidence_from_plain(payload: dict[str, Any]) -> Evidence:
    """Read the evidence of a verdict back.

    Raises:
        ValueError: values that do not make evidence.
    """
    return typing.cast("Evidence", _maker(Evidence)(payload))


@cache
def _field_names(record: type[Any]) -> tuple[str, ...]:
    return tuple(field.name for field in dataclasses.fields(record))


def spelt(record: Any) -> dict[str, Any]:
    """Spell any dataclass of plain fields, words, tuples and further dataclasses."""
    kind: Any = type(record)
    return {name: _plain(getattr(record, name)) for name in _field_names(kind)}


def _plain(value: Any) -> Any:
    """One value; the commonest types first: every verdict passes here with its whole trace."""
    kind = type(value)
    if kind in _AS_THEY_ARE:
        return value
    if isinstance(value, float):
        return value if math.isfinite(value) else None
    if isinstance(value, StrEnum):
        return value.value
    if isinstance(value, tuple):
        return [_plain(item) for item in value]
    if isinstance(value, Mapping):
        return {key: _plain(item) for key, item in value.items()}
    if dataclasses.is_dataclass(value):
        return spelt(value)
    raise TypeError(f"a record holds a {type(value).__name__}, which has no plain spelling")


Maker = Callable[[Any], Any]
"""Makes a value of one type from what JSON gave; ValueError where it cannot be."""


@cache
def _maker(wanted: Any) -> Maker:  # noqa: PLR0911  (one line a type reads best)
    """What reads values of a type. Looked up once a type: a report reads millions of values."""
    origin, inner = typing.get_origin(wanted), typing.get_args(wanted)
    if origin is Mapping:
        return _facts
    if origin in (types.UnionType, typing.Union):  # every union in a record is "or None"
        return _or_none(_maker(next(option for option in inner if option is not type(None))))
    if origin is tuple and inner[1:] == (Ellipsis,):
        return _tuple_of_any_length(_maker(inner[0]))
    if origin is tuple:
        return _tuple_of([_maker(each) for each in inner])
    if dataclasses.is_dataclass(wanted):
        return _record_maker(wanted)
    if issubclass(wanted, StrEnum):
        return typing.cast("Maker", wanted)
    if issubclass(wanted, tuple):  # a named pair of pins
        pins = _tuple_of([_maker(str), _maker(str)])
        return lambda value: wanted(*pins(value))
    return _number if wanted is float else _exactly(wanted)


def _or_none(make: Maker) -> Maker:
    return lambda value: None if value is None else make(value)


def _facts(value: Any) -> dict[str, Any]:
    """Facts of a notice: names to plain values, lists as tuples."""
    if not isinstance(value, dict):
        raise ValueError(f"{value!r} holds no facts")  # noqa: TRY004  (bad data)
    return {key: tuple(each) if isinstance(each, list) else each for key, each in value.items()}


def _exactly(wanted: type) -> Maker:
    def make(value: Any) -> Any:
        if type(value) is not wanted:
            raise ValueError(f"{value!r} is no {wanted.__name__}")
        return value

    return make


def _number(value: Any) -> float:
    if type(value) is float:
        return value
    if value is None:
        return math.inf
    if type(value) is not int:
        raise ValueError(f"{value!r} is no number")
    try:
        return float(value)
    except OverflowError:
        raise ValueError(f"a number of {len(str(value))} digits is out of range") from None


def _record_maker(wanted: Any) -> Maker:
    hints = typing.get_type_hints(wanted)
    makers = [(field.name, _maker(hints[field.name])) for field in dataclasses.fields(wanted)]

    def make(value: Any) -> Any:
        if not isinstance(value, dict):
            raise ValueError(f"{value!r} is no {wanted.__name__}")  # noqa: TRY004  (bad data)
        known = {name: make_one(value[name]) for name, make_one in makers if name in value}
        try:
            return wanted(**known)
        except TypeError as error:  # a field without default is missing
            raise ValueError(str(error)) from error

    return make


def _tuple_of_any_length(make: Maker) -> Maker:
    def make_all(value: Any) -> tuple[Any, ...]:
        return tuple(map(make, _listed(value)))

    return make_all


def _tuple_of(makers: Sequence[Maker]) -> Maker:
    def make_all(value: Any) -> tuple[Any, ...]:
        if len(_listed(value)) != len(makers):
            raise ValueError(f"{value!r} should have {len(makers)} parts")
        return tuple(make(item) for make, item in zip(makers, value, strict=True))

    return make_all


def _listed(value: Any) -> list[Any]:
    if not isinstance(value, list):
        raise ValueError(f"{value!r} is no list")  # noqa: TRY004  (bad data)
    return value
