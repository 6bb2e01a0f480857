"""Changes to a certificate show, and other programs read it."""

import gzip
import json
import re
import shutil
import subprocess
from dataclasses import replace
from pathlib import Path

import pytest

from acquire.errors import InputImpossible
from acquire.journal.history import JournalReader
from acquire.records import Outcome
from acquire.reports import certificate_check
from acquire.reports.certificate import certificate_from
from acquire.reports.certificate_check import check, facts_in
from acquire.reports.certificate_document import certificate_document
from acquire.reports.document import Code, qr_svg
from acquire.reports.printing import FACTS_BEGIN, FACTS_END, as_html, as_pdf
from tests.known_records import NOON_S, TYPED
from tests.known_visits import DAY_S, SERIAL, journal_with, moved_zero, shop_day, visit
from tests.unit.test_reports_certificate_document import facts


@pytest.fixture(scope="module")
def folder(tmp_path_factory):
    """The journal of a day with one unit."""
    return journal_with(tmp_path_factory.mktemp("day"), shop_day())


# ---------------------------------------------------------------- checking


@pytest.fixture(scope="module")
def issued(folder):
    """The certificate as HTML and as PDF."""
    paper = certificate_document(facts(folder))
    return {"html": as_html(paper), "pdf": as_pdf(paper)}


def test_the_same_facts_give_the_same_bytes(folder, issued):
    """Which is what a check rests on."""
    paper = certificate_document(facts(folder))
    assert as_html(paper) == issued["html"]
    assert as_pdf(paper) == issued["pdf"]


@pytest.mark.parametrize("kind", ["html", "pdf"])
def test_an_honest_certificate_is_sound(folder, issued, kind):
    """Page and facts; and what is not shown is said."""
    with JournalReader(folder) as record:
        found = check(issued[kind], record)
    assert (found.sound, found.page_as_drawn, found.facts_on_record) == (True, True, True)
    assert "stand on no record" in found.sentences[-1]
    assert "It is not signed with a key, so who issued it is not shown." in found.sentences
    assert check(issued[kind]).facts_on_record is None


def test_line_ends_changed_on_the_way_do_no_harm(folder, issued):
    assert check(issued["html"].replace(b"\n", b"\r\n")).page_as_drawn is True


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
    assert found.page_as_drawn is False
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


def forged(honest, at, **payload):
    """The same certificate with one of its entries changed, as somebody with this program could make it."""
    entries = list(honest.entries)
    entries[at] = replace(entries[at], payload={**entries[at].payload, **payload})
    return certificate_from(honest.given, honest.result_id, entries)


def test_facts_that_were_changed_with_the_page_show_against_the_record(folder):
    """Somebody with this program draws a page of better values: it is true to itself, not to the record."""
    honest = facts(folder)
    at = next(i for i, e in enumerate(honest.entries) if e.payload.get("step") == "slow charge")
    content = as_html(certificate_document(forged(honest, at, reference_ohm=202.0)))
    with JournalReader(folder) as record:
        found = check(content, record)
    assert (found.page_as_drawn, found.facts_on_record, found.sound) == (True, False, False)
    assert f"entry {honest.entries[at].id} (slow charge)" in " ".join(found.sentences)


def test_facts_left_out_show_against_the_record(folder):
    """A measurement that failed first, dropped from the page."""
    honest = facts(folder)
    kept = [each for each in honest.entries if each.payload.get("reference_ohm") != 40.0]
    content = as_html(certificate_document(certificate_from(honest.given, honest.result_id, kept)))
    with JournalReader(folder) as record:
        found = check(content, record)
    assert found.facts_on_record is False
    assert "which is missing" in " ".join(found.sentences)


@pytest.mark.parametrize(("kind", "change"), [
    ("unit_result", {"outcome": "conditional_pass"}), ("unit_result", {"steps_total": 3}),
    ("unit_started", {"serial": "other"}), ("typed_result", {"outcome": None}),
])  # fmt: skip
def test_other_forged_facts_show_too(folder, kind, change):
    honest = facts(folder)
    at = next(i for i, each in enumerate(honest.entries) if each.kind == kind)
    with JournalReader(folder) as record:
        assert (
            check(as_html(certificate_document(forged(honest, at, **change))), record).facts_on_record
            is False
        )


def test_another_journal_knows_nothing_of_it(issued, tmp_path):
    """Not even one with a unit of the same serial."""
    other = journal_with(tmp_path, visit())
    with JournalReader(other) as record:
        found = check(issued["html"], record)
    assert found.facts_on_record is False
    assert "not in this journal" in " ".join(found.sentences)


