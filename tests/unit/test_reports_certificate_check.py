"""A certificate: what it states, that nobody's text gets out of its place, and that changes to it show."""

import html
import json
import re
import shutil
import subprocess
from dataclasses import replace
from html.parser import HTMLParser

import pytest

from acquire.errors import InputImpossible
from acquire.journal.history import JournalReader
from acquire.records import Notice, Outcome, Purpose, ResultKind, Weight
from acquire.reports import certificate_check
from acquire.reports.certificate_check import SOFTWARE, check, facts_in
from acquire.reports.certificate_facts import Calibration, Given, Heading, facts_from_text
from acquire.reports.certificate_pages import certificate_paper
from acquire.reports.certificate_source import facts_of, thinned
from acquire.reports.paper_html import FACTS_BEGIN, FACTS_END, as_html
from acquire.reports.pdf_paper import as_pdf
from tests.known_records import CHECK, NOON_S, TYPED
from tests.known_visits import DAY_S, SERIAL, journal_with, moved_zero, shop_day, visit

HEADING = Heading("Brackenhope Winding Bench", ("Unit 4", "Brackenhope"), authorised="I. Sedgwick")
GIVEN = Given(HEADING, NOON_S + 3000.0, NOON_S + 3000.0, SOFTWARE)


@pytest.fixture(scope="module")
def folder(tmp_path_factory):
    """The journal of a day with one unit."""
    return journal_with(tmp_path_factory.mktemp("day"), shop_day())


def facts(folder, serial=SERIAL, given=GIVEN, purpose=None):
    """Of one unit."""
    with JournalReader(folder) as record:
        return facts_of(record, serial, given, purpose)


def words(folder, **also):
    """What a person reads on the HTML, tags left out."""
    page = as_html(certificate_paper(facts(folder, **also))).decode()
    visible = re.sub(r"<(script|style)[^>]*>.*?</\1>", " ", page, flags=re.DOTALL)
    text = html.unescape(re.sub(r"<[^>]+>", " ", visible)).replace("\u00a0", " ")
    return re.sub(r"\s+", " ", text)


# ---------------------------------------------------------------- content


def test_it_states_what_a_report_must(folder):
    """ISO/IEC 17025:2017, 7.8.2.1 and 7.8.6, as far as a shop bench can: read item by item."""
    text = words(folder)
    certificate = facts(folder)
    for item in (
        "Winding test certificate",  # title
        "Brackenhope Winding Bench Unit 4 Brackenhope",  # name and address
        "bench “bench-1”, at the address above",  # location
        f"No. {certificate.id}",  # unique identification
        f"END OF CERTIFICATE {certificate.id}",  # clear identification of the end
        "Customer not given",
        "direct-current resistance by the sheet “Plover 80”, SHA-256 5e5e5e5e5e5e5e5e…",  # method
        f"Serial {SERIAL}",
        "Condition not given",
        "Received not given",
        "Tested 2025-11-25 12:00 UTC",
        "Issued 2025-11-25 12:50 UTC",
        "The results relate only to the item tested",
        "202.57 ± 0.41 Ω",  # result with units and uncertainty
        "coverage probability of 95 %",
        "190.4 to 214.7 Ω",  # limits
        "non-binary statement with guard band w = U (ILAC-G8:09/2019, 4.2.3)",  # decision rule
        "It applies to each resistance against the limits shown beside it.",
        "Authorised by: I. Sedgwick",
        "not an accredited calibration or test certificate",
        "insulation 1 to CORE insulation = 120 Mohm IR-2",  # external results marked
        "typed in (external to this bench)",
        "plug re-crimped",  # remarks and deviations
        "R1 (100.000 Ω) read 100.010 ± 0.020 Ω on 2025-11-25 11:48: in control",
        "26.50 °C",  # conditions
        "0.312 Ω 10 min old",  # lead zero with its age
        "Temperature: from “thermometer”",
        "One measurement was repeated and did not count",
        "2025-11-25 12:00:08: fast charge (2–3) 40.000 ± 0.092 Ω, FAIL: measured again.",
        "steadyohm 0.1.0",
        f"SHA-256 of its facts: {certificate.digest}",
    ):
        assert item in text, item
    assert "reads like 1–3" not in text  # a wrong pin that was named and corrected is no deviation


def test_pages_are_numbered_in_print(folder):
    """Page x of y, by the style sheet in HTML and by ourselves in PDF."""
    page = as_html(certificate_paper(facts(folder))).decode()
    assert 'content:"page " counter(page) " of " counter(pages)' in page


