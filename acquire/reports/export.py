"""The record as files for other programs: CSV, JSON lines, Parquet. One source of columns: acquire.outlets.

CSV as the bench writes it (RFC 4180, UTF-8 with a byte order mark, no text that a spreadsheet takes for a
formula). JSON lines: one object an entry, as over MQTT. Parquet: the same columns as the CSV with types; a
text stands there as it is. All of it is written as it is read, so that memory does not grow with the record.
"""

from __future__ import annotations

import csv
import io
import types
import typing
from collections.abc import Callable, Iterable
from datetime import UTC, datetime
from enum import StrEnum
from functools import lru_cache
from itertools import islice
from pathlib import Path
from typing import Any

from acquire.errors import InputImpossible, SteadyohmError
from acquire.files.new_file import new_file
from acquire.journal.entry import Entry
from acquire.journal.plain import KINDS
from acquire.outlets.columns import COLUMNS_OF, Column
from acquire.outlets.csv_log import BOM
from acquire.outlets.payload import VERSION, as_json, disarmed, header, iso_time, payload_of, said_of

ROWS = 5000
"""Entries that are in memory at a time; rows of one group of a Parquet file."""

PARQUET_EXTRA = 'Install it with: pip install "steadyohm[parquet]".'


def export_csv(path: Path, entries: Iterable[Entry], kind: str = "verdict") -> int:
    """Write the entries of one kind as CSV.

    Args:
        path: of the file; what was there is replaced when the new one is whole.
        entries: any; those of other kinds are passed over.
        kind: a key of `COLUMNS_OF`.

    Returns:
        How many rows.

    Raises:
        InputImpossible: the file cannot be written, or this kind has no columns.
    """
    _refuse_without_columns(kind)
    with new_file(path) as file:
        file.write(BOM)
        text = io.TextIOWrapper(file, encoding="utf-8", errors="replace", newline="")
        writer = csv.writer(text, lineterminator="\r\n")
        writer.writerow(header(kind))
        row = _rows(kind)
        count = 0
        for entry in entries:
            if entry.kind == kind:
                writer.writerow(row(entry))
                count += 1
        text.flush()
        text.detach()
    return count


def _rows(kind: str) -> Callable[[Entry], list[Any]]:
    """Make what makes the cells of a row: those of `payload.row_of`, several times as fast for many rows.

    `csv.writer` itself writes a float as `repr` does, and nothing for None.
    """
    columns = COLUMNS_OF[kind]
    names = [column.name for column in columns]
    schema_at, id_at, time_at = (names.index(name) for name in ("schema", "id", "time_utc"))
    texts = [at for at, column in enumerate(columns) if column.text]
    truths = [at for at, column in enumerate(columns) if _type_of(column, kind) is bool]
    disarm = lru_cache(4096)(disarmed)  # serials, batches, sheets and reasons come again and again

    def row(entry: Entry) -> list[Any]:
        cells = list(map({**entry.payload, **said_of(entry)}.get, names))
        for at in texts:
            if (value := cells[at]) is not None:
                cells[at] = disarm(str(value))
        for at in truths:
            if isinstance(value := cells[at], bool):
                cells[at] = "true" if value else "false"
        cells[schema_at], cells[id_at], cells[time_at] = VERSION, entry.id, iso_time(entry.utc_s)
        return cells

    return row


def export_jsonl(path: Path, entries: Iterable[Entry]) -> int:
    """Write entries of all kinds as JSON lines, each as it goes over MQTT; `steadyohm schema` describes them.

    Returns:
        How many lines.

    Raises:
        InputImpossible: the file cannot be written.
    """
    count = 0
    with new_file(path) as file:
        for entry in entries:
            file.write(as_json(payload_of(entry)) + b"\n")
            count += 1
    return count


def export_parquet(path: Path, entries: Iterable[Entry], kind: str = "verdict") -> int:
    """Write the entries of one kind as Parquet, with the columns of the CSV and their types.

    Args:
        path: of the file; what was there is replaced when the new one is whole.
        entries: any; those of other kinds are passed over.
        kind: a key of `COLUMNS_OF`.

    Returns:
        How many rows.

    Raises:
        InputImpossible: the file cannot be written, or this kind has no columns.
        SteadyohmError: pyarrow is not installed.
    """
    _refuse_without_columns(kind)
    try:
        import pyarrow as pa  # type: ignore[import-untyped]  # noqa: PLC0415  (an extra, without types)
        from pyarrow import parquet  # noqa: PLC0415
    except ImportError as error:
        raise SteadyohmError("Parquet needs the Python library pyarrow.", PARQUET_EXTRA) from error
    schema = parquet_schema(kind)
    readers = [_reader(column, kind) for column in COLUMNS_OF[kind]]
    wanted = (entry for entry in entries if entry.kind == kind)
    count = 0
    with new_file(path) as file, parquet.ParquetWriter(file, schema, compression="zstd") as writer:
        while group := list(islice(wanted, ROWS)):
            columns = [
                pa.array([read(entry) for entry in group], field.type)
                for read, field in zip(readers, schema, strict=True)
            ]
            writer.write_table(pa.Table.from_arrays(columns, schema=schema))
            count += len(group)
    return count


def parquet_schema(kind: str) -> Any:
    """Names, types and descriptions of the columns of one kind, as pyarrow has them."""
    import pyarrow as pa  # noqa: PLC0415  (an extra)

    known = {
        float: pa.float64(),
        int: pa.int64(),
        bool: pa.bool_(),
        str: pa.string(),
        datetime: pa.timestamp("ms", tz="UTC"),
    }
    fields = [
        pa.field(column.name, known[_type_of(column, kind)], metadata={"about": column.about})
        for column in COLUMNS_OF[kind]
    ]
    return pa.schema(fields, metadata={"steadyohm": f"columns of a {kind}, version {VERSION}"})


def _type_of(column: Column, kind: str) -> type:
    """What a column holds, from the record's own field."""
    if column.name in ("schema", "id", "time_utc"):
        return {"schema": int, "id": str, "time_utc": datetime}[column.name]
    hint = typing.get_type_hints(KINDS[kind])[column.name]
    if typing.get_origin(hint) in (types.UnionType, typing.Union):
        hint = next(each for each in typing.get_args(hint) if each is not type(None))
    return str if issubclass(hint, StrEnum) else hint


def _reader(column: Column, kind: str) -> Callable[[Entry], Any]:
    """How the value of a column is taken from an entry."""
    name, wanted = column.name, _type_of(column, kind)
    if name == "schema":
        return lambda _: VERSION
    if name == "id":
        return lambda entry: entry.id
    if name == "time_utc":
        return lambda entry: _time(entry.utc_s)
    if wanted is str:
        return lambda entry: _text(entry.payload.get(name))
    return lambda entry: entry.payload.get(name)


def _text(value: object) -> str | None:
    """UTF-8 can hold it: half a surrogate pair (hostile text) becomes a question mark."""
    return None if value is None else str(value).encode("utf-8", "replace").decode("utf-8")


def _time(utc_s: float) -> datetime | None:
    try:
        return datetime.fromtimestamp(utc_s, UTC)
    except (ValueError, OverflowError, OSError):
        return None


def _refuse_without_columns(kind: str) -> None:
    if kind not in COLUMNS_OF:
        having = ", ".join(COLUMNS_OF)
        raise InputImpossible(
            f"There are no columns for entries of kind {kind}; {having} have some.",
            "Take --jsonl for the others.",
        )
