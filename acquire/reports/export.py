"""The record as files for other programs, and earlier paper records from a file.

CSV as the bench writes it (RFC 4180, UTF-8 with a byte order mark, no text that a spreadsheet takes for a
formula). JSON lines: one object an entry, as over MQTT. Parquet: the same columns as the CSV with types; a
text stands there as it is. All of it is written as it is read, so that memory does not grow with the record.

Paper records (columns `PAPER_COLUMNS`) are checked row by row; faults come all at once, each with its line. A
value that is far from what the sheet expects is taken, as a fault reads so, but told: it may be a slip of the
unit. Not for writing them down (acquire.answers.importing).
"""

from __future__ import annotations

import csv
import hashlib
import io
import math
import types
import typing
from collections.abc import Iterable, Iterator
from dataclasses import dataclass, field
from datetime import UTC, date, datetime, time
from enum import StrEnum
from itertools import chain, islice
from pathlib import Path
from typing import Any

from acquire.errors import Fault, FileInvalid, InputImpossible, SteadyohmError, unreadable
from acquire.files.new_file import new_file
from acquire.files.toml_file import did_you_mean
from acquire.journal.entry import Entry
from acquire.journal.plain import KINDS
from acquire.outlets.columns import COLUMNS_OF, CsvColumn
from acquire.outlets.csv_log import BOM
from acquire.outlets.payload import (
    SAID,
    VERSION,
    as_json,
    cell,
    fields_of,
    header,
    iso_time,
    payload_of,
    row_of,
)
from acquire.physics.copper import conductor_named, to_reference
from acquire.records import ImportedResult, Outcome, Pair, Purpose, Sheet, StepKind
from acquire.reports.batch import BatchReport
from acquire.steps.pairs import PairTable
from drivers.plain_file import read_file

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


PAPER_COLUMNS: tuple[CsvColumn, ...] = (
    CsvColumn("serial", "of the unit; must be there", text=True),
    CsvColumn("date", "of the measurement, as 2019-03-02 or 2019-03-02T14:30 (UTC); must be there"),
    CsvColumn("step", "name of the step on the sheet; this, or both pins", text=True),
    CsvColumn("pin_a", "first pin", text=True),
    CsvColumn("pin_b", "second pin", text=True),
    CsvColumn("value_ohm", "as on the paper, in ohms, or open; must be there"),
    CsvColumn("celsius", "temperature of the winding then; without it nothing is corrected"),
    CsvColumn("expanded_ohm", "uncertainty of the value, half-width for 95 %"),
    CsvColumn("outcome", "pass, conditional_pass, conditional_fail, fail or cannot_judge, as the paper says"),
    CsvColumn("purpose", "incoming, winding, final or returned; left out, final"),
    CsvColumn("batch", "name of the batch", text=True),
    CsvColumn("operator", "who measured", text=True),
    CsvColumn("instrument", "with what", text=True),
    CsvColumn("remark", "any words", text=True),
)
"""Columns of a file of paper records, in any order; those after `value_ohm` may be left out."""

LARGEST_BYTES = 10_000_000
"""Some 300000 rows; they are held in memory until all are known to be good, 1.4 kB each."""
MOST_FAULTS = 100
"""Told at once: more are of one cause."""

LONGEST_TEXT = 500
EARLIEST = date(1900, 1, 1)

FAR = 5.0
"""A value beyond this factor from what the sheet expects is told; common slips of a prefix are factors of a
thousand, a fault is seldom more than five."""


