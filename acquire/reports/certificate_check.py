"""Is a certificate what the program drew, and are its facts those on the record? Two questions, two answers.

The page is drawn again from the facts it carries and compared byte for byte, so that a changed word shows;
the facts are gathered again from the record as it stood when the certificate was issued. Not for issuing.
"""

from __future__ import annotations

from dataclasses import dataclass, fields
from itertools import zip_longest

from acquire import __version__
from acquire.errors import InputImpossible, SteadyohmError
from acquire.journal.question import Record
from acquire.reports.certificate_facts import CertificateFacts, Measured, Step, facts_from_text
from acquire.reports.certificate_pages import certificate_paper
from acquire.reports.certificate_source import AsOf, measured
from acquire.reports.doubtful import Doubts
from acquire.reports.logo import fault_of
from acquire.reports.paper_html import FACTS_BEGIN, FACTS_END, as_html
from acquire.reports.visits import visits_of

SOFTWARE = f"steadyohm {__version__}"

PDF_BEGIN = b'{"form":'
PDF_END = b"\nendstream"
"""Between these stand the facts in a PDF: an attached file, not compressed."""

LARGEST_BYTES = 20_000_000
"""Of a file that is looked into."""

UNPROVEN = (
    "Not shown by this: who drew it. Heading, customer, date of receipt, condition, remark and signature "
    "stand on no record."
)


@dataclass(frozen=True, slots=True)
class Checked:
    """What a check has found.

    Attributes:
        facts: that the certificate carries.
        page: the file is byte for byte what its facts give; None where this cannot be told here.
        record: its measured facts are those on the record; None where no record was given.
        sentences: all of it in words, what has come since among them.
    """

    facts: CertificateFacts
    page: bool | None
    record: bool | None
    sentences: tuple[str, ...]

    @property
    def sound(self) -> bool:
        """Nothing speaks against it, and the page was compared."""
        return self.page is True and self.record is not False


def facts_in(content: bytes) -> CertificateFacts:
    """The facts that a certificate carries.

    Args:
        content: of the HTML or PDF file.

    Raises:
        InputImpossible: it is no certificate of this program, or its facts are damaged.
    """
    if content.startswith(b"%PDF-"):
        begin = content.find(PDF_BEGIN)
        end = content.find(PDF_END, begin)
    else:
        begin = content.find(FACTS_BEGIN.encode())
        begin = begin + len(FACTS_BEGIN) if begin >= 0 else begin
        end = content.find(FACTS_END.encode(), begin)
    if begin < 0 or end < 0:
        raise InputImpossible(
            "This file carries no facts of a certificate.",
            "Give the HTML or PDF file as it was issued, not a print or a picture of it.",
        )
    try:
        return facts_from_text(content[begin:end].decode("ascii"))
    except UnicodeDecodeError as error:
        raise InputImpossible("The facts in this certificate are damaged.") from error


def check(content: bytes, record: Record | None = None) -> Checked:
    """Check a certificate.

    Args:
        content: of the HTML or PDF file.
        record: of the shop; None compares the page with its own facts only.

    Raises:
        InputImpossible: it is no certificate of this program.
        JournalUnusable: the record cannot be read.
        SteadyohmError: a PDF cannot be drawn here, as its library is not installed.
    """
    facts = facts_in(content)
    page, about_page = _compare_page(content, facts)
    told = [f"Certificate {facts.id} of {facts.measured.serial}.", *about_page]
    same: bool | None = None
    if record is None:
        told.append("Whether its facts are those measured was not looked at: give the shop's --journal.")
    else:
        same, about_record = _compare_record(facts, record)
        told += about_record
    return Checked(facts, page, same, (*told, UNPROVEN))


def _compare_page(content: bytes, facts: CertificateFacts) -> tuple[bool | None, list[str]]:
    is_pdf = content.startswith(b"%PDF-")
    if facts.given.software != SOFTWARE:
        return None, [
            (
                f"It was drawn by {facts.given.software}, and this is {SOFTWARE}: whether a word on the "
                "page was changed can only be told with that version."
            )
        ]
    wanted = _drawn(facts, is_pdf=is_pdf)
    if content == wanted or (not is_pdf and content.replace(b"\r\n", b"\n") == wanted):
        return True, ["The page is byte for byte what its facts give: nothing on it was changed afterwards."]
    if is_pdf and (maker := _maker(wanted)) not in content:
        return None, [
            (
                "It was drawn with other versions of the PDF library than are here "
                f"({maker.decode('latin-1')}): whether a word on the page was changed cannot be told on "
                "this machine."
            )
        ]
    place = "" if is_pdf else f" The first difference is in line {_first_difference(content, wanted)}."
    return False, [f"THE PAGE WAS CHANGED: it is not what its facts give.{place}"]


