"""What a certificate states, and that nobody's text gets out of its place."""

import html
import re
from dataclasses import replace
from html.parser import HTMLParser

import pytest

from acquire.errors import InputImpossible
from acquire.journal.history import JournalReader
from acquire.records import (
    Basis,
    Code,
    Ending,
    Finding,
    FindingKind,
    Notice,
    Outcome,
    Pair,
    Purpose,
    ResultKind,
    Scope,
    Severity,
    Untested,
    UntestedKind,
)
from acquire.records.bench import ClosureFound, StepAtEnd, UnitTemperature
from acquire.records.codes import ClosureKind
from acquire.reports.certificate import Given, MeterCalibration, certificate_from_text, certificate_of
from acquire.reports.certificate_check import SOFTWARE, check
from acquire.reports.certificate_document import certificate_document
from acquire.reports.document import Letterhead
from acquire.reports.label import label_of
from acquire.reports.printing import FACTS_BEGIN, FACTS_END, as_html, as_pdf
from acquire.unit_result import shows_turns
from tests.known_records import CHECK, NOON_S, TYPED
from tests.known_visits import DAY_S, SERIAL, journal_with, moved_zero, shop_day, visit

HEADING = Letterhead("Brackenhope Winding Bench", ("Unit 4", "Brackenhope"), authorised="I. Sedgwick")
GIVEN = Given(HEADING, NOON_S + 3000.0, NOON_S + 3000.0, SOFTWARE)


@pytest.fixture(scope="module")
def folder(tmp_path_factory):
    """The journal of a day with one unit."""
    return journal_with(tmp_path_factory.mktemp("day"), shop_day())


def facts(folder, serial=SERIAL, given=GIVEN, purpose=None):
    """Of one unit."""
    with JournalReader(folder) as record:
        return certificate_of(record, serial, given, purpose)


def words(folder, **also):
    """What a person reads on the HTML, tags left out."""
    page = as_html(certificate_document(facts(folder, **also))).decode()
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
        f"No. {certificate.number}",  # unique identification
        f"END OF CERTIFICATE {certificate.number}",  # clear identification of the end
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


def test_a_continuity_is_never_stated_as_a_tolerance(tmp_path):
    """Beside the value, and among what was not tested, with what it has at most."""
    left = Untested(UntestedKind.TOLERANCE, "tolerance:low", "low", at_most_ohm=0.873)
    records = visit(scope=Scope.CONTINUITY_ONLY)
    text = words(journal_with(tmp_path, [*records[:-1], replace(records[-1], untested=(left,))]))
    assert "Continuous; tolerance not judged" in text
    assert "Not judged: tolerance of low, which this meter cannot: continuous, at most 0.88 Ω." in text
    assert label_of(facts(tmp_path).visit).limits == "some continuity only"


def test_what_was_typed_or_compared_is_said_so(tmp_path):
    """Method and origin of each value: on the certificate in full, on the label in two words."""
    text = words(journal_with(tmp_path / "typed", visit(basis=Basis.TYPED)))
    assert "typed what it showed; there is no trace of readings" in text
    assert label_of(facts(tmp_path / "typed").visit).limits == "values typed"
    text = words(journal_with(tmp_path / "compared", visit(against="R470", off_ohm=3.1)))
    assert "found by substitution" in text
    assert "slow charge with R470" in text
    assert label_of(facts(tmp_path / "compared").visit).limits == ""


JOINT = ClosureFound(
    ClosureKind.JOINT, "2", 2.02, 0.04, None, 0.3, Outcome.FAIL, 0.0, contradicts=False,
    pairs=(Pair("1", "2"), Pair("2", "3"), Pair("1", "3")),
)  # fmt: skip


def test_a_joint_that_several_pairs_show_is_on_it(tmp_path):
    """With value, uncertainty and limit, though every pair passes."""
    *steps, result = visit(outcome=Outcome.FAIL)
    found = (Finding(FindingKind.CLOSURE, "2", outcome=Outcome.FAIL),)
    text = words(journal_with(tmp_path, [*steps, replace(result, closures=(JOINT,), found=found)]))
    assert "joint at pin 2: 2.020 Ω ± 0.04 Ω, limit 0.3 Ω." in text
    assert "joint at pin 2 1–2, 2–3, 1–3 2.020 ± 0.040 Ω at most 0.3000 Ω" in text