@dataclass(slots=True)
class PaperFile:
    """One file of paper records against one sheet.

    Attributes:
        bench: of the journal that takes the values; software: this program; utc_s: now.
        known: values that the journal has already, by `key_of`.
    """

    path: Path
    sheet: Sheet
    bench: str
    software: str
    utc_s: float
    known: set[tuple[str, float, str]] = field(default_factory=set)
    faults: list[Fault] = field(default_factory=list)
    doubts: list[str] = field(default_factory=list)
    digest: str = ""
    _table: PairTable = field(init=False)

    def __post_init__(self) -> None:
        """Solve each pair of the sheet once only."""
        self._table = PairTable(self.sheet)

    def read(self) -> list[ImportedResult]:
        """All rows; `doubts` holds a sentence for each value that is far from what is expected.

        Raises:
            FileInvalid: with every fault found, each with its line.
        """
        text = self._text()
        rows = csv.DictReader(io.StringIO(text, newline=""), strict=True)
        results: list[ImportedResult] = []
        seen: dict[tuple[str, float, str], int] = {}
        try:
            if self._heads(rows.fieldnames or ()):
                for row in rows:
                    result = self._row(row, rows.line_num)
                    if result is None or len(self.faults) > MOST_FAULTS:
                        continue
                    first = seen.setdefault(key := key_of(result), rows.line_num)
                    if first != rows.line_num:
                        self._fault(
                            rows.line_num, "", f"this value is in line {first} already.", "Leave one out."
                        )
                    if key in self.known:
                        what = f"{result.serial}, {result.step} of that date is on the record already."
                        self._fault(rows.line_num, "", what, "Leave it out.")
                    results.append(result)
        except csv.Error as error:
            self._fault(rows.line_num, "", f"this is no row of a CSV file ({error}).", "Save it as CSV anew.")
        if not results and not self.faults:
            self._fault(0, "", "there are no rows in it.", "Put a value into each row below the heads.")
        if self.faults:
            raise FileInvalid(self.faults[:MOST_FAULTS])
        return results

    def _text(self) -> str:
        try:
            content = read_file(self.path)
        except OSError as error:
            raise unreadable(self.path, error) from error
        self.digest = hashlib.sha256(content).hexdigest()
        try:
            return content.decode("utf-8-sig")
        except UnicodeDecodeError as error:
            line = content.count(b"\n", 0, error.start) + 1
            self._fault(line, "", "this is no UTF-8.", "Save it as CSV in UTF-8.")
            raise FileInvalid(self.faults) from error

    def _heads(self, names: object) -> bool:
        """Whether the first line names the columns; faults are noted."""
        given = [str(name or "").strip() for name in names]  # type: ignore[attr-defined]
        known = [column.name for column in PAPER_COLUMNS]
        for name in given:
            if name not in known:
                self._fault(1, "", f'there is no column "{name}".', did_you_mean(name, known))
            elif given.count(name) > 1:
                self._fault(1, name, "this column is there twice.", "Leave one out.")
        for name in ("serial", "date", "value_ohm"):
            if name not in given:
                self._fault(1, name, "this column is missing.", f"The columns are {', '.join(known)}.")
        return not self.faults

    def _row(self, row: dict[str, str], line: int) -> ImportedResult | None:
        """One row; None where it has faults, which are noted."""
        before = len(self.faults)
        if None in row or None in row.values():
            self._fault(
                line, "", "this row has not as many cells as there are heads.", "Fill or quote its cells."
            )
            return None
        cells = {str(name).strip(): value.strip() for name, value in row.items()}
        for name, value in cells.items():
            if len(value) > LONGEST_TEXT or not value.isprintable():
                self._fault(
                    line, name, "this text is too long, or holds what cannot be printed.", "Shorten it."
                )
        if not cells["serial"]:
            self._fault(line, "serial", "it is empty.", "Every value belongs to a unit.")
        step = self._step(cells, line)
        measured = self._date(cells["date"], line)
        ohm = None if cells["value_ohm"].casefold() == "open" else self._number(cells, "value_ohm", line)
        celsius = self._number(cells, "celsius", line) if cells.get("celsius") else None
        if celsius is not None and not -60.0 <= celsius <= 300.0:
            self._fault(
                line, "celsius", f"{celsius:g} °C is no temperature of a winding.", "Look at the paper."
            )
        expanded = self._number(cells, "expanded_ohm", line) if cells.get("expanded_ohm") else None
        outcome = self._word(cells, "outcome", [each.value for each in Outcome], line)
        purpose = self._word(cells, "purpose", [each.value for each in Purpose], line) or Purpose.FINAL
        if len(self.faults) > before or step is None or measured is None:
            return None
        name, pair = step
        self._look(ohm, pair, line)
        texts = {each: cells.get(each, "") for each in ("batch", "operator", "instrument", "remark")}
        sheet = self.sheet
        return ImportedResult(
            self.bench, cells["serial"], sheet.name, sheet.content_hash, Purpose(purpose), step=name,
            pin_a=pair.a, pin_b=pair.b, value_ohm=ohm, celsius=celsius, expanded_ohm=expanded,
            reference_celsius=sheet.reference_celsius, reference_ohm=self._at_reference(ohm, celsius, pair),
            outcome=Outcome(outcome) if outcome else None, measured_utc_s=measured, source=self.path.name,
            source_line=line, source_hash=self.digest, software=self.software, utc_s=self.utc_s, **texts,
        )  # fmt: skip

    # ------------------------------------------------------------------ cells

    def _step(self, cells: dict[str, str], line: int) -> tuple[str, Pair] | None:
        """The step a row names, by its name or by its pins; both must agree."""
        steps = {step.name: step.pair for step in self.sheet.steps if step.kind is not StepKind.TYPED}
        name, a, b = cells.get("step", ""), cells.get("pin_a", ""), cells.get("pin_b", "")
        if name and name not in steps:
            self._fault(
                line, "step", f'there is no step "{name}" on {self.sheet.name}.', did_you_mean(name, steps)
            )
            return None
        if not a and not b and name:
            return name, steps[name]
        try:
            pair = self._table.canonical(a, b)
        except InputImpossible as error:
            self._fault(line, "pin_a", error.what, error.hint)
            return None
        if name and self._table.canonical(*steps[name]) != pair:
            self._fault(line, "step", f'"{name}" is {steps[name]}, not {pair}.', "Leave one of them out.")
            return None
        return name or next((each for each, at in steps.items() if set(at) == set(pair)), str(pair)), pair

    def _date(self, text: str, line: int) -> float | None:
        try:
            if len(text) == len("2019-03-02"):
                when = datetime.combine(date.fromisoformat(text), time(), UTC)
            else:
                when = datetime.fromisoformat(text)
                when = when if when.tzinfo else when.replace(tzinfo=UTC)
            seconds = when.timestamp()
        except (ValueError, OverflowError):
            self._fault(line, "date", f'"{text}" is no date.', "Write it as 2019-03-02.")
            return None
        if when.date() < EARLIEST or seconds > self.utc_s + 86_400.0:
            self._fault(line, "date", f"{text} lies too far back, or ahead of us.", "Look at the paper.")
            return None
        return seconds

    def _number(self, cells: dict[str, str], name: str, line: int) -> float | None:
        text = cells[name]
        try:
            value = float(text) if not set(text) & set("_ \u00a0") else math.nan
        except ValueError:
            value = math.nan
        if not math.isfinite(value) or (value < 0.0 and name != "celsius"):
            unit = "degrees Celsius" if name == "celsius" else "ohms"
            remedy = f"Write {unit} with a decimal point and no unit, such as 202.4."
            self._fault(line, name, f'"{text}" is no number of {unit}.', remedy)
            return None
        return value

    def _word(self, cells: dict[str, str], name: str, known: list[str], line: int) -> str:
        text = cells.get(name, "")
        if text and text not in known:
            self._fault(line, name, f'"{text}" is none of {", ".join(known)}.', "")
            return ""
        return text

    def _at_reference(self, ohm: float | None, celsius: float | None, pair: Pair) -> float | None:
        if ohm is None or celsius is None:
            return None
        conductor = conductor_named(self._table.material(pair))
        return to_reference(ohm, celsius, self.sheet.reference_celsius, conductor)

    def _look(self, ohm: float | None, pair: Pair, line: int) -> None:
        """Note a value that is far from what the sheet expects."""
        nominal = self._table.nominal_ohm(pair)
        if ohm is None or not ohm or not math.isfinite(nominal) or 1.0 / FAR <= ohm / nominal <= FAR:
            return
        self.doubts.append(
            f"{self.path}:{line}: {ohm:g} Ω is far from the {nominal:.4g} Ω expected; is it the unit?"
        )

    def _fault(self, line: int, key: str, what: str, remedy: str) -> None:
        self.faults.append(Fault(self.path, line, key, what, remedy))


def key_of(result: ImportedResult) -> tuple[str, float, str]:
    """What makes two rows the same value: unit, time, step."""
    return result.serial, result.measured_utc_s, result.step