def _drawn(facts: CertificateFacts, *, is_pdf: bool) -> bytes:
    try:
        paper = certificate_paper(facts)
        if paper.head.logo and (fault := fault_of(paper.head.logo)[1]):
            raise InputImpossible(f"The logo in this certificate cannot be used: {fault}.")
        if not is_pdf:
            return as_html(paper)
        from acquire.reports.pdf_paper import as_pdf  # noqa: PLC0415  (an extra)

        return as_pdf(paper)
    except (ArithmeticError, LookupError, OSError, ValueError) as error:
        if isinstance(error, SteadyohmError):
            raise
        raise InputImpossible("The facts in this certificate cannot be drawn: they are damaged.") from error


def _maker(content: bytes) -> bytes:
    """The line of a PDF that names the versions it was drawn with."""
    begin = content.find(b"/Creator (")
    return content[begin : content.find(b")", begin) + 1]


def _first_difference(one: bytes, two: bytes) -> int:
    pairs = zip_longest(one.split(b"\n"), two.split(b"\n"))
    return next((number for number, (a, b) in enumerate(pairs, start=1) if a != b), 0)


# ---------------------------------------------------------------- against the record


def _compare_record(facts: CertificateFacts, record: Record) -> tuple[bool, list[str]]:
    then = AsOf(record, facts.given.as_of_utc_s)
    claimed = facts.measured
    visits = visits_of(then.by_serial(claimed.serial))
    visit = next((v for v in visits if v.result is not None and v.result.id == claimed.result_id), None)
    if visit is None or not visit.judged:
        return False, [
            (
                f"THE RECORD KNOWS NO SUCH RESULT: entry {claimed.result_id} of {claimed.serial} is not in "
                "this journal."
            )
        ]
    differing = list(_differences(claimed, measured(then, visits, visit)))
    if differing:
        return False, [f"THE FACTS DIFFER FROM THE RECORD in {', '.join(differing)}."]
    return True, ["Its measured facts are those on the record.", *_since(facts, record)]


def _differences(claimed: Measured, known: Measured) -> list[str]:
    named = []
    for each in fields(Measured):
        mine, theirs = getattr(claimed, each.name), getattr(known, each.name)
        if mine == theirs:
            continue
        if each.name == "steps":
            named += _differing_steps(mine, theirs)
        else:
            named.append(each.name.replace("_", " "))
    return named


def _differing_steps(claimed: tuple[Step, ...], known: tuple[Step, ...]) -> list[str]:
    on_record = {step.id: step for step in known}
    named = [f"entry {step.id} ({step.step})" for step in claimed if on_record.get(step.id) != step]
    missing = set(on_record) - {step.id for step in claimed}
    return named + [f"entry {each} (missing on the certificate)" for each in sorted(missing)]


def _since(facts: CertificateFacts, record: Record) -> list[str]:
    """What has come onto the record since, and bears on the certificate."""
    told = []
    visits = visits_of(record.by_serial(facts.measured.serial))
    ids = [visit.result.id if visit.result else visit.started.id for visit in visits]
    later = len(ids) - 1 - len(facts.measured.other_visits)
    if later > 0:
        told.append(f"Since then the unit was on a bench {'once' if later == 1 else f'{later} times'} more.")
    doubts = Doubts.of(record)
    visit = next(v for v in visits if v.result is not None and v.result.id == facts.measured.result_id)
    known = {step.id for step in facts.measured.steps if step.doubt}
    fresh = [v.record.step for v in visit.deciding().values() if v.id not in known and doubts.why(v.record)]
    if fresh:
        told.append(f"Since then the record has made doubtful: {', '.join(fresh)}.")
    if len(visit.typed) > len(facts.measured.typed):
        told.append("Since then results of other instruments were typed in for that test.")
    return told
