"""`steadyohm batch`: the report of one batch in the form that was asked for, or the list of all."""

from __future__ import annotations

import json
from pathlib import Path
from typing import TYPE_CHECKING, Any

from acquire.files.new_file import new_file
from acquire.line.places import record_at
from acquire.quantity import counted
from acquire.records import Purpose
from acquire.reports.batch import BatchReport, batch_report
from acquire.reports.batch_export import as_csv, as_json
from acquire.reports.batch_list import BatchLine, batches_of
from acquire.reports.batch_words import moment

if TYPE_CHECKING:
    from rich.console import Console


def report_from(
    journal: str | Path, name: str, purpose: Purpose | None = None, subgroup: int | None = None
) -> BatchReport:
    """The report of a batch from a journal.

    Args:
        journal: its folder or file; or a line's database, by address or collector file.
        name: of the batch.
        purpose: as for `batch_report`.
        subgroup: as for `batch_report`.

    Raises:
        InputImpossible: no such batch, or a subgroup that cannot be.
        JournalUnusable: there is no journal, or it cannot be read.
    """
    with record_at(journal) as record:
        return batch_report(record, name, purpose=purpose, subgroup=subgroup)


def write_html(report: BatchReport, file: Path) -> None:
    """Write the report as one HTML file.

    Raises:
        InputImpossible: the file cannot be written.
        LibraryMissing: matplotlib is not installed.
    """
    from acquire.reports.batch_html import as_html  # noqa: PLC0415  (its drawings take half a second to load)

    content = as_html(report)
    with new_file(file) as page:
        page.write(content)


def print_report(report: BatchReport, console: Console) -> None:
    """Print the report for people."""
    from acquire.reports.batch_terminal import shown_report  # noqa: PLC0415  (programs need no rich)

    console.print(shown_report(report))


def report_json(report: BatchReport) -> str:
    """The report as one JSON object."""
    return json.dumps(as_json(report), ensure_ascii=False, indent=2)


def report_csv(report: BatchReport) -> str:
    """The values that count, as CSV."""
    return as_csv(report)


def all_batches(journal: str | Path) -> list[BatchLine]:
    """Every batch of a journal, the one that was heard of last first.

    Raises:
        JournalUnusable: there is no journal, or it cannot be read.
    """
    with record_at(journal) as record:
        return batches_of(record)


def list_lines(batches: list[BatchLine]) -> list[str]:
    """One line a batch, for people."""
    if not batches:
        return ["There is no batch on this record: type .batch and a name at the bench to begin one."]
    wide = max(len(line.name) for line in batches)
    lines = []
    for line in batches:
        state = line.state.value if line.state else "by name"
        of = "" if line.expected is None else f"{line.units} of "
        count = of + counted(line.units if line.expected is None else line.expected, "unit")
        passed = f"{line.passed} passed" if line.units else "none measured"
        doubt = "   FIRST UNIT IN DOUBT" if line.doubt else ""
        lines.append(
            f"{line.name:<{wide}}  {state:<8}  {line.sheet:<14}  {count + ',':<16} {passed:<12}  "
            f"{moment(line.latest_utc_s)}{doubt}"
        )
    return lines


def list_json(batches: list[BatchLine]) -> str:
    """The list as JSON."""
    rows: list[dict[str, Any]] = [
        {
            "name": line.name,
            "state": line.state.value if line.state else None,
            "sheet": line.sheet,
            "expected": line.expected,
            "units": line.units,
            "passed": line.passed,
            "doubt": line.doubt,
            "latest_utc_s": line.latest_utc_s,
        }
        for line in batches
    ]
    return json.dumps(rows, ensure_ascii=False, indent=2)
