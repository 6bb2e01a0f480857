"""The commands about papers: certificate, issued, sign-key, label, returned; what is issued is kept.

Only reads the record, so that a bench may be at work with it. Not for what stands on a page (reports).
"""

from __future__ import annotations

import hashlib
import math
from collections.abc import Mapping
from contextlib import nullcontext
from dataclasses import replace
from math import floor
from pathlib import Path
from typing import Annotated

import typer

from acquire.answers import (
    PLACE,
    AsJson,
    AsJsonLines,
    HeadedBy,
    Html,
    JournalPlace,
    KeptIn,
    OfPurpose,
    OfUnit,
    Pdf,
    argument,
    option,
    say,
    say_document,
    say_json,
)
from acquire.clock import RealClock
from acquire.errors import InputImpossible, unreadable
from acquire.files.new_file import ANOTHER, new_file
from acquire.files.settings import Bench, load_bench
from acquire.journal.plain import spelt
from acquire.journal.query import Query, Record
from acquire.line.places import is_line, record_at
from acquire.quantity import possible
from acquire.records import Purpose
from acquire.reports import document as doc
from acquire.reports import returned as reports
from acquire.reports.certificate import (
    Certificate,
    Given,
    MeterCalibration,
    certificate_number,
    certificate_of,
)
from acquire.reports.certificate_check import LARGEST_BYTES, SOFTWARE, check
from acquire.reports.certificate_document import certificate_document
from acquire.reports.document import moment
from acquire.reports.issued import FOLDER, Issued, IssuedPapers, file_name, make_keys, signed
from acquire.reports.label import as_pdf as label_pdf
from acquire.reports.label import as_svg as label_svg
from acquire.reports.label import label_of, laid_out
from acquire.reports.printing import as_html, logo_of
from acquire.reports.returned_document import as_plain, returned_document
from acquire.reports.visits import Visit, judged_visit, visits_on
from drivers.models import load_model
from drivers.plain_file import read_file


def files_of(kind: str, serial: str, **wanted: Path | None) -> dict[str, Path]:
    """Where one paper goes, by ending; a folder takes it under a name of its own.

    Raises:
        InputImpossible: one file for two forms, the second of which would replace the first.
    """
    named = {end: path for end, path in wanted.items() if path is not None}
    files = {end: p / file_name(kind, serial, end) if p.is_dir() else p for end, p in named.items()}
    if len({path.resolve() for path in files.values()}) < len(files):
        one = next(iter(files.values()))
        raise InputImpossible(f"{one.name} cannot hold two forms of one paper.", "Name two files.")
    return files


def papers_of(place: str | Path, issued: Path | None) -> IssuedPapers:
    """Where papers of a record are kept as issued.

    Args:
        place: of the record. In a journal's folder; beside a collector file; for a database's address in the
            working folder.
        issued: another folder; None takes that.
    """
    if issued is not None:
        return IssuedPapers(issued)
    path = Path(place)
    if is_line(place):
        return IssuedPapers((path.parent if str(place).endswith(".toml") else Path()) / FOLDER)
    return IssuedPapers((path if path.is_dir() else path.parent) / FOLDER)


def put(path: Path, content: bytes) -> Path:
    """Write a whole file; what was there is replaced in one go. Raises InputImpossible."""
    with new_file(path) as file:
        file.write(content)
    return path


def _folder_for(path: Path) -> Path:
    """The folder that papers of a batch go into, made if its own is there."""
    try:
        path.mkdir(exist_ok=True)
    except FileNotFoundError as error:
        what = f"{path} cannot be made: there is no folder {path.parent}."
        raise InputImpossible(what, "Make that first, or name another.") from error
    except OSError as error:
        raise InputImpossible(f"{path} cannot be made a folder: {error.strerror}.", ANOTHER) from error
    return path


def _drawn(document: doc.Document, ending: str) -> bytes:
    if ending == "html":
        return as_html(document)
    from acquire.reports.printing import as_pdf

    return as_pdf(document)


def write_document(document: doc.Document, html: Path | None, pdf: Path | None) -> list[Path]:
    """Draw a report that is not kept into files. Raises InputImpossible, or SteadyohmError without typst."""
    files = files_of("report", document.title, html=html, pdf=pdf)
    return [put(path, _drawn(document, end)) for end, path in files.items()]


