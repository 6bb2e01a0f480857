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
from collections.abc import Iterable, Iterator
from datetime import UTC, datetime
from enum import StrEnum
from itertools import chain, islice
from pathlib import Path
from typing import Any

from acquire.errors import InputImpossible, SteadyohmError
from acquire.files.new_file import new_file
from acquire.journal.entry import Entry
from acquire.journal.plain import KINDS
from acquire.outlets.csv_log import BOM
from acquire.outlets.payload import (
    COLUMNS_OF,
    SAID,
    VERSION,
    CsvColumn,
    as_json,
    cell,
    fields_of,
    header,
    iso_time,
    payload_of,
    row_of,
)
from acquire.reports.batch import BatchReport

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
    rows = map(row_of, (entry for entry in entries if entry.kind == kind))
    return _written(path, BOM + _line(header(kind)), map(_line, rows))


def _written(path: Path, head: bytes, lines: Iterable[bytes]) -> int:
    count = 0
    with new_file(path) as file:
        file.write(head)
        for count, line in enumerate(lines, start=1):  # noqa: B007  (it is how many there were)
            file.write(line)
    return count


def _line(cells: Iterable[str]) -> bytes:
    text = io.StringIO()
    csv.writer(text, lineterminator="\r\n").writerow(cells)
    return text.getvalue().encode("utf-8", "replace")


def csv_lines(heads: Iterable[str], rows: Iterable[Iterable[Any]]) -> Iterator[bytes]:
    """Rows as CSV (RFC 4180, UTF-8), head first; no text that a spreadsheet takes for a formula."""
    yield from (_line(map(cell, row)) for row in chain([heads], rows))


BATCH_COLUMNS = (
    "batch", "serial", "step", "time_utc", "value", "unit", "standard_uncertainty", "lower", "upper",
    "outcome",
    "unit_outcome", "spool", "meter_id", "operator", "bench",
)  # fmt: skip
"""Of a batch's CSV: one row a unit and step, the values that the report counts."""


def batch_csv(report: BatchReport) -> str:
    """The values of a batch that count as CSV."""
    rows = (
        (
            report.name, p.serial, row.name, iso_time(p.utc_s), p.value, "ohm" if row.unit == "Ω" else
            row.unit, p.u, row.lower, row.upper, p.outcome.value, p.unit, p.spool, p.meter, p.operator,
            p.bench,
        )
        for row in report.series
        for p in row.points
    )  # fmt: skip
    return b"".join(csv_lines(BATCH_COLUMNS, rows)).decode()


def export_jsonl(path: Path, entries: Iterable[Entry]) -> int:
    """Write entries of all kinds as JSON lines, each as it goes over MQTT; `steadyohm schema` describes them.

    Returns:
        How many lines.

    Raises:
        InputImpossible: the file cannot be written.
    """
    return _written(path, b"", (as_json(payload_of(entry)) + b"\n" for entry in entries))


def export_parquet(path: Path, entries: Iterable[Entry], kind: str = "verdict") -> int:
    """Write the entries of one kind as Parquet, with the columns of the CSV and their types; as `export_csv`.

    Raises:
        InputImpossible: as `export_csv`.
        SteadyohmError: pyarrow is not installed.
    """
    _refuse_without_columns(kind)
    try:
        import pyarrow as pa  # type: ignore[import-untyped]  # noqa: PLC0415  (an extra, without types)
        from pyarrow import parquet  # noqa: PLC0415
    except ImportError as error:
        raise SteadyohmError("Parquet needs the Python library pyarrow.", PARQUET_EXTRA) from error
    schema = parquet_schema(kind)
    wanted = (entry for entry in entries if entry.kind == kind)
    count = 0
    with new_file(path) as file, parquet.ParquetWriter(file, schema, compression="zstd") as writer:
        while group := list(islice(wanted, ROWS)):
            rows = [_typed_row(entry) for entry in group]
            columns = [pa.array([row.get(each.name) for row in rows], each.type) for each in schema]
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


def _type_of(column: CsvColumn, kind: str) -> type:
    """What a column holds, from the record's own field."""
    if column.name in SAID.get(kind, {}):
        return str
    if column.name in ("schema", "id", "time_utc"):
        return {"schema": int, "id": str, "time_utc": datetime}[column.name]
    hint = typing.get_type_hints(KINDS[kind])[column.name]
    if typing.get_origin(hint) in (types.UnionType, typing.Union):
        hint = next(each for each in typing.get_args(hint) if each is not type(None))
    return str if issubclass(hint, StrEnum) else hint


def _typed_row(entry: Entry) -> dict[str, Any]:
    """What stands in each column; half a surrogate pair (hostile text) becomes a question mark."""
    row = {**fields_of(entry), "schema": VERSION, "id": entry.id, "time_utc": _time(entry.utc_s)}
    texts = ((name, each) for name, each in row.items() if isinstance(each, str))
    return row | {name: each.encode("utf-8", "replace").decode("utf-8") for name, each in texts}


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
