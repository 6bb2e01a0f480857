"""`steadyohm batch`: the report of one batch in the form that was asked for, or the list of all."""

from __future__ import annotations

import json
from dataclasses import asdict
from pathlib import Path

from acquire.answers.papers import put
from acquire.line.places import record_at
from acquire.quantity import counted
from acquire.records import Purpose
from acquire.reports.batch import BatchLine, BatchReport, batch_report, batches_of
from acquire.reports.batch_document import batch_document
from acquire.reports.figures import moment
from acquire.reports.html_page import as_html


def report_from(
    journal: str | Path, name: str, purpose: Purpose | None = None, subgroup: int | None = None
) -> BatchReport:
    """The report of a batch from a journal's folder or file, or a line's database; as `batch_report`.

    Raises:
        InputImpossible: no such batch, or a subgroup that cannot be.
        JournalUnusable: there is no journal, or it cannot be read.
    """
    with record_at(journal) as record:
        return batch_report(record, name, purpose=purpose, subgroup=subgroup)


def write_report(report: BatchReport, html: Path | None, pdf: Path | None) -> list[Path]:
    """Write the report into files. Raises InputImpossible, or LibraryMissing without matplotlib or typst."""
    from acquire.reports.batch_pictures import svg_pictures  # noqa: PLC0415  (half a second)

    written, document = [], batch_document(report, svg_pictures(report) if html or pdf else None)
    if html is not None:
        written.append(put(html, as_html(document)))
    if pdf is not None:
        from acquire.reports.pdf import as_pdf  # noqa: PLC0415  (an extra)

        written.append(put(pdf, as_pdf(document)))
    return written


def all_batches(journal: str | Path) -> list[BatchLine]:
    """Every batch of a journal, the one that was heard of last first. Raises JournalUnusable."""
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
            f"{moment(line.latest_utc_s)[:16]}{doubt}"
        )
    return lines


def list_json(batches: list[BatchLine]) -> str:
    """The list as JSON."""
    return json.dumps([asdict(line) for line in batches], ensure_ascii=False, indent=2)
