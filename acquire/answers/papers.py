"""What the commands about papers do: certificate, label, returned, look-back; keeps what is issued.

Only reads the record, so that a bench may be at work with it. Not for what stands on a page (reports).
"""

from __future__ import annotations

import base64
import hashlib
import math
from collections.abc import Iterable, Iterator
from dataclasses import dataclass, fields, replace
from pathlib import Path

from acquire.answers.history import moment_s
from acquire.clock import Clock
from acquire.errors import InputImpossible, unreadable
from acquire.files.new_file import ANOTHER, new_file
from acquire.files.settings import Bench
from acquire.journal.question import Question, Record
from acquire.line.places import is_line, record_at
from acquire.outlets.csv_log import BOM
from acquire.quantity import parse, show
from acquire.records import Outcome, Purpose
from acquire.reports import document as doc
from acquire.reports.certificate import Calibration, Certificate, Given, Heading, certificate_of
from acquire.reports.certificate_check import LARGEST_BYTES, SOFTWARE, Checked, check
from acquire.reports.certificate_document import certificate_document
from acquire.reports.export import csv_lines
from acquire.reports.html_page import as_html
from acquire.reports.issued import FOLDER, Issued, IssuedPapers, file_name
from acquire.reports.label import LabelFacts, as_svg, label_of, laid_out
from acquire.reports.label import as_pdf as label_pdf
from acquire.reports.logo import logo_of
from acquire.reports.lookback import MeterRow, Span, SpoolRow, by_meter, by_spool, span_since_check
from acquire.reports.signing import signed
from acquire.reports.visits import Visit, judged_visit, visits_on
from acquire.words.outcomes import OUTCOME_WORDS
from drivers.models import load_model
from drivers.plain_file import read_file

WIDTH_MM, HEIGHT_MM = 50.0, 25.0
"""Of a label where nobody says otherwise; common stock, no source."""


@dataclass(frozen=True, slots=True)
class Wish:
    """What is said when a certificate is issued; all of it may be left out.

    Attributes:
        purpose: of the visit to certify; None: the latest that ended with an outcome.
        customer, received, condition, remark: words that go on it.
        replaces: number of an earlier certificate that it stands in for.
        key: file of the key that it is signed with; None leaves it unsigned.
    """

    purpose: Purpose | None = None
    customer: str = ""
    received: str = ""
    condition: str = ""
    remark: str = ""
    replaces: str = ""
    key: Path | None = None


@dataclass(frozen=True, slots=True)
class Targets:
    """Where one paper goes, by ending; a folder takes it under a name of its own. Raises InputImpossible."""

    html: Path | None = None
    pdf: Path | None = None
    svg: Path | None = None

    def __post_init__(self) -> None:
        """Refuse one file for two forms: the second would replace the first."""
        named = [path.resolve() for path in (self.html, self.pdf, self.svg) if path is not None]
        if len(set(named)) < len(named) and not named[0].is_dir():
            raise InputImpossible(f"{named[0].name} cannot hold two forms of one paper.", "Name two files.")

    def of(self, kind: str, serial: str) -> dict[str, Path]:
        """The files of a unit's paper."""
        wanted = {"html": self.html, "pdf": self.pdf, "svg": self.svg}
        named = {end: path for end, path in wanted.items() if path is not None}
        return {end: p / file_name(kind, serial, end) if p.is_dir() else p for end, p in named.items()}


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


def folder_for(path: Path) -> Path:
    """The folder that papers of a batch go into, made if its own is there. Raises InputImpossible."""
    try:
        path.mkdir(exist_ok=True)
    except FileNotFoundError as error:
        what = f"{path} cannot be made: there is no folder {path.parent}."
        raise InputImpossible(what, "Make that first, or name another.") from error
    except OSError as error:
        raise InputImpossible(f"{path} cannot be made a folder: {error.strerror}.", ANOTHER) from error
    return path


def drawn(document: doc.Document, endings: Iterable[str]) -> dict[str, bytes]:
    """A document by the ending of its file. Raises SteadyohmError where what draws PDF is not installed."""
    contents = {}
    for ending in endings:
        if ending == "html":
            contents[ending] = as_html(document)
        else:
            from acquire.reports.pdf import as_pdf  # noqa: PLC0415  (an extra)

            contents[ending] = as_pdf(document)
    return contents


def write_document(document: doc.Document, targets: Targets) -> list[Path]:
    """Draw a report that is not kept into files. Raises SteadyohmError."""
    files = targets.of("report", document.title)
    contents = drawn(document, files)
    return [put(path, contents[ending]) for ending, path in files.items()]


# ---------------------------------------------------------------- certificates


