"""`steadyohm certificate`: issues certificates from a journal, and checks one that somebody brings.

Only reads the journal, so that a bench may be at work with it. Not for what stands on a page (reports).
"""

from __future__ import annotations

import base64
import math
import re
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

from acquire.clock import Clock
from acquire.errors import InputImpossible, unreadable
from acquire.files.new_file import ANOTHER, new_file
from acquire.files.settings import Bench
from acquire.journal.question import Question, Record
from acquire.line.places import record_at
from acquire.records import Purpose
from acquire.reports.certificate_check import LARGEST_BYTES, SOFTWARE, Checked, check
from acquire.reports.certificate_facts import Calibration, CertificateFacts, Given, Heading
from acquire.reports.certificate_pages import certificate_paper
from acquire.reports.certificate_source import facts_of
from acquire.reports.logo import logo_of
from acquire.reports.paper_html import as_html
from drivers.models import load_model


@dataclass(frozen=True, slots=True)
class Wish:
    """What is said when a certificate is issued; all of it may be left out.

    Attributes:
        purpose: of the visit to certify; None: the latest that ended with an outcome.
        customer, received, condition, remark: words that go on it.
        replaces: number of an earlier certificate that it stands in for.
    """

    purpose: Purpose | None = None
    customer: str = ""
    received: str = ""
    condition: str = ""
    remark: str = ""
    replaces: str = ""


def issue(record: Record, serial: str, wish: Wish, bench: Bench | None, clock: Clock) -> CertificateFacts:
    """Gather the facts of one certificate.

    Args:
        record: where the unit was measured.
        serial: of the unit.
        wish: what is said besides.
        bench: for heading and calibration; None: the heading names the bench only.
        clock: for the date of issue.

    Raises:
        InputImpossible: the unit has no outcome on record, or the logo cannot be used.
        JournalUnusable: the record cannot be read.
        ModelInvalid: the meter file cannot be read.
    """
    entries = record.by_serial(serial)
    now_s = float(math.floor(clock.utc_s()))
    names = [str(entry.payload.get("bench", "")) for entry in entries if entry.payload.get("bench")]
    given = Given(
        heading=heading_of(bench, names[-1] if names else ""),
        issued_utc_s=now_s,
        as_of_utc_s=max([now_s, *(entry.utc_s for entry in entries)]),
        software=SOFTWARE,
        paper="A4" if bench is None or bench.shop is None else bench.shop.paper,
        customer=wish.customer,
        received=wish.received,
        condition=wish.condition,
        remark=wish.remark,
        replaces=wish.replaces,
        calibrations=() if bench is None else (_calibration(Path(bench.meter.model)),),
    )
    return facts_of(record, serial, given, wish.purpose)


def heading_of(bench: Bench | None, name: str = "") -> Heading:
    """The shop's heading, or the bench's name where its file has none.

    Raises:
        InputImpossible: the logo cannot be used.
    """
    shop = None if bench is None else bench.shop
    if shop is None:
        return Heading(f"Bench {name or (bench.name if bench else '')}".strip())
    content, kind = (b"", "") if shop.logo is None else logo_of(shop.logo)
    logo = base64.b64encode(content).decode("ascii")
    return Heading(shop.name, tuple(shop.address), logo, kind, shop.authorised)  # type: ignore[arg-type]


def _calibration(file: Path) -> Calibration:
    model = load_model(file)
    calibrated = model.calibration
    if calibrated is None:
        return Calibration(model.content_hash, model.about)
    return Calibration(model.content_hash, model.about, calibrated.due.isoformat(), calibrated.certificate)


def serials_of(record: Record, batch: str) -> list[str]:
    """Serials of a batch, in the order of their first results.

    Raises:
        InputImpossible: the batch has none.
    """
    found = record.values(Question(batch=batch, kinds=("unit_result",)), ["serial", "outcome"])
    serials = list(dict.fromkeys(str(serial) for serial, outcome in found if outcome is not None))
    if not serials:
        raise InputImpossible(f'No unit of batch "{batch}" has a verdict.', "steadyohm batch lists them.")
    return serials


def write(facts: CertificateFacts, html: Path | None, pdf: Path | None) -> Iterator[Path]:
    """Draw a certificate into files.

    Raises:
        SteadyohmError: a file cannot be written, or what draws PDF is not installed.
    """
    paper = certificate_paper(facts)
    if html is not None:
        yield put(html, as_html(paper))
    if pdf is not None:
        from acquire.reports.pdf_paper import as_pdf  # noqa: PLC0415  (an extra)

        yield put(pdf, as_pdf(paper))


def put(path: Path, content: bytes) -> Path:
    """Write a whole file; what was there is replaced in one go.

    Raises:
        InputImpossible: its folder is not there, or it cannot be written.
    """
    with new_file(path) as file:
        file.write(content)
    return path


def folder_for(path: Path) -> Path:
    """The folder that papers of a batch go into, made if the one it lies in is there.

    Raises:
        InputImpossible: it cannot be made.
    """
    try:
        path.mkdir(exist_ok=True)
    except FileNotFoundError as error:
        raise InputImpossible(
            f"{path} cannot be made: there is no folder {path.parent}.", "Make that first, or name another."
        ) from error
    except OSError as error:
        raise InputImpossible(f"{path} cannot be made a folder: {error.strerror}.", ANOTHER) from error
    return path


def file_name(kind: str, serial: str, ending: str) -> str:
    """A name for a paper's file that any system takes, whatever the serial holds."""
    safe = re.sub(r"[^A-Za-z0-9+-]+", "_", serial).strip("_")[:60] or "unit"
    return f"{kind}-{safe}.{ending}"


def verify(file: Path, place: str | Path | None) -> Checked:
    """Check a certificate that somebody brings.

    Raises:
        InputImpossible: the file cannot be read, or is no certificate.
        JournalUnusable: the journal cannot be read.
    """
    try:
        with file.open("rb") as opened:
            content = opened.read(LARGEST_BYTES + 1)
    except OSError as error:
        raise unreadable(file, error) from error
    if len(content) > LARGEST_BYTES:
        raise InputImpossible(f"{file} is larger than any certificate.")
    if place is None:
        return check(content)
    with record_at(place) as record:
        return check(content, record)