def test_what_is_unsure_of_the_units_temperature_is_in_each_u(tmp_path):
    """As the unit's end found it, and told below the table; a step that it decides is not passed."""
    *steps, result = visit()
    at_end = StepAtEnd("slow charge", 3.0, Outcome.CONDITIONAL_PASS, 0.9)
    warmth = UnitTemperature(-0.5, 0.1, 1.25, 0.64, 0.1, told_by_shift=True, rested_s=None, steps=(at_end,))
    text = words(journal_with(tmp_path, [*steps, replace(result, temperature=warmth)]))
    assert "202.6 ± 3.0 Ω" in text
    assert "90.0 %" in text
    assert "by -0.5 K to +1.2 K (95 %)" in text
    assert "0.64 K" in text


def test_pages_are_numbered_in_print(folder):
    """Page x of y, by the style sheet in HTML and by ourselves in PDF."""
    page = as_html(certificate_document(facts(folder))).decode()
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
            TYPED,
            serial=SERIAL,
            bench="bench-1",
            name=name,
            result_kind=sort,
            outcome=outcome,
            utc_s=NOON_S + 35.0,
            shows_turns=shows_turns(sort, name),
            target=f"step:{name}",
        )
        other = journal_with(tmp_path / f"{number}", [*visit(), typed])
        assert ("does not exclude faults between turns" not in words(other)) is silent, name


def test_what_the_sheet_asks_for_and_nobody_typed_is_named(folder):
    """The first thing under "What was not tested"."""
    assert "Not tested: insulation 1,2,3 to CORE,4,5,6 at 500 V." in words(folder)


@pytest.mark.parametrize("name", ["R", "bearing", "1", "CORE"])
def test_a_name_takes_nothing_off_what_was_not_tested(tmp_path, name):
    """ "R" is part of "CORE", "ring" of "bearing": things are matched by their ids."""
    typed = replace(
        TYPED,
        serial=SERIAL,
        bench="bench-1",
        name=name,
        result_kind=ResultKind.STATED,
        target="",
        utc_s=NOON_S + 35.0,
    )
    text = words(journal_with(tmp_path, [*visit(), typed]))
    assert "Not tested: insulation 1,2,3 to CORE,4,5,6 at 500 V." in text
    assert "does not exclude faults between turns" in text


def test_what_the_circuit_leaves_open_is_named(tmp_path):
    """Winding to core where no rule of the sheet asks for it, and a part that no step measures."""
    open_things = (
        Untested(UntestedKind.CIRCUIT, "isolation:4,5,6|CORE", "isolation of 4,5,6 from CORE"),
        Untested(UntestedKind.CIRCUIT, "branch:strap", "strap"),
    )
    records = visit()
    records[-1] = replace(records[-1], untested=(*records[-1].untested, *open_things))
    text = words(journal_with(tmp_path, records))
    assert "Not tested: isolation of 4,5,6 from CORE." in text
    assert "Not tested: strap." in text


def test_a_result_typed_later_can_fail_the_unit(tmp_path):
    """The verdict of the unit is the worst of all, whenever it was typed."""
    typed = replace(TYPED, serial=SERIAL, bench="bench-1", outcome=Outcome.FAIL, utc_s=NOON_S + 500.0)
    failed = journal_with(tmp_path, [*visit(), typed])
    assert facts(failed).visit.outcome is Outcome.FAIL
    assert "Fail 3 of 4 steps passed. insulation 1 to CORE: FAIL." in words(failed)


def test_the_calibration_counts_only_if_the_file_is_the_one_used(folder):
    """By its hash; and a date that had passed is said."""
    assert "not known: the meter file that was used was not at hand" in words(folder)
    given = replace(GIVEN, calibrations=(MeterCalibration("a1" * 32, "bench meter", "2026-03-01", "K-17"),))
    assert "due 2026-03-01, certificate K-17: valid when used" in words(folder, given=given)
    given = replace(GIVEN, calibrations=(MeterCalibration("a1" * 32, "bench meter", "2025-11-25", "K-17"),))
    assert "OVERDUE when used" in words(folder, given=given)
    given = replace(GIVEN, calibrations=(MeterCalibration("ff" * 32, "bench meter", "2026-03-01"),))
    assert "not known" in words(folder, given=given)