# ---------------------------------------------------------------- certificates


def _certify(
    record: Record, serial: str, bench: Bench | None, purpose: Purpose | None, said: Mapping[str, str]
) -> Certificate:
    """Gather what one certificate states; `said`: what goes on it besides, by the names of `Given`."""
    entries = record.by_serial(serial)
    now_s = float(math.floor(RealClock().utc_s()))
    names = [str(entry.payload["bench"]) for entry in entries if entry.payload.get("bench")]
    given = Given(
        heading=_heading(bench, names[-1] if names else ""),
        issued_utc_s=now_s,
        as_of_utc_s=max([now_s, *(entry.utc_s for entry in entries)]),
        software=SOFTWARE,
        paper="A4" if bench is None or bench.shop is None else bench.shop.paper,
        calibrations=() if bench is None else (_calibration(Path(bench.meter.model)),),
        **said,
    )
    return certificate_of(record, serial, given, purpose)


def _issue(of: Certificate, files: dict[str, Path], papers: IssuedPapers, key: Path | None) -> list[Path]:
    """Draw a certificate, keep it as issued, and write it where it is wanted."""
    visit = of.visit
    document = certificate_document(of)
    contents = {ending: _drawn(document, ending) for ending in files}
    if key is not None:
        contents = {ending: signed(content, key) for ending, content in contents.items()}
    steps = of.steps(visit)
    hashes = {
        "sheet": (visit.started.sheet_hash,),
        "meter": tuple(dict.fromkeys(step.verdict.meter_hash for step in steps)),
        "bench": tuple(dict.fromkeys(step.verdict.bench_hash for step in steps)),
    }
    paper = _issued(of.number, "certificate", visit, of.given.issued_utc_s)
    rests_on = tuple(entry.id for entry in of.entries)
    papers.keep(replace(paper, replaces=of.given.replaces, rests_on=rests_on, hashes=hashes), contents)
    return [put(path, contents[ending]) for ending, path in files.items()]


def _issued(number: str, kind: str, visit: Visit, utc_s: float) -> Issued:
    """A paper about a visit, as it is kept."""
    assert visit.outcome is not None  # noqa: S101  (papers are of visits with an outcome)
    state = visit.revision[0], visit.outcome
    id_ = visit.result_id
    return Issued(number, kind, visit.started.serial, id_, *state, utc_s, rests_on=(id_,))


def _heading(bench: Bench | None, name: str = "") -> doc.Letterhead:
    """The shop's heading, or the bench's name without one."""
    shop = None if bench is None else bench.shop
    if shop is None:
        return doc.Letterhead(f"Bench {name or (bench.name if bench else '')}".strip())
    content, kind = logo_of(shop.logo) if shop.logo else (b"", "")
    return doc.Letterhead(shop.name, tuple(shop.address), content, kind, shop.authorised)


def _calibration(file: Path) -> MeterCalibration:
    model = load_model(file)
    calibrated = model.calibration
    if calibrated is None:
        return MeterCalibration(model.content_hash, model.about)
    return MeterCalibration(
        model.content_hash, model.about, calibrated.due.isoformat(), calibrated.certificate
    )


def _serials_of(record: Record, batch: str) -> list[str]:
    """Serials of a batch, in the order of their first results."""
    found = record.values(Query(batch=batch, kinds=("unit_result",)), ["serial", "outcome"])
    serials = list(dict.fromkeys(str(serial) for serial, outcome in found if outcome is not None))
    if not serials:
        raise InputImpossible(f'No unit of batch "{batch}" has a verdict.', "steadyohm batch lists them.")
    return serials


# ---------------------------------------------------------------- what was issued