def test_what_ohms_cannot_show_is_always_said(folder, tmp_path):
    """Unless a surge, L or Q result with a verdict is on record; a result without verdict is not enough."""
    assert "does not exclude faults between turns" in words(folder)
    for number, (name, sort, outcome, silent) in enumerate(
        (
            ("surge", ResultKind.STATED, Outcome.PASS, True),
            ("Q of slow charge", ResultKind.QUALITY, Outcome.PASS, True),
            ("Q of slow charge", ResultKind.QUALITY, None, False),
            ("hipot", ResultKind.STATED, Outcome.PASS, False),
        )
    ):
        typed = replace(
            TYPED, serial=SERIAL, bench="bench-1", name=name, sort=sort, outcome=outcome, utc_s=NOON_S + 35.0
        )
        other = journal_with(tmp_path / f"{number}", [*visit(), typed])
        assert ("does not exclude faults between turns" not in words(other)) is silent, name


def test_what_the_sheet_asks_for_and_nobody_typed_is_named(folder):
    """The first thing under "What was not tested"."""
    assert "Not tested: insulation 1,2,3 to CORE,4,5,6 at 500 V." in words(folder)


def test_a_result_typed_later_can_fail_the_unit(tmp_path):
    """The verdict of the unit is the worst of all, whenever it was typed."""
    typed = replace(TYPED, serial=SERIAL, bench="bench-1", outcome=Outcome.FAIL, utc_s=NOON_S + 500.0)
    failed = journal_with(tmp_path, [*visit(), typed])
    assert facts(failed).measured.outcome is Outcome.FAIL
    assert "Fail 3 of 4 steps passed. insulation 1 to CORE: FAIL." in words(failed)


def test_the_calibration_counts_only_if_the_file_is_the_one_used(folder):
    """By its hash; and a date that had passed is said."""
    assert "not known: the meter file that was used was not at hand" in words(folder)
    given = replace(GIVEN, calibrations=(Calibration("a1" * 32, "bench meter", "2026-03-01", "K-17"),))
    assert "due 2026-03-01, certificate K-17: valid when used" in words(folder, given=given)
    given = replace(GIVEN, calibrations=(Calibration("a1" * 32, "bench meter", "2025-11-25", "K-17"),))
    assert "OVERDUE when used" in words(folder, given=given)
    given = replace(GIVEN, calibrations=(Calibration("ff" * 32, "bench meter", "2026-03-01"),))
    assert "not known" in words(folder, given=given)


def test_skipped_steps_and_overrides_are_deviations(tmp_path):
    """Those of the unit by its serial; those of the bench by their time, until a check was in control."""
    skipped = Notice(Weight.WARNING, "step.skipped", "trigger was left out: pin bent", NOON_S + 20.0, SERIAL)
    override = Notice(
        Weight.WARNING, "check.overridden", "The check standard was overridden: old R1", NOON_S - 50
    )
    before = Notice(
        Weight.WARNING, "check.overridden", "The check standard was overridden: other", NOON_S - 950
    )
    good = replace(CHECK, utc_s=NOON_S - 900.0)
    start, *rest = visit()
    text = words(journal_with(tmp_path, [before, good, override, start, skipped, *rest]))
    assert "trigger was left out: pin bent" in text
    assert "overridden: old R1" in text
    assert "overridden: other" not in text


def test_other_visits_are_linked(tmp_path):
    """The certificate is about the latest one with an outcome, or of the purpose that is asked for."""
    records = [*visit(), *visit(utc_s=NOON_S + DAY_S, purpose=Purpose.RETURNED, outcome=Outcome.FAIL)]
    folder = journal_with(tmp_path, records)
    late = replace(GIVEN, issued_utc_s=NOON_S + 2 * DAY_S, as_of_utc_s=NOON_S + 2 * DAY_S)
    assert facts(folder, given=late).measured.purpose is Purpose.RETURNED
    first = facts(folder, given=late, purpose=Purpose.FINAL)
    assert [(each.purpose, each.later) for each in first.measured.other_visits] == [(Purpose.RETURNED, True)]
    assert "2025-11-26 12:00 UTC, returned (later): FAIL" in words(folder, given=late, purpose=Purpose.FINAL)


def test_a_later_certificate_can_replace_an_earlier_one(folder):
    """ISO/IEC 17025:2017, 7.8.8.2: an amended report refers to the one that it replaces."""
    first = facts(folder)
    given = replace(GIVEN, customer="Lantern Rock Pumps", replaces=first.id)
    assert f"Replaces certificate No. {first.id}" in words(folder, given=given)
    assert facts(folder, given=given).id != first.id


