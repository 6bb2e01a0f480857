"""Is a certificate what was issued, are its facts the record's, is its page what they give, who signed it?

Each question has its own answer; what cannot be told is said with the reason. Not for issuing.
"""

from __future__ import annotations

import hashlib
import json
import re
import zlib
from collections.abc import Iterator
from dataclasses import dataclass
from itertools import zip_longest
from pathlib import Path
from typing import Any

from acquire import __version__
from acquire.errors import InputImpossible, SteadyohmError
from acquire.journal.entry import Entry
from acquire.journal.plain import spelt
from acquire.journal.query import Record
from acquire.records import Outcome
from acquire.reports.certificate import Certificate, certificate_from_text, certificate_number, certificate_of
from acquire.reports.certificate_document import certificate_document
from acquire.reports.issued import IssuedPapers, Signature, genuine, split, superseded
from acquire.reports.lookback import Doubts
from acquire.reports.printing import FACTS_BEGIN, FACTS_END, as_html, fault_of
from acquire.reports.visits import Visit, visits_of

SOFTWARE = f"steadyohm {__version__}"

PDF_STREAM, PDF_BEGIN = re.compile(rb"\nstream\r?\n(.*?)\r?\nendstream", re.DOTALL), b'{"form":'
"""The facts in a PDF are a stream that begins so: an attached file."""

LARGEST_BYTES = 20_000_000
"""Of a file that is looked into."""

UNPROVEN = "Heading, customer, date of receipt, condition, remark and signature in ink stand on no record."


@dataclass(frozen=True, slots=True)
class Checked:
    """What a check has found; None where something cannot be told, or was not asked.

    Attributes:
        id, sha256, serial: number of the certificate, digest of its facts, and its unit.
        as_issued: the file is byte for byte what was issued.
        page_as_drawn: it is byte for byte what its facts give.
        facts_on_record: its measured facts are those on the record.
        signed: it was signed with the key that was given.
        superseded: a sentence where the record has a later revision of the result, else empty.
        sentences: all of it in words, what has come since among them.
    """

    id: str
    sha256: str
    serial: str
    as_issued: bool | None
    page_as_drawn: bool | None
    facts_on_record: bool | None
    signed: bool | None
    superseded: str
    sentences: tuple[str, ...]

    @property
    def sound(self) -> bool:
        """Nothing speaks against the file, and its bytes were compared with something."""
        told = (self.as_issued, self.page_as_drawn, self.facts_on_record, self.signed)
        return False not in told and (self.as_issued or self.page_as_drawn) is True


def facts_in(content: bytes) -> str:
    """The facts that a certificate carries, as JSON text. Raises InputImpossible."""
    if content.startswith(b"%PDF-"):
        streams = (_unpacked(found[1]) for found in PDF_STREAM.finditer(content))
        facts = next((each for each in streams if each.startswith(PDF_BEGIN)), b"")
    else:
        facts = content.partition(FACTS_BEGIN.encode())[2].partition(FACTS_END.encode())[0]
    if not facts:
        what = "This file carries no facts of a certificate."
        raise InputImpossible(
            what, "Give the HTML or PDF file as it was issued, not a print or a picture of it."
        )
    try:
        return facts.decode("ascii")
    except UnicodeDecodeError as error:
        raise InputImpossible("The facts in this certificate are damaged.") from error


def _unpacked(stream: bytes) -> bytes:
    """What an attached file holds; nothing where it was damaged, and of a very large one the beginning."""
    if stream.startswith(PDF_BEGIN):  # as this program attached it until November 2026
        return stream
    try:
        return zlib.decompressobj().decompress(stream, LARGEST_BYTES)
    except zlib.error:
        return b""


def check(
    content: bytes,
    record: Record | None = None,
    papers: IssuedPapers | None = None,
    public_key: Path | None = None,
) -> Checked:
    """Check a certificate.

    Args:
        content: of the HTML or PDF file.
        record: of the shop; None compares the page with its own facts only.
        papers: what the shop kept as issued; None is not looked into.
        public_key: file of the key that it should be signed with.

    Raises:
        InputImpossible: it is no certificate of this program.
        JournalUnusable: the record cannot be read.
        SteadyohmError: a PDF cannot be drawn here, as its library is not installed.
    """
    body, signature = split(content)
    text = facts_in(body)
    signed, of_signature = _signature(body, signature, public_key)
    if text.startswith('{"form":1,'):
        return _form_1(text, record, signed, of_signature)
    of = certificate_from_text(text)
    serial = of.visit.started.serial
    issued, of_issued = _issued(content, of.number, papers)
    page, of_page = _page(body, of)
    same, late, of_record = (
        None,
        "",
        ["Whether its facts are those measured was not looked at: give the --journal."],
    )
    if record is not None:
        same, of_record = _record(of, record)
        if same:
            visit = of.visit
            assert visit.outcome is not None  # noqa: S101  (chosen as one with an outcome)
            stated = visit.revision[0], visit.outcome
            late = superseded(of.result_id, stated, visits_of(record.by_serial(serial)))
            of_record += _since(of, record)
    told = (
        f"Certificate {of.number} of {serial}.",
        *of_issued,
        *of_page,
        *of_record,
        late,
        *of_signature,
        UNPROVEN,
    )
    return Checked(of.number, of.digest, serial, issued, page, same, signed, late, tuple(filter(None, told)))


