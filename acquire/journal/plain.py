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
    record = KINDS.get(kind)
    if record is None:
        raise ValueError(f"no record is called {kind!r}")
    return typing.cast("Recorded", _build(record, payload))


def evidence_from_plain(payload: dict[str, Any]) -> Evidence:
    """Read the evidence of a verdict back.

    Raises:
        ValueError: values that do not make evidence.
    """
    return typing.cast("Evidence", _build(Evidence, payload))


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
    if dataclasses.is_dataclass(value):
        return spelt(value)
    raise TypeError(f"a record holds a {type(value).__name__}, which has no plain spelling")


@cache
def _field_types(record: type[Any]) -> dict[str, Any]:
    return typing.get_type_hints(record)


def _build(wanted: Any, value: Any) -> Any:  # noqa: PLR0911  (one line a type reads best)
    """Make `value`, as JSON gave it, into `wanted`."""
    origin = typing.get_origin(wanted)
    if origin in (types.UnionType, typing.Union):  # every union in a record is "or None"
        inner = next(option for option in typing.get_args(wanted) if option is not type(None))
        return None if value is None else _build(inner, value)
    if origin is tuple:
        return _build_tuple(typing.get_args(wanted), value)
    if dataclasses.is_dataclass(wanted) and isinstance(wanted, type):
        return _build_record(wanted, value)
    if issubclass(wanted, StrEnum):
        return wanted(value)
    if issubclass(wanted, tuple):  # a named pair
        return wanted(*_build_tuple((str, str), value))
    if wanted is float:
        return _build_number(value)
    if type(value) is not wanted:
        raise ValueError(f"{value!r} is no {wanted.__name__}")
    return value


def _build_record(wanted: type, value: Any) -> Any:
    if not isinstance(value, dict):
        raise ValueError(f"{value!r} is no {wanted.__name__}")  # noqa: TRY004  (bad data)
    hints = _field_types(wanted)
    known = {name: _build(hints[name], value[name]) for name in _field_names(wanted) if name in value}
    try:
        return wanted(**known)
    except TypeError as error:  # a field without default is missing
        raise ValueError(str(error)) from error


def _build_number(value: Any) -> float:
    if value is None:
        return math.inf
    if isinstance(value, bool) or not isinstance(value, int | float):
        raise ValueError(f"{value!r} is no number")  # noqa: TRY004  (bad data)
    return float(value)


def _build_tuple(inner: tuple[Any, ...], value: Any) -> tuple[Any, ...]:
    if not isinstance(value, list):
        raise ValueError(f"{value!r} is no list")  # noqa: TRY004  (bad data)
    if len(inner) == 2 and inner[1] is Ellipsis:
        return tuple(_build(inner[0], item) for item in value)
    if len(inner) != len(value):
        raise ValueError(f"{value!r} should have {len(inner)} parts")
    return tuple(_build(kind, item) for kind, item in zip(inner, value, strict=True))