def test_skipped_steps_and_overrides_are_deviations(tmp_path):
    """Those of the unit by its serial; those of the bench by their time, until a check was in control."""
    skipped = Notice(
        Severity.WARNING,
        Code.STEP_SKIPPED,
        NOON_S + 20.0,
        SERIAL,
        step="trigger",
        facts={"reason": "pin bent"},
    )

    def overridden(why, utc_s):
        return Notice(Severity.WARNING, Code.CHECK_OVERRIDDEN, utc_s, facts={"reason": why, "resistor": "R1"})

    override, before = overridden("old R1", NOON_S - 50), overridden("other", NOON_S - 950)
    good = replace(CHECK, utc_s=NOON_S - 900.0)
    start, *rest = visit()
    text = words(journal_with(tmp_path, [before, good, override, start, skipped, *rest]))
    assert "trigger was skipped: pin bent" in text
    assert "old R1" in text
    assert ": other" not in text


def test_other_visits_are_linked(tmp_path):
    """The certificate is about the latest one with an outcome, or of the purpose that is asked for."""
    records = [*visit(), *visit(utc_s=NOON_S + DAY_S, purpose=Purpose.RETURNED, outcome=Outcome.FAIL)]
    folder = journal_with(tmp_path, records)
    late = replace(GIVEN, issued_utc_s=NOON_S + 2 * DAY_S, as_of_utc_s=NOON_S + 2 * DAY_S)
    assert facts(folder, given=late).visit.purpose is Purpose.RETURNED
    assert facts(folder, given=late, purpose=Purpose.FINAL).visit.purpose is Purpose.FINAL
    assert "2025-11-26 12:00 UTC, returned (later): FAIL" in words(folder, given=late, purpose=Purpose.FINAL)


def test_a_later_certificate_can_replace_an_earlier_one(folder):
    """ISO/IEC 17025:2017, 7.8.8.2: an amended report refers to the one that it replaces."""
    first = facts(folder)
    given = replace(GIVEN, customer="Lantern Rock Pumps", replaces=first.number)
    assert f"Replaces certificate No. {first.number}" in words(folder, given=given)
    assert facts(folder, given=given).number != first.number


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
        ([*visit()[:-1], replace(visit()[-1], outcome=None, ending=Ending.WARM)], "the unit is warm"),
        (
            [*visit()[:-1], replace(visit()[-1], outcome=None, ending=Ending.EARLY, remark="dropped")],
            "ended early: dropped",
        ),
    ],
)
def test_a_unit_without_outcome_gets_none(tmp_path, records, told):
    """And is told why."""
    with pytest.raises(InputImpossible, match=told):
        facts(journal_with(tmp_path, records))


def test_an_unknown_serial_is_told(folder):
    with pytest.raises(InputImpossible, match="never on a bench"):
        facts(folder, serial="PL80-9999")


def test_a_trace_is_thinned_and_ends_with_its_last_reading(tmp_path):
    records = visit()
    verdict, evidence = records[1]
    trace = tuple((i / 10, 200.0 + i) for i in range(1000))
    records[1] = verdict, replace(evidence, trace=trace)
    first = facts(journal_with(tmp_path, records))
    step = first.steps(first.visit)[0]
    assert 40 <= len(step.evidence.trace) <= 48
    assert (step.evidence.trace[-1], step.trace_of) == (trace[-1], 1000)


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
    given = replace(GIVEN, customer=text, remark=text, heading=Letterhead(text, (text,), authorised=text))
    mild = replace(GIVEN, customer="c", remark="r", heading=Letterhead("h", ("a",), authorised="a"))

    def parsed(place, serial, given):
        page = as_html(certificate_document(facts(place, serial=serial, given=given))).decode("utf-8")
        found = Elements()
        found.feed(page)
        return page, found

    page, found = parsed(hostile, text, given)
    assert found.seen == parsed(known, "harmless", mild)[1].seen
    shown = page[: page.index(FACTS_BEGIN)]
    assert not re.search("[\u202a-\u202e\u2066-\u2069\u200e\u200f\x00\x1b]", shown)
    carried = page[page.index(FACTS_BEGIN) + len(FACTS_BEGIN) :]
    carried = carried[: carried.index(FACTS_END)]
    assert certificate_from_text(carried) == facts(hostile, serial=text, given=given)


@pytest.mark.parametrize("texts", [HOSTILE[:7], HOSTILE[6:]])
def test_a_pdf_takes_anybodys_text_too(tmp_path, texts):
    """It is drawn, carries its facts, and is checked like any other."""
    serial, operator, customer, remark, name, received, condition = texts
    hostile = journal_with(tmp_path, visit(serial, operator=operator))
    given = replace(GIVEN, customer=customer, remark=remark, heading=Letterhead(name, (received,)))
    given = replace(given, condition=condition, received=received)
    content = as_pdf(certificate_document(facts(hostile, serial=serial, given=given)))
    with JournalReader(hostile) as record:
        assert check(content, record).sound