def certify(record: Record, serial: str, wish: Wish, bench: Bench | None, clock: Clock) -> Certificate:
    """Gather what one certificate states.

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
    names = [str(entry.payload["bench"]) for entry in entries if entry.payload.get("bench")]
    said = {name: getattr(wish, name) for name in ("customer", "received", "condition", "remark", "replaces")}
    given = Given(
        heading=heading_of(bench, names[-1] if names else ""),
        issued_utc_s=now_s,
        as_of_utc_s=max([now_s, *(entry.utc_s for entry in entries)]),
        software=SOFTWARE,
        paper="A4" if bench is None or bench.shop is None else bench.shop.paper,
        calibrations=() if bench is None else (_calibration(Path(bench.meter.model)),),
        **said,
    )
    return certificate_of(record, serial, given, wish.purpose)


def issue(of: Certificate, targets: Targets, papers: IssuedPapers, key: Path | None = None) -> list[Path]:
    """Draw a certificate, keep it as issued, and write it where it is wanted.

    Raises:
        InputImpossible: it cannot be kept or written, or the key is none.
        SteadyohmError: what draws PDF, or what signs, is not installed.
    """
    visit = of.visit
    files = targets.of("certificate", visit.started.serial)
    contents = drawn(certificate_document(of), files)
    if key is not None:
        contents = {ending: signed(content, key) for ending, content in contents.items()}
    steps = of.steps(visit)
    hashes = {
        "sheet": (visit.started.sheet_hash,),
        "meter": tuple(dict.fromkeys(step.verdict.meter_hash for step in steps)),
        "bench": tuple(dict.fromkeys(step.verdict.bench_hash for step in steps)),
    }
    paper = _of_visit(of.number, "certificate", visit, of.given.issued_utc_s)
    rests_on = tuple(entry.id for entry in of.entries)
    papers.keep(replace(paper, replaces=of.given.replaces, rests_on=rests_on, hashes=hashes), contents)
    return [put(path, contents[ending]) for ending, path in files.items()]


def _of_visit(number: str, kind: str, visit: Visit, utc_s: float) -> Issued:
    assert visit.outcome is not None  # noqa: S101  (papers are of visits with an outcome)
    state = visit.revision[0], visit.outcome
    id_ = visit.result_id
    return Issued(number, kind, visit.started.serial, id_, *state, utc_s, rests_on=(id_,))


def heading_of(bench: Bench | None, name: str = "") -> Heading:
    """The shop's heading, or the bench's name without one. Raises InputImpossible for the logo."""
    shop = None if bench is None else bench.shop
    if shop is None:
        return Heading(f"Bench {name or (bench.name if bench else '')}".strip())
    content, kind = (b"", "") if shop.logo is None else logo_of(shop.logo)
    logo = base64.b64encode(content).decode("ascii")
    return Heading(shop.name, tuple(shop.address), logo, kind, shop.authorised)  # type: ignore[arg-type]


def letterhead_of(bench: Bench | None) -> tuple[doc.Letterhead, str, str]:
    """Heading, size of paper and name under the signature, as the bench file says. Raises InputImpossible."""
    h = heading_of(bench)
    size = "A4" if bench is None or bench.shop is None else bench.shop.paper
    logo = base64.b64decode(h.logo) if h.logo else b""
    return doc.Letterhead(h.name, h.address, logo, h.logo_kind), size, h.authorised


def _calibration(file: Path) -> Calibration:
    model = load_model(file)
    calibrated = model.calibration
    if calibrated is None:
        return Calibration(model.content_hash, model.about)
    return Calibration(model.content_hash, model.about, calibrated.due.isoformat(), calibrated.certificate)


def serials_of(record: Record, batch: str) -> list[str]:
    """Serials of a batch, in the order of their first results. Raises InputImpossible where it has none."""
    found = record.values(Question(batch=batch, kinds=("unit_result",)), ["serial", "outcome"])
    serials = list(dict.fromkeys(str(serial) for serial, outcome in found if outcome is not None))
    if not serials:
        raise InputImpossible(f'No unit of batch "{batch}" has a verdict.', "steadyohm batch lists them.")
    return serials


def verify(file: Path, place: str | Path | None, issued: Path | None, public_key: Path | None) -> Checked:
    """Check a certificate that somebody brings. Raises InputImpossible, JournalUnusable."""
    try:
        content = read_file(file, LARGEST_BYTES)
    except OSError as error:
        raise unreadable(file, error) from error
    if len(content) > LARGEST_BYTES:
        raise InputImpossible(f"{file} is larger than any certificate.")
    papers = None if place is None and issued is None else papers_of(place or "", issued)
    if place is None:
        return check(content, None, papers, public_key)
    with record_at(place) as record:
        return check(content, record, papers, public_key)


# ---------------------------------------------------------------- what was issued


def issued_lines(record: Record, papers: IssuedPapers, word: str) -> list[tuple[Issued, str]]:
    """Papers of a number, serial or result, each with why it is superseded; empty where it is good.

    Raises:
        InputImpossible: there is none.
    """
    found = papers.found(word)
    if not found:
        what = f"Nothing {f'of {word} ' if word else ''}is kept as issued in {papers.folder}."
        raise InputImpossible(what, "Were they issued elsewhere? --issued names another folder.")
    return [(each, papers.superseded(each, record)) for each in found]


def print_again(papers: IssuedPapers, paper: Issued, to: Path) -> Path:
    """Write a paper again, byte for byte as it was issued, in the form that the file's ending says.

    Raises:
        InputImpossible: it was not issued in that form, what is kept was changed, or it cannot be written.
    """
    return put(to, papers.content(paper, to.suffix.removeprefix(".").lower()))


# ---------------------------------------------------------------- labels


def label_facts(
    record: Record,
    serial: str,
    bench: Bench | None,
    purpose: Purpose | None = None,
    *,
    id_in_code: bool = False,
) -> tuple[LabelFacts, Visit]:
    """What stands on the label of a unit, and the visit it is about.

    Raises:
        InputImpossible: the unit has no outcome on record.
        JournalUnusable: the record cannot be read.
    """
    heading = bench.shop.name if bench is not None and bench.shop is not None else ""
    visit = judged_visit(visits_on(record, serial), purpose)
    return label_of(visit, heading, id_in_code=id_in_code), visit


def size_mm(width: str | None, height: str | None, bench: Bench | None) -> tuple[float, float]:
    """Width and height of a label, mm: as told, as the bench file says, or 50 by 25; QuantityInvalid."""
    shop = None if bench is None else bench.shop
    known = (WIDTH_MM, HEIGHT_MM) if shop is None else (1e3 * shop.label_width, 1e3 * shop.label_height)
    told = (None if each is None else 1e3 * parse(each, "m") for each in (width, height))
    wide, high = (mm if given is None else given for mm, given in zip(known, told, strict=True))
    return round(wide, 3), round(high, 3)


def issue_label(
    facts: LabelFacts,
    visit: Visit,
    size: tuple[float, float],
    *,
    targets: Targets,
    papers: IssuedPapers,
    clock: Clock,
) -> list[Path]:
    """Draw a label, keep it as issued, and write it where it is wanted.

    Raises:
        InputImpossible: the size is none of a label, or it cannot be kept or written.
        SteadyohmError: what draws PDF is not installed.
    """
    drawing = laid_out(facts, *size)
    files = targets.of("label", facts.serial)
    contents = {
        end: as_svg(drawing) if end == "svg" else label_pdf(drawing, f"label {facts.serial}", facts.utc_s)
        for end in files
    }
    birth, _, seq = facts.result_id.partition("-")
    digest = hashlib.sha256(repr((facts, size)).encode("utf-8", "surrogatepass")).hexdigest()
    number = f"LABEL-{birth[:8]}-{seq}-{digest[:8]}".upper()
    papers.keep(_of_visit(number, "label", visit, float(math.floor(clock.utc_s()))), contents)
    return [put(path, contents[end]) for end, path in files.items()]


# ---------------------------------------------------------------- look-back


def span_of(
    record: Record,
    meter: str | None,
    since: str | None,
    until: str | None,
    *,
    since_check: bool,
    bench: str | None,
) -> Span:
    """The time that is asked for. Raises InputImpossible, JournalUnusable."""
    if since_check:
        if meter is None or since or until:
            raise InputImpossible("--since-check goes with --meter, without --since and --until.")
        return span_since_check(record, meter, bench)
    ends = None if since is None else moment_s(since), None if until is None else moment_s(until, end=True)
    return Span(*ends, "")


def rows_of(
    record: Record, meter: str | None, spool: str | None, span: Span, bench: str | None
) -> Iterator[MeterRow] | Iterator[SpoolRow]:
    """What is looked for. Raises InputImpossible for neither or both of them, or JournalUnusable."""
    if meter is not None and spool is None:
        return by_meter(record, meter, span, bench)
    if spool is not None and meter is None:
        return by_spool(record, spool, span)
    raise InputImpossible("A look-back is for one meter or one spool.", "Give --meter or --spool.")


def line_of(row: MeterRow | SpoolRow) -> str:
    """One row for a terminal."""
    when = row.time_utc[:19].replace("T", " ")
    word = OUTCOME_WORDS[Outcome(row.outcome)] if row.outcome else ""
    if isinstance(row, SpoolRow):
        who = f"{row.serial:<12}  {row.batch:<12}  {row.windings:<24}"
        return f"{when}  {who}  {row.purpose}: {word or row.held}"
    value = "open" if row.reference_ohm is None else show(row.reference_ohm, "Ω", row.expanded_ohm)
    word += "" if row.counts else " (did not count)"
    line = f"{when}  {row.serial:<12}  {row.pin_a}–{row.pin_b:<6} {row.step:<20} {value:>12}  {word}"
    return f"{line}\n{'':35}{row.doubt}" if row.doubt else line


def write_csv(path: Path, rows: Iterable[MeterRow | SpoolRow], kind: type[MeterRow | SpoolRow]) -> None:
    """Write the rows as CSV. Raises InputImpossible."""
    names = [each.name for each in fields(kind)]
    with new_file(path) as file:
        file.write(BOM)
        for line in csv_lines(names, ([getattr(row, name) for name in names] for row in rows)):
            file.write(line)