def test_doubtful_verdicts_are_marked(tmp_path):
    """Large, at the top, and in the row."""
    folder = journal_with(tmp_path, [*visit(), moved_zero()])
    late = replace(GIVEN, as_of_utc_s=NOON_S + DAY_S)
    text = words(folder, given=late)
    assert "Doubtful results, not to be relied on until measured again" in text
    assert "(doubtful)" in text
    assert "doubtful" not in words(folder).casefold()  # as the record stood before


@pytest.mark.parametrize(
    ("records", "told"),
    [
        (visit()[:-1], "still on the bench"),
        (
            [*visit()[:-1], replace(visit()[-1], outcome=None, held="the unit is warm")],
            "held: the unit is warm",
        ),
        ([*visit()[:-1], replace(visit()[-1], outcome=None, held="given up: dropped")], "given up: dropped"),
    ],
)
def test_a_unit_without_outcome_gets_none(tmp_path, records, told):
    """And is told why."""
    with pytest.raises(InputImpossible, match=told):
        facts(journal_with(tmp_path, records))


def test_an_unknown_serial_is_told(folder):
    with pytest.raises(InputImpossible, match="never on a bench"):
        facts(folder, serial="PL80-9999")


def test_a_trace_is_thinned_and_ends_with_its_last_reading():
    assert thinned(()) == ()
    trace = tuple((i / 10, 200.0 + i) for i in range(1000))
    kept = thinned(trace)
    assert 40 <= len(kept) <= 48
    assert kept[-1] == trace[-1]


# ---------------------------------------------------------------- anybody's text

HOSTILE = [
    "<script>alert(1)</script>",
    '"><img src=x onerror=alert(1)>',
    "</script><script>alert(1)</script>",
    "\u202eSSAP\u202c",
    "\u2066\u200f٠١٢",
    "a\x00b\x1b[31m",
    "half \ud83d pair",
    "x" * 5000,
    "]]>--><!-- {{7*7}} ${x} %s\\",
    "日本語 😀 שלום",
    "/JavaScript (app.alert(1)) endstream endobj",
    "\nendstream\n",
    '{"form":1}',
]


class Elements(HTMLParser):
    """Collects elements and attributes as a browser would see them."""

    def __init__(self):
        super().__init__(convert_charrefs=True)
        self.seen, self.text = [], []

    def handle_starttag(self, tag, attrs):
        self.seen.append((tag, tuple(sorted(name for name, _ in attrs))))

    def handle_data(self, data):
        self.text.append(data)


@pytest.mark.parametrize("text", HOSTILE)
def test_nobodys_text_gets_out_of_its_place(tmp_path, text):
    """The elements of the page are those of a page with harmless text; nothing prints backwards or unseen."""
    known = journal_with(tmp_path / "known", visit("harmless", operator="operator"))
    hostile = journal_with(tmp_path / "hostile", visit(text, operator=text))
    given = replace(GIVEN, customer=text, remark=text, heading=Heading(text, (text,), authorised=text))
    mild = replace(GIVEN, customer="c", remark="r", heading=Heading("h", ("a",), authorised="a"))

    def parsed(place, serial, given):
        page = as_html(certificate_paper(facts(place, serial=serial, given=given))).decode("utf-8")
        found = Elements()
        found.feed(page)
        return page, found

    page, found = parsed(hostile, text, given)
    assert found.seen == parsed(known, "harmless", mild)[1].seen
    shown = page[: page.index(FACTS_BEGIN)]
    assert not re.search("[\u202a-\u202e\u2066-\u2069\u200e\u200f\x00\x1b]", shown)
    carried = page[page.index(FACTS_BEGIN) + len(FACTS_BEGIN) :]
    carried = carried[: carried.index(FACTS_END)]
    assert facts_from_text(carried) == facts(hostile, serial=text, given=given)


@pytest.mark.parametrize("texts", [HOSTILE[:7], HOSTILE[6:]])
def test_a_pdf_takes_anybodys_text_too(tmp_path, texts):
    """It is drawn, carries its facts, and is checked like any other."""
    serial, operator, customer, remark, name, received, condition = texts
    hostile = journal_with(tmp_path, visit(serial, operator=operator))
    given = replace(GIVEN, customer=customer, remark=remark, heading=Heading(name, (received,)))
    given = replace(given, condition=condition, received=received)
    content = as_pdf(certificate_paper(facts(hostile, serial=serial, given=given)))
    with JournalReader(hostile) as record:
        assert check(content, record).sound