def _signature(
    body: bytes, signature: Signature | None, public_key: Path | None
) -> tuple[bool | None, list[str]]:
    if signature is None:
        told = "It is not signed with a key, so who issued it is not shown."
        return (None, [told]) if public_key is None else (False, ["IT IS NOT SIGNED with a key."])
    if public_key is None:
        key = signature.fingerprint
        return None, [
            f"It is signed with the key {key}: give --public-key to see whether that is the shop's."
        ]
    if genuine(body, signature, public_key):
        return True, [f"It was signed with the key of {public_key.name} ({signature.fingerprint})."]
    return False, [f"IT WAS NOT SIGNED with the key of {public_key.name}, or was changed afterwards."]


def _issued(content: bytes, number: str, papers: IssuedPapers | None) -> tuple[bool | None, list[str]]:
    if papers is None or not papers.folder.is_dir():
        return None, ["It could not be compared with what was issued: no copies are at hand."]
    known = papers.get(number)
    if known is None:
        told = f"NO CERTIFICATE OF THIS NUMBER WAS ISSUED, by {papers.folder}"
        return False, [f"{told}; was it on another machine (--issued)?"]
    kept = [papers.content(known, ending) for ending in known.files]
    if content in kept or content.replace(b"\r\n", b"\n") in kept:
        return True, ["It is byte for byte what was issued."]
    return False, [f"THE FILE IS NOT WHAT WAS ISSUED under this number, by {papers.folder}."]


def _page(body: bytes, of: Certificate) -> tuple[bool | None, list[str]]:
    is_pdf, software = body.startswith(b"%PDF-"), of.given.software
    if software != SOFTWARE:
        told = "whether a word on the page was changed can only be told with that version."
        return None, [f"It was drawn by {software}, and this is {SOFTWARE}: {told}"]
    wanted = _drawn(of, is_pdf=is_pdf)
    if body == wanted:
        return True, ["The page is byte for byte what its facts give: nothing on it was changed afterwards."]
    if is_pdf and (maker := _maker(wanted)) not in body:
        told = f"with other versions of the PDF library than are here ({maker.decode('latin-1')})"
        return None, [f"It was drawn {told}: whether a word on the page was changed cannot be told here."]
    pairs = enumerate(zip_longest(body.split(b"\n"), wanted.split(b"\n")), start=1)
    line = next((number for number, (a, b) in pairs if a != b), 0)
    place = "" if is_pdf else f" The first difference is in line {line}."
    return False, [f"THE PAGE WAS CHANGED: it is not what its facts give.{place}"]


def _drawn(of: Certificate, *, is_pdf: bool) -> bytes:
    try:
        document = certificate_document(of)
        if document.head and document.head.logo and (fault := fault_of(document.head.logo)[1]):
            raise InputImpossible(f"The logo in this certificate cannot be used: {fault}.")
        if not is_pdf:
            return as_html(document)
        from acquire.reports.printing import as_pdf  # noqa: PLC0415  (an extra)

        return as_pdf(document)
    except (ArithmeticError, LookupError, OSError, ValueError) as error:
        if isinstance(error, SteadyohmError):
            raise
        raise InputImpossible("The facts in this certificate cannot be drawn: they are damaged.") from error


def _maker(content: bytes) -> bytes:
    """The line of a PDF that names the versions it was drawn with."""
    begin = content.find(b"/Keywords(")
    return content[begin : content.find(b")", begin) + 1]


# ---------------------------------------------------------------- against the record


def _record(of: Certificate, record: Record) -> tuple[bool, list[str]]:
    try:
        known = certificate_of(record, of.visit.started.serial, of.given, result_id=of.result_id)
    except InputImpossible as error:
        return False, [f"THE RECORD KNOWS NO SUCH RESULT: {error.what}"]
    differing = list(_differences(of.entries, known.entries))
    if differing:
        return False, [f"THE FACTS DIFFER FROM THE RECORD in {', '.join(differing)}."]
    return True, ["Its measured facts are those on the record."]


def _differences(claimed: tuple[Entry, ...], known: tuple[Entry, ...]) -> list[str]:
    mine, theirs = ({each.id: _plain(each) for each in entries} for entries in (claimed, known))
    named = {
        each.id: f"entry {each.id} ({each.payload.get('step') or each.kind})" for each in (*claimed, *known)
    }
    differing = [named[each] for each in mine if mine[each] != theirs.get(each)]
    return differing + [f"{named[each]}, which is missing" for each in sorted(set(theirs) - set(mine))]