def test_what_came_later_does_not_make_it_false_but_is_told(tmp_path):
    """A later visit, a result typed in, a lead zero that makes it doubtful."""
    folder = journal_with(tmp_path, shop_day())
    content = as_html(certificate_document(facts(folder)))
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
    assert (found.page_as_drawn, found.sound) == (None, False)
    assert "can only be told with that version" in " ".join(found.sentences)


def test_other_pdf_libraries_are_not_called_a_forgery(issued):
    """The file names the versions that drew it."""
    content = re.sub(rb"typst [\d.]+", b"typst 0.0.0", issued["pdf"])
    found = check(content)
    assert found.page_as_drawn is None
    assert "other versions of the PDF library" in " ".join(found.sentences)


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
    plain = json.loads(facts_in(issued["html"]))
    for path, value in (
        (("given", "issued_utc_s"), 1e300),
        (("given", "issued_utc_s"), -1e300),
        (("given", "paper"), "A9"),
        (("given", "heading", "logo"), "!!!"),
        (("given", "heading", "logo"), "PHN2Zz4="),
        (("on_record", 0, "payload", "utc_s"), 1e18),
        (("on_record", 1, "payload", "utc_s"), 1e18),
        (("on_record", 1, "payload", "reference_ohm"), 1e308),
        (("on_record", 1, "payload"), []),
        (("on_record", 1, "id"), "nothing"),
        (("result_id",), ""),
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


def test_the_code_holds_number_and_digest(folder):
    """As the QR code of any phone would give it back."""
    of = facts(folder)
    (code,) = [block for block in certificate_document(of).blocks if isinstance(block, Code)]
    assert code.text == f"steadyohm certificate {of.number} sha256 {of.digest}"
    assert of.number.endswith(of.digest[:8].upper())
    assert qr_svg(code.text).encode() in as_html(certificate_document(of))  # all of it


# ---------------------------------------------------------------- certificates of form 1

FORM_1 = Path(__file__).parents[1] / "data" / "certificate-form-1"


@pytest.fixture
def old(tmp_path):
    """A journal and certificates as version 0.1.0 wrote them on 29 November 2026."""
    for name in ("journal.db", "certificate.html", "certificate.pdf"):
        (tmp_path / name).write_bytes(gzip.decompress((FORM_1 / f"{name}.gz").read_bytes()))
    return tmp_path


@pytest.mark.parametrize("kind", ["html", "pdf"])
def test_a_certificate_of_form_1_is_held_against_the_record(old, kind):
    """Its values are compared; its page is no longer drawn, and that is said."""
    with JournalReader(old) as record:
        found = check((old / f"certificate.{kind}").read_bytes(), record)
    assert (found.id, found.serial, found.facts_on_record, found.page_as_drawn) == (
        "857FF82B-11-4686E403", "PL80-0007", True, None,
    )  # fmt: skip
    told = " ".join(found.sentences)
    assert "in an earlier form of page, which this program no longer draws" in told
    assert "Its measured values are those on the record." in told
    assert not found.sound


@pytest.mark.parametrize(("was", "now"), [
    (b'"reference_ohm":202.5669', b'"reference_ohm":201.5669'),
    (b'"other_visits":[],"outcome":"pass"', b'"other_visits":[],"outcome":"fail"'),
    (b'"serial":"PL80-0007"', b'"serial":"PL80-0009"'), (b'"steps_passed":3', b'"steps_passed":4'),
    (b'"typed":"insulation = 120 Mohm', b'"typed":"insulation = 220 Mohm'),
])  # fmt: skip
def test_a_changed_value_of_form_1_shows(old, was, now):
    content = (old / "certificate.html").read_bytes()
    assert was in content
    with JournalReader(old) as record:
        assert check(content.replace(was, now), record).facts_on_record is False


def test_a_certificate_of_form_1_is_superseded_by_a_later_result(old):
    typed = replace(TYPED, serial=SERIAL, bench="bench-1", outcome=Outcome.FAIL, utc_s=NOON_S + 9000.0)
    journal_with(old, [typed])
    with JournalReader(old) as record:
        found = check((old / "certificate.html").read_bytes(), record)
    assert found.facts_on_record is True
    assert found.superseded == (
        "Superseded: it states pass, and since then the result was revised: it is FAIL now."
    )