# ---------------------------------------------------------------- checking


@pytest.fixture(scope="module")
def issued(folder):
    """The certificate as HTML and as PDF."""
    paper = certificate_paper(facts(folder))
    return {"html": as_html(paper), "pdf": as_pdf(paper)}


def test_the_same_facts_give_the_same_bytes(folder, issued):
    """Which is what a check rests on."""
    paper = certificate_paper(facts(folder))
    assert as_html(paper) == issued["html"]
    assert as_pdf(paper) == issued["pdf"]


@pytest.mark.parametrize("kind", ["html", "pdf"])
def test_an_honest_certificate_is_sound(folder, issued, kind):
    """Page and facts; and what is not shown is said."""
    with JournalReader(folder) as record:
        found = check(issued[kind], record)
    assert (found.sound, found.page, found.record) == (True, True, True)
    assert "Not shown by this: who drew it." in found.sentences[-1]
    assert check(issued[kind]).record is None


def test_line_ends_changed_on_the_way_do_no_harm(folder, issued):
    assert check(issued["html"].replace(b"\n", b"\r\n")).page is True


@pytest.mark.parametrize(
    ("old", "new"),
    [
        (b"202.57", b"203.57"),
        (b"Pass</strong>", b"Fail</strong>"),
        (b"not an accredited", b"an accredited"),
        (b"</main>", b"<p>All warranties apply.</p></main>"),
        (b"</body>", b"</body><!-- -->"),
        (b"I. Sedgwick", b"A. Nother"),
    ],
)
def test_a_changed_word_on_the_page_shows(issued, old, new):
    """Wherever it stands, with the line where it first differs."""
    changed = issued["html"].replace(old, new, 1)
    assert changed != issued["html"]
    found = check(changed)
    assert found.page is False
    assert not found.sound
    assert "THE PAGE WAS CHANGED" in " ".join(found.sentences)