def certificate(
    journal: Annotated[str | None, argument(PLACE)] = None,
    serial: Annotated[str | None, argument("Of the unit.")] = None,
    *,
    html: Annotated[
        Path | None, option("File or folder for the HTML; with --batch a folder. Default: here.")
    ] = None,
    pdf: Annotated[Path | None, option("File or folder for a PDF; with --batch a folder.")] = None,
    batch: Annotated[str | None, option("Certificates for all units of this batch.")] = None,
    bench: HeadedBy = None,
    purpose: OfPurpose = None,
    customer: Annotated[str, option("Who the unit belongs to.")] = "",
    received: Annotated[str, option("When it was received, in words.")] = "",
    condition: Annotated[str, option("In what condition it came.")] = "",
    remark: Annotated[str, option("A remark that goes on the certificate.")] = "",
    replaces: Annotated[str, option("Number of an earlier certificate that it replaces.")] = "",
    key: Annotated[Path | None, option("Sign it with this key of steadyohm sign-key.")] = None,
    issued: KeptIn = None,
    check: Annotated[
        Path | None, option("Check this certificate (HTML or PDF); exit 1 if anything is wrong.", "--verify")
    ] = None,
    against: Annotated[
        str | None, option("With --verify: the record to compare its facts with.", "--journal")
    ] = None,
    public_key: Annotated[
        Path | None, option("With --verify: the .pub file of the key that it must be signed with.")
    ] = None,
    as_json: AsJsonLines = False,
) -> None:
    """Issue a certificate for a unit or a whole batch, or check one that somebody brings."""
    if check is not None:
        _verify(check, against or journal, issued, public_key, as_json=as_json)
        return
    if journal is None or (serial is None) == (batch is None):
        raise InputImpossible(
            "A certificate is for one unit or for one batch.",
            "Write: steadyohm certificate JOURNAL SERIAL, or steadyohm certificate JOURNAL --batch NAME.",
        )
    said = {"customer": customer, "received": received, "condition": condition, "remark": remark}
    html = Path() if html is None and pdf is None else html
    at, kept = None if bench is None else load_bench(bench), papers_of(journal, issued)
    with record_at(journal) as record:
        serials = [serial] if serial is not None else _serials_of(record, batch or "")
        for folder in filter(None, (html, pdf) if batch else ()):
            _folder_for(folder)
        for each in serials:
            files = files_of("certificate", each, html=html, pdf=pdf)
            found = _certify(record, each, at, purpose, {**said, "replaces": replaces})
            paths = [str(path) for path in _issue(found, files, kept, key)]
            if as_json:
                say_json({"serial": each, "id": found.number, "sha256": found.digest, "files": paths})
            else:
                typer.echo(f"{each}: certificate {found.number}: {', '.join(paths)}")


def _verify(
    file: Path, journal: str | None, issued: Path | None, public_key: Path | None, *, as_json: bool
) -> None:
    """Check a certificate that somebody brings."""
    try:
        content = read_file(file, LARGEST_BYTES)
    except OSError as error:
        raise unreadable(file, error) from error
    papers = None if journal is None and issued is None else papers_of(journal or "", issued)
    with nullcontext() if journal is None else record_at(journal) as record:
        found = check(content, record, papers, public_key)
    say_json(spelt(found)) if as_json else say(found.sentences)
    raise typer.Exit(0 if found.sound else 1)


def issued(
    journal: JournalPlace,
    word: Annotated[
        str, argument("Number of a paper, serial of a unit, or entry of its result; default: all.")
    ] = "",
    *,
    to: Annotated[
        Path | None, option("Write the paper again into this file, as it was issued: .html, .pdf or .svg.")
    ] = None,
    folder: KeptIn = None,
    as_json: AsJsonLines = False,
) -> None:
    """List the certificates and labels that were issued, whether each is still good, or print one again."""
    papers = papers_of(journal, folder)
    if not (kept := papers.found(word)):
        what = f"Nothing {f'of {word} ' if word else ''}is kept as issued in {papers.folder}."
        raise InputImpossible(what, "Were they issued elsewhere? --issued names another folder.")
    with record_at(journal) as record:
        found = [(each, papers.superseded(each, record)) for each in kept]
    if to is not None and len(found) != 1:
        raise InputImpossible(
            f"{len(found)} papers are of {word or 'this record'}.", "Give the number of one."
        )
    for paper, superseded in found:
        if as_json:
            say_json({**spelt(paper), "superseded": superseded})
        else:
            forms = ", ".join(sorted(paper.files))
            state = superseded or "Good: the unit's result is still this one."
            typer.echo(
                f"{paper.number}  {moment(paper.issued_utc_s)}  {paper.kind} of {paper.serial} ({forms}): "
                f"{state}"
            )
    if to is not None:
        put(to, papers.content(kept[0], to.suffix.removeprefix(".").lower()))
        typer.echo(f"{kept[0].number}: {to}", err=as_json)


