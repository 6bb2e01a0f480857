"""Earlier paper records from a CSV file, checked row by row; faults come all at once, each with its line.

The columns are `PAPER_COLUMNS`. A value that is far from what the sheet expects is taken, as a fault reads
so, but told: it may be a slip of the unit. Not for writing them down (acquire.answers.importing).
"""

from __future__ import annotations

import csv
import hashlib
import io
import math
from collections.abc import Iterator
from dataclasses import dataclass, field
from datetime import UTC, date, datetime, time
from pathlib import Path

from acquire.errors import Fault, FileInvalid, InputImpossible, unreadable
from acquire.files.toml_file import did_you_mean
from acquire.outlets.payload import CsvColumn
from acquire.physics.copper import conductor_named, to_reference
from acquire.records import ImportedResult, Outcome, Pair, Purpose, Sheet, StepKind
from acquire.steps.pairs import PairTable
from drivers.plain_file import read_file

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
    CsvColumn("purpose", "incoming, winding, final or returned; default: final"),
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


@dataclass(frozen=True, slots=True)
class ImportOrigin:
    """The journal's bench that takes the values, this program, and now."""

    bench: str
    software: str
    utc_s: float


@dataclass(slots=True)
class PaperFile:
    """One file of paper records against one sheet."""

    path: Path
    sheet: Sheet
    origin: ImportOrigin
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
                    first = seen.setdefault(key_of(result), rows.line_num)
                    if first != rows.line_num:
                        self._fault(
                            rows.line_num, "", f"this value is in line {first} already.", "Leave one out."
                        )
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
                self._fault(1, name, "this column appears twice.", "Leave one out.")
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
        sheet, origin = self.sheet, self.origin
        return ImportedResult(
            origin.bench, cells["serial"], sheet.name, sheet.content_hash, Purpose(purpose), step=name,
            pin_a=pair.a, pin_b=pair.b, value_ohm=ohm, celsius=celsius, expanded_ohm=expanded,
            reference_celsius=sheet.reference_celsius, reference_ohm=self._at_reference(ohm, celsius, pair),
            outcome=Outcome(outcome) if outcome else None, measured_utc_s=measured, source=self.path.name,
            source_line=line, source_hash=self.digest, software=origin.software, utc_s=origin.utc_s, **texts,
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
        if when.date() < EARLIEST or seconds > self.origin.utc_s + 86_400.0:
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
            self._fault(line, name, f'"{text}" is not one of {", ".join(known)}.', "")
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


def already(results: list[ImportedResult], known: set[tuple[str, float, str]]) -> Iterator[Fault]:
    """A fault for each value that is on the record already."""
    for result in results:
        if key_of(result) in known:
            what = f"{result.serial}, {result.step} of that date is on the record already."
            yield Fault(Path(result.source), result.source_line, "", what, "Leave it out.")
