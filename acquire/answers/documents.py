"""A report as plain data for the bench page, which asks for it as for papers: in a process of its own."""

from __future__ import annotations

import sys
from enum import StrEnum
from typing import TYPE_CHECKING, Annotated

from acquire.answers.options import argument

if TYPE_CHECKING:
    from acquire.reports.document import Document


class ReportKind(StrEnum):
    """What is reported."""

    BATCH = "batch"
    RETURNED = "returned"
    STUDY = "study"


def document(
    kind: ReportKind,
    place: Annotated[str, argument("Journal; file of a study.")],
    name: Annotated[str, argument("Of the batch; serial of a unit.")] = "",
) -> None:
    """Print a report as one JSON object."""
    import msgspec

    from acquire.reports.document import as_data

    made = {ReportKind.BATCH: _batch, ReportKind.RETURNED: _returned, ReportKind.STUDY: _study}[kind](
        place, name
    )
    sys.stdout.buffer.write(msgspec.json.encode(as_data(made)))


def _batch(journal: str, name: str) -> Document:
    from acquire.answers.batch import report_from
    from acquire.reports.batch_document import batch_document
    from acquire.reports.pictures import svg_pictures

    report = report_from(journal, name)
    return batch_document(report, svg_pictures(report))


def _returned(journal: str, serial: str) -> Document:
    from acquire.line.places import record_at
    from acquire.reports.returned import returned
    from acquire.reports.returned_document import returned_document

    with record_at(journal) as record:
        return returned_document(returned(record, serial), None, "A4", 0.0)


def _study(file: str, _name: str) -> Document:
    from pathlib import Path

    from acquire.study.document import study_document, svg_pictures
    from acquire.study.record import read_study
    from acquire.study.report import report_of

    report = report_of(read_study(Path(file)))
    return study_document(report, svg_pictures(report))
