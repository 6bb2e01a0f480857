"""`steadyohm label`: the label for a unit, from its journal. Only reads it."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

from acquire.answers.certificate import put
from acquire.files.settings import Bench
from acquire.journal.question import Record
from acquire.quantity import parse
from acquire.records import Purpose
from acquire.reports.certificate_source import visit_for
from acquire.reports.label import LabelFacts, as_pdf, as_svg, facts_of_visit, laid_out
from acquire.reports.visits import visits_on

WIDTH_MM, HEIGHT_MM = 50.0, 25.0
"""Of a label where nobody says otherwise; common stock, no source."""


def label_facts(
    record: Record,
    serial: str,
    bench: Bench | None,
    purpose: Purpose | None = None,
    *,
    id_in_code: bool = False,
) -> LabelFacts:
    """What stands on the label of a unit.

    Raises:
        InputImpossible: the unit has no outcome on record.
        JournalUnusable: the record cannot be read.
    """
    heading = bench.shop.name if bench is not None and bench.shop is not None else ""
    visit = visit_for(visits_on(record, serial), purpose)
    return facts_of_visit(visit, heading, id_in_code=id_in_code)


def size_mm(width: str | None, height: str | None, bench: Bench | None) -> tuple[float, float]:
    """Width and height in millimetres: as told, else as the bench file says, else 50 by 25.

    Raises:
        QuantityInvalid: a text is no length.
    """
    shop = None if bench is None else bench.shop
    known = (WIDTH_MM, HEIGHT_MM) if shop is None else (1e3 * shop.label_width, 1e3 * shop.label_height)
    told = (None if each is None else 1e3 * parse(each, "m") for each in (width, height))
    wide, high = (mm if given is None else given for mm, given in zip(known, told, strict=True))
    return round(wide, 3), round(high, 3)


def write_label(
    facts: LabelFacts, size: tuple[float, float], svg: Path | None, pdf: Path | None
) -> Iterator[Path]:
    """Draw it into files.

    Raises:
        InputImpossible: the size is none of a label, or a file cannot be written.
        SteadyohmError: what draws PDF is not installed.
    """
    drawing = laid_out(facts, *size)
    if svg is not None:
        yield put(svg, as_svg(drawing))
    if pdf is not None:
        yield put(pdf, as_pdf(drawing, f"label {facts.serial}", facts.utc_s))