def sign_key(
    file: Annotated[Path, argument("Where the key goes; FILE.pub beside it is for everybody.")],
) -> None:
    """Make a key that certificates are signed with, and the public key that shows who signed them."""
    public, fingerprint = make_keys(file)
    typer.echo(
        f"{file}: the key; keep it to yourself. {public}: for whoever checks certificates. It is "
        f"{fingerprint}."
    )


# ---------------------------------------------------------------- labels


WIDTH_MM, HEIGHT_MM = 50.0, 25.0
"""Of a label where nobody says otherwise; common stock, no source."""


def _size_mm(width: str | None, height: str | None, bench: Bench | None) -> tuple[float, float]:
    """Width and height of a label, mm: as told, as the bench file says, or 50 by 25."""
    shop = None if bench is None else bench.shop
    known = (WIDTH_MM, HEIGHT_MM) if shop is None else (1e3 * shop.label_width, 1e3 * shop.label_height)
    told = (None if each is None else 1e3 * possible(each, "m") for each in (width, height))
    wide, high = (mm if given is None else given for mm, given in zip(known, told, strict=True))
    return round(wide, 3), round(high, 3)


def label(
    journal: JournalPlace,
    serial: OfUnit,
    *,
    svg: Annotated[Path | None, option("File or folder for the SVG. Default: here.")] = None,
    pdf: Annotated[Path | None, option("File or folder for a PDF of the label's size.")] = None,
    bench: HeadedBy = None,
    width: Annotated[str | None, option('Such as "62 mm"; default: the bench file\'s.')] = None,
    height: Annotated[str | None, option('Such as "29 mm"; default: the bench file\'s.')] = None,
    purpose: OfPurpose = None,
    id_in_code: Annotated[
        bool, option("The code holds serial and id of the result, not the serial alone.", "--id-in-code")
    ] = False,
    issued: KeptIn = None,
) -> None:
    """Draw the label for a unit: serial, verdict, date, and a QR code that the bench's scanner can read."""
    known = None if bench is None else load_bench(bench)
    size = _size_mm(width, height, known)
    files = files_of("label", serial, pdf=pdf, svg=Path() if svg is None and pdf is None else svg)
    shop = "" if known is None or known.shop is None else known.shop.name
    with record_at(journal) as record:
        visit = judged_visit(visits_on(record, serial), purpose)
    facts = label_of(visit, shop, id_in_code=id_in_code)
    drawing = laid_out(facts, *size)
    contents = {
        end: label_svg(drawing) if end == "svg" else label_pdf(drawing, f"label {serial}", facts.utc_s)
        for end in files
    }
    digest = hashlib.sha256(repr((facts, size)).encode("utf-8", "surrogatepass")).hexdigest()
    number = f"LABEL-{certificate_number(facts.result_id, digest)}"
    now_s = float(math.floor(RealClock().utc_s()))
    papers_of(journal, issued).keep(_issued(number, "label", visit, now_s), contents)
    for end, path in files.items():
        typer.echo(f"{serial}: {put(path, contents[end])}, {size[0]:g} mm by {size[1]:g} mm")


# ---------------------------------------------------------------- units that came back


def returned(
    journal: JournalPlace,
    serial: OfUnit,
    *,
    prior: Annotated[
        float, option("How likely it is ours before any ohms are compared, 0 to 1.", min=0.001, max=0.999)
    ] = 0.5,
    paper: Annotated[
        bool, option("Compare with its imported paper record, not with a visit.", "--paper")
    ] = False,
    html: Html = None,
    pdf: Pdf = None,
    bench: HeadedBy = None,
    as_json: AsJson = False,
) -> None:
    """Compare a returned unit with what it read when it left: what has changed, and is it ours?"""
    with record_at(journal) as record:
        found = reports.returned(record, serial, prior, from_paper=paper)
    of = None if bench is None else load_bench(bench)
    size = "A4" if of is None or of.shop is None else of.shop.paper
    document = returned_document(found, _heading(of), size, float(floor(RealClock().utc_s())))
    write_document(document, html, pdf)
    if as_json:
        say_json(as_plain(found))
    else:
        say_document(document)