def test_any_changed_byte_of_a_pdf_shows(issued):
    """Here and there: either it is no certificate any more, or it is not sound."""
    content = issued["pdf"]
    for at in range(10, len(content), len(content) // 6):
        changed = content[:at] + bytes([content[at] ^ 1]) + content[at + 1 :]
        try:
            assert not check(changed).sound, at
        except InputImpossible:
            continue


def test_facts_that_were_changed_with_the_page_show_against_the_record(folder):
    """Somebody with this program draws a page of better values: it is true to itself, not to the record."""
    honest = facts(folder)
    steps = (replace(honest.measured.steps[0], reference_ohm=202.0), *honest.measured.steps[1:])
    forged = replace(honest, measured=replace(honest.measured, steps=steps))
    content = as_html(certificate_paper(forged))
    with JournalReader(folder) as record:
        found = check(content, record)
    assert (found.page, found.record, found.sound) == (True, False, False)
    assert f"entry {honest.measured.steps[0].id} (slow charge)" in " ".join(found.sentences)


@pytest.mark.parametrize("change", [{"outcome": Outcome.FAIL}, {"result_id": "ff-1"}, {"serial": "other"}])
def test_other_forged_facts_show_too(folder, change):
    honest = facts(folder)
    content = as_html(certificate_paper(replace(honest, measured=replace(honest.measured, **change))))
    with JournalReader(folder) as record:
        assert check(content, record).record is False


def test_another_journal_knows_nothing_of_it(issued, tmp_path):
    """Not even one with a unit of the same serial."""
    other = journal_with(tmp_path, visit())
    with JournalReader(other) as record:
        found = check(issued["html"], record)
    assert found.record is False
    assert "not in this journal" in " ".join(found.sentences)


def test_what_came_later_does_not_make_it_false_but_is_told(tmp_path):
    """A later visit, a result typed in, a lead zero that makes it doubtful."""
    folder = journal_with(tmp_path, shop_day())
    content = as_html(certificate_paper(facts(folder)))
    typed = replace(TYPED, serial=SERIAL, bench="bench-1", utc_s=NOON_S + 4000.0)
    journal_with(folder, [typed, moved_zero(NOON_S + 5000.0), *visit(utc_s=NOON_S + DAY_S)])
    with JournalReader(folder) as record:
        found = check(content, record)
    assert found.sound
    told = " ".join(found.sentences)
    assert "on a bench once more" in told
    assert "made doubtful: slow charge" in told or "made doubtful" in told
    assert "typed in for that test" in told


def test_another_version_is_not_called_a_forgery(folder, issued, monkeypatch):
    """Neither sound nor changed: it cannot be told here."""
    monkeypatch.setattr(certificate_check, "SOFTWARE", "steadyohm 9.9.9")
    found = check(issued["html"])
    assert (found.page, found.sound) == (None, False)
    assert "can only be told with that version" in found.sentences[1]


def test_other_pdf_libraries_are_not_called_a_forgery(issued):
    """The file names the versions that drew it."""
    content = re.sub(rb"fpdf2 [\d.]+", b"fpdf2 0.0.0", issued["pdf"])
    found = check(content)
    assert found.page is None
    assert "other versions of the PDF library" in found.sentences[1]


@pytest.mark.parametrize(
    "content",
    [
        b"",
        b"%PDF-1.7\nnothing",
        b"<html></html>",
        FACTS_BEGIN.encode() + b"{}" + FACTS_END.encode(),
        FACTS_BEGIN.encode() + b'{"form":1}' + FACTS_END.encode(),
        FACTS_BEGIN.encode() + b'{"form":1,"given":' + b"[" * 5000 + FACTS_END.encode(),
        FACTS_BEGIN.encode() + "{é}".encode() + FACTS_END.encode(),
        b'%PDF-1.7\n{"form":1,"given":{}}\nendstream',
    ],
)
def test_what_is_no_certificate_is_told(content):
    """One sentence, whatever the bytes."""
    with pytest.raises(InputImpossible):
        check(content)


def test_facts_that_nobody_could_have_measured_do_no_harm(issued):
    """Numbers beyond any calendar, pictures that are none, papers of no size."""
    plain = json.loads(facts_in(issued["html"]).text)
    for path, value in (
        (("given", "issued_utc_s"), 1e300),
        (("given", "issued_utc_s"), -1e300),
        (("given", "paper"), "A9"),
        (("given", "heading", "logo"), "!!!"),
        (("given", "heading", "logo"), "PHN2Zz4="),
        (("measured", "started_utc_s"), 1e18),
        (("measured", "steps", 0, "utc_s"), 1e18),
        (("measured", "steps", 0, "reference_ohm"), 1e308),
        (("measured", "result_id"), ""),
    ):
        changed = json.loads(json.dumps(plain))
        inner = changed
        for key in path[:-1]:
            inner = inner[key]
        inner[path[-1]] = value
        for content in (
            (FACTS_BEGIN + json.dumps(changed) + FACTS_END).encode(),
            b"%PDF-1.7\n"
            + json.dumps(changed, sort_keys=True, separators=(",", ":")).encode()
            + b"\nendstream",
        ):
            try:
                assert not check(content).sound
            except InputImpossible:
                continue


# ---------------------------------------------------------------- as other programs see it


@pytest.mark.skipif(shutil.which("pdftotext") is None, reason="pdftotext is not installed")
def test_a_pdf_reader_finds_every_sign(issued, tmp_path):
    """Ohm, degree, plus-minus, dashes and page numbers, as poppler reads them from the embedded font."""
    file = tmp_path / "c.pdf"
    file.write_bytes(issued["pdf"])
    done = subprocess.run(["pdftotext", "-layout", file, "-"], capture_output=True, check=True, text=True)
    text = done.stdout.replace("\u00a0", " ")
    for sign in ("202.57 ± 0.41 Ω", "26.50 °C", "1–2", "k₀", "page 1 of ", "END OF CERTIFICATE"):
        assert sign in text, sign
    pages = int(re.findall(r"page \d+ of (\d+)", text)[-1])
    assert text.count(f" of {pages}\n") >= pages
    fonts = subprocess.run(["pdffonts", file], capture_output=True, check=True, text=True).stdout
    assert fonts.count("DejaVu") == 2
    assert " no " not in fonts.split("\n")[2][40:60]  # embedded


@pytest.mark.skipif(shutil.which("pdfdetach") is None, reason="pdfdetach is not installed")
def test_the_facts_are_attached_to_the_pdf(folder, issued, tmp_path):
    """As a file that any reader can save."""
    file = tmp_path / "c.pdf"
    file.write_bytes(issued["pdf"])
    subprocess.run(["pdfdetach", "-saveall", "-o", tmp_path, file], capture_output=True, check=True)
    assert (tmp_path / "certificate-facts.json").read_text() == facts(folder).text


def test_the_code_holds_id_and_digest(folder):
    """As the QR code of any phone would give it back."""
    certificate = facts(folder)
    assert certificate.code_text == f"steadyohm certificate {certificate.id} sha256 {certificate.digest}"
    assert certificate.id.endswith(certificate.digest[:8].upper())