def _plain(entry: Entry) -> tuple[Any, ...]:
    """An entry to compare: its record in today's spelling, whatever version wrote it down."""
    return entry.kind, entry.utc_s, entry.serial, spelt(entry.record), entry.evidence


def _since(of: Certificate, record: Record) -> list[str]:
    """What has come onto the record since, and bears on the certificate."""
    told, visit = [], of.visit
    visits = visits_of(record.by_serial(visit.started.serial))
    later = len(visits) - len(of.visits)
    if later > 0:
        told.append(f"Since then the unit was on a bench {'once' if later == 1 else f'{later} times'} more.")
    now = next(each for each in visits if each.id == visit.id)
    known, doubts = {step.id for step in of.steps(visit) if step.doubt}, Doubts.of(record)
    fresh = [v.step for v in now.deciding().values() if v.id not in known and doubts.why(v)]
    if fresh:
        told.append(f"Since then the record has made doubtful: {', '.join(fresh)}.")
    if len(now.typed) > len(visit.typed):
        told.append("Since then results of other instruments were typed in for that test.")
    return told


# ---------------------------------------------------------------- certificates of form 1


SENTENCES = frozenset({"reason", "doubt", "text", "hint"})
"""Fields that hold words of that version."""

HOW = "Its values were compared with the record; its sentences (findings, what was not tested) were not."


def _form_1(text: str, record: Record | None, signed: bool | None, of_signature: list[str]) -> Checked:
    """Its values against the record; its page is no longer drawn by this program."""
    try:
        plain = json.loads(text)
        measured, given = dict(plain["measured"]), plain["given"]
        software, as_of_s = str(given["software"]), float(given["as_of_utc_s"])
        serial, result_id = str(measured["serial"]), str(measured["result_id"])
        parts = [part for name in ("steps", "typed") for part in map(dict, measured[name])]
        outcome = Outcome(measured["outcome"])
    except (ValueError, KeyError, TypeError, RecursionError) as error:
        raise InputImpossible("The facts in this certificate are damaged.") from error
    digest = hashlib.sha256(text.encode("ascii")).hexdigest()
    number = certificate_number(result_id, digest)
    same, late, told = None, "", ["give the --journal to compare its facts"]
    if record is not None:
        entries = record.by_serial(serial)
        now = visits_of(entries)
        then = visits_of(entry for entry in entries if entry.utc_s <= as_of_s)
        visit = next((v for v in then if result_id in {each.id for each in v.results}), None)
        if visit is None:
            same, told = False, [f"THE RECORD KNOWS NO SUCH RESULT: entry {result_id} of {serial}."]
        elif differing := [
            *(["outcome"] if visit.outcome is not outcome else []),
            *_differing_parts(measured, parts, visit, {entry.id: entry for entry in entries}),
        ]:
            same, told = False, [f"THE FACTS DIFFER FROM THE RECORD in {', '.join(differing)}."]
        else:
            late = superseded(result_id, (visit.revision[0], outcome), now)
            same, told = True, ["Its measured values are those on the record.", HOW, *filter(None, [late])]
    page = (
        f"It was drawn by {software} in an earlier form of page, which this program no longer draws: "
        "whether a word on it was changed can be told by that version only. No copy of it was kept when it "
        "was issued."
    )
    sentences = (f"Certificate {number} of {serial}.", page, *told, *of_signature, UNPROVEN)
    return Checked(number, digest, serial, None, None, same, signed, late, sentences)


def _differing_parts(
    measured: dict[str, Any], parts: list[dict[str, Any]], visit: Visit, known: dict[str, Entry]
) -> Iterator[str]:
    """What of the result, its steps and typed results the record holds otherwise, or the paper lacks."""
    yield from _differing(measured, known[str(measured["result_id"])])
    of_visit = {*visit.entry_ids()} - {each.id for each in visit.results}
    for part in parts:
        entry = known.get(str(part.get("id")))
        of_visit.discard(str(part.get("id")))
        name = f"entry {part.get('id')} ({part.get('step') or part.get('name')})"
        if entry is None:
            yield f"{name}, which is not on the record"
        elif wrong := list(_differing(part, entry)):
            yield f"{name}: {', '.join(wrong)}"
    yield from (f"entry {each} (missing on the certificate)" for each in sorted(of_visit))


def _differing(claimed: dict[str, Any], entry: Entry) -> Iterator[str]:
    """Names of values that a record holds otherwise; `counts` was worked out when it was issued."""
    for name, value in claimed.items():
        kept = entry.payload.get(name, value)
        plain = isinstance(value, str | int | float | bool | None) and name not in SENTENCES | {
            "counts",
            "outcome",
        }
        if (plain or (name == "outcome" and entry.kind != "unit_result")) and kept != value:
            yield name.replace("_", " ")
