"""`steadyohm label`: the label of a unit, kept as it is issued."""

from __future__ import annotations

import hashlib
import math
from pathlib import Path
from typing import Annotated

import typer

from acquire.answers.options import JournalPlace, KeptIn
from acquire.answers.papers import Targets, issued_of, papers_of, put
from acquire.choices import Purpose
from acquire.clock import RealClock
from acquire.files.settings import Bench, load_bench
from acquire.line.places import record_at
from acquire.quantity import parse
from acquire.reports.label import as_pdf, as_svg, label_of, laid_out
from acquire.reports.visits import judged_visit, visits_on

WIDTH_MM, HEIGHT_MM = 50.0, 25.0
"""Of a label where nobody says otherwise; common stock, no source."""


def size_mm(width: str | None, height: str | None, bench: Bench | None) -> tuple[float, float]:
    """Width and height of a label, mm: as told, as the bench file says, or 50 by 25; QuantityInvalid."""
    shop = None if bench is None else bench.shop
    known = (WIDTH_MM, HEIGHT_MM) if shop is None else (1e3 * shop.label_width, 1e3 * shop.label_height)
    told = (None if each is None else 1e3 * parse(each, "m") for each in (width, height))
    wide, high = (mm if given is None else given for mm, given in zip(known, told, strict=True))
    return round(wide, 3), round(high, 3)


def label(
    journal: JournalPlace,
    serial: Annotated[str, typer.Argument(help="Of the unit.")],
    *,
    svg: Annotated[Path | None, typer.Option(help="File or folder for the SVG. Left out: here.")] = None,
    pdf: Annotated[Path | None, typer.Option(help="File or folder for a PDF of the label's size.")] = None,
    bench: Annotated[Path | None, typer.Option(help="Bench file: shop's name, size of labels.")] = None,
    width: Annotated[str | None, typer.Option(help='Such as "62 mm"; left out, the bench file\'s.')] = None,
    height: Annotated[str | None, typer.Option(help='Such as "29 mm"; left out, the bench file\'s.')] = None,
    purpose: Annotated[
        Purpose | None, typer.Option(help="The latest test for this purpose; left out: the latest.")
    ] = None,
    id_in_code: Annotated[
        bool,
        typer.Option("--id-in-code", help="The code holds the result's id behind the serial, not it alone."),
    ] = False,
    issued: KeptIn = None,
) -> None:
    """Draw the label for a unit: serial, verdict, date, and a QR code that the bench's scanner can read."""
    known = None if bench is None else load_bench(bench)
    size = size_mm(width, height, known)
    files = Targets(pdf=pdf, svg=Path() if svg is None and pdf is None else svg).of("label", serial)
    shop = "" if known is None or known.shop is None else known.shop.name
    with record_at(journal) as record:
        visit = judged_visit(visits_on(record, serial), purpose)
    facts = label_of(visit, shop, id_in_code=id_in_code)
    drawing = laid_out(facts, *size)
    contents = {
        end: as_svg(drawing) if end == "svg" else as_pdf(drawing, f"label {serial}", facts.utc_s)
        for end in files
    }
    birth, _, seq = facts.result_id.partition("-")
    digest = hashlib.sha256(repr((facts, size)).encode("utf-8", "surrogatepass")).hexdigest()
    number = f"LABEL-{birth[:8]}-{seq}-{digest[:8]}".upper()
    now_s = float(math.floor(RealClock().utc_s()))
    papers_of(journal, issued).keep(issued_of(number, "label", visit, now_s), contents)
    for end, path in files.items():
        typer.echo(f"{serial}: {put(path, contents[end])}, {size[0]:g} mm by {size[1]:g} mm")
