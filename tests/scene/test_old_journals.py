"""A journal of November 2026, before records held codes: read, judged and printed as today's.

`tests/data/journal_v1.db` was made by this program at commit ab9cd73: its demo of the Plover 80, seed 7,
eight units, with orders in between (a step left out, a unit given up, a batch, typed results during and after
units, one of them by `steadyohm result`), and a ninth stay that the demo's end has cut off.
"""

import json
import shutil
import sqlite3
from pathlib import Path

import pytest

from acquire.answers.history import history_line
from acquire.errors import InputImpossible
from acquire.journal.history import JournalReader
from acquire.journal.plain import KINDS, from_plain
from acquire.journal.query import Query
from acquire.journal.upgrade import in_todays_names, upgraded
from acquire.line.incoming import Arrived, read
from acquire.page.past import Past
from acquire.records import (
    Basis,
    Ending,
    Finding,
    FindingKind,
    Fit,
    Outcome,
    Pair,
    TypedWhy,
    UnitResult,
    UntestedKind,
    Verdict,
)
from acquire.reports.batch import batch_report
from acquire.reports.certificate import Given, certificate_of
from acquire.reports.certificate_document import certificate_document
from acquire.reports.document import Letterhead
from acquire.reports.label import label_of
from acquire.reports.returned import returned
from acquire.reports.visits import judged_visit, visits_on
from acquire.words.beside import typed_reason
from acquire.words.notices import said as told
from acquire.words.units import findings_words, result_words
from acquire.words.verdicts import hint, reason

FILE = Path(__file__).resolve().parents[1] / "data" / "journal_v1.db"
BENCH = "demo bench"

GIVEN = Given(Letterhead("Otterbeck Rewinds"), 2e9, 2e9, "test")

ENDED = {
    "P80-0001": (Outcome.PASS, Ending.DONE),
    "P80-0002": (Outcome.CANNOT_JUDGE, Ending.DONE),
    "P80-0003": (None, Ending.EARLY),
    "P80-0004": (Outcome.FAIL, Ending.DONE),
    "P80-0005": (None, Ending.WARM),
    "P80-0006": (Outcome.FAIL, Ending.DONE),
    "P80-0007": (Outcome.FAIL, Ending.DONE),
    "P80-0008": (Outcome.FAIL, Ending.DONE),
}
"""P80-0007 passed its ohms; 0.2 megohm were typed in after it had left."""


@pytest.fixture
def folder(tmp_path):
    shutil.copy(FILE, tmp_path / "journal.db")
    return tmp_path


@pytest.fixture
def record(folder):
    with JournalReader(folder) as reader:
        yield reader


def stored():
    """(kind, payload) of every entry as it lies in the file, with the names of today."""
    with sqlite3.connect(f"file:{FILE}?mode=ro", uri=True) as file:
        rows = file.execute("SELECT kind, payload FROM entry ORDER BY seq").fetchall()
    return [(kind, json.loads(in_todays_names(payload))) for kind, payload in rows]


def test_every_entry_becomes_a_record_of_today(record):
    """And spelt and read once more it is the same."""
    entries = list(record.find(Query()))
    assert len(entries) == len(stored()) > 80
    for entry in entries:
        assert type(entry.record) is KINDS[entry.kind]
        assert upgraded(entry.kind, entry.payload) is entry.payload, "brought up once, not twice"


def test_reading_changes_no_byte(folder):
    before = (folder / "journal.db").read_bytes()
    with JournalReader(folder) as reader:
        for entry in reader.find(Query()):
            assert history_line(entry)
    assert (folder / "journal.db").read_bytes() == before


@pytest.mark.parametrize(("serial", "ended"), ENDED.items(), ids=ENDED)
def test_each_stay_stands_as_it_should(record, serial, ended):
    visit = next(v for v in reversed(visits_on(record, serial)) if v.result is not None)
    assert (visit.result.outcome, visit.result.ending) == ended


def test_the_batch_has_them_all_once(record):
    """With those that have an outcome, and the late typed result counted in."""
    report = batch_report(record, "lot 7")
    now = {unit.serial: unit.now for unit in report.units}
    assert now == {serial: outcome for serial, (outcome, _) in ENDED.items() if serial != "P80-0001"}


def test_label_and_certificate_say_the_same(record):
    for serial, (outcome, _) in ENDED.items():
        visits = visits_on(record, serial)
        if outcome is None:
            with pytest.raises(InputImpossible):
                judged_visit(visits)
            continue
        assert label_of(judged_visit(visits)).outcome is outcome
        assert certificate_of(record, serial, GIVEN).visit.outcome is outcome


def test_the_certificate_has_what_was_found_left_out_and_not_tested(record):
    of = certificate_of(record, "P80-0002", GIVEN)
    assert [each.id for each in of.visit.untested()] == ["isolation:1,2,3|CORE,4,5,6"]
    left_out = "both charge windings was left out: pin 3 is bent"
    assert left_out in [told(each) for each in of.deviations(of.visit)]
    late = certificate_of(record, "P80-0007", GIVEN)
    assert [each.kind for each in late.visit.untested()] == [UntestedKind.TURNS]
    assert any("insulation" in each for each in late.visit.findings())
    assert certificate_document(of) != certificate_document(late)


def test_a_returned_unit_can_be_compared_with_an_old_visit(record):
    """P80-0006 is on the bench again; nothing was measured yet, so there is no second visit."""
    with pytest.raises(InputImpossible, match="once only"):
        returned(record, "P80-0006")


def test_the_page_lists_them(folder):
    with JournalReader(folder) as reader:
        bench = reader.bench
    units = {each["serial"]: each for each in Past(folder, bench).units({"limit": "50"})["units"]}
    assert {serial: each["outcome"] for serial, each in units.items()} == {
        serial: outcome and outcome.value for serial, (outcome, _) in ENDED.items()
    }
    assert units["P80-0005"]["ending"] == "warm"


def test_a_diagnosis_is_found_by_its_old_sentence(record):
    found = record.find(Query(diagnosis="162 of 1020 turns"))
    assert [entry.serial for entry in found] == ["P80-0004"]


def test_messages_of_an_old_bench_are_records_of_the_line():
    """A bench of November sends what its journal holds; a collector of today takes it."""
    topics = {"verdict": "verdict", "unit_started": "unit", "unit_result": "unit", "typed_result": "result"}
    for number, (kind, payload) in enumerate(stored(), start=1):
        if kind in topics:
            head = {"schema": 1, "id": f"{'ab' * 8}-{number}", "seq": number, "kind": kind}
            message = json.dumps({**head, **payload}).encode()
            topic = f"steadyohm/v1/{payload['bench'].replace(' ', '%20')}/{topics[kind]}"
            assert isinstance(read(topic, message), Arrived), (kind, payload)


def test_old_reasons_say_what_they_said():
    """From numbers now: the same sentence, or one with the same numbers."""
    for kind, payload in stored():
        made = from_plain(kind, upgraded(kind, payload))
        if isinstance(made, Verdict):
            assert reason(made) == payload["reason"]
            assert bool(hint(made)) is bool(payload["hint"])
        elif kind == "typed_result":
            assert typed_reason(made) == payload["reason"] or payload["reason"] == "pass"
        elif isinstance(made, UnitResult):
            old = (payload["held"] or result_words(made)).replace("given up", "ended early")  # its word today
            assert result_words(made).removeprefix("held: ") == old


# ---------------------------------------------------------------- what the demo did not bring


def old_result(**changes):
    """An old payload of a unit's result, with changes, as a record of today."""
    payload = next(payload for kind, payload in stored() if kind == "unit_result")
    return from_plain("unit_result", upgraded("unit_result", {**payload, **changes}))


def test_the_next_unit_ended_it():
    result = old_result(outcome=None, held="given up: the next unit was started")
    assert (result.ending, result.remark) == (Ending.NEXT_UNIT, "")


def test_words_for_giving_up_are_the_operators():
    result = old_result(outcome=None, held="given up: lunch: not tested")
    assert (result.ending, result.remark) == (Ending.EARLY, "lunch: not tested")


ODD = "1–3 reads 4.908 kΩ, but the other readings foretell 4.8 kΩ ± 20 Ω: was each pair the one asked for?"


def test_findings_become_facts():
    """A rule by its name, a contradiction by its numbers, a typed result by what it is about."""
    balance = {
        "name": "phases", "windings": ["U", "V", "W"], "ohm": [1.0, 1.0, 1.03], "deviation": 0.02,
        "expanded_deviation": 0.001, "limit": 0.01, "worst": "W", "outcome": "fail",
    }  # fmt: skip
    result = old_result(
        outcome="fail",
        balances=[balance],
        findings=[
            "W is 2 % above the mean of phases, known to 0.1 %; 1 % is allowed.",
            ODD,
            "insulation 1,2,3 to CORE,4,5,6: 1 MΩ is 49 MΩ below the lower limit.",
            "surge: fail",
        ],
    )
    uneven, odd, leaky, surge = result.found
    assert uneven == Finding(FindingKind.UNEVEN, "phases", outcome=Outcome.FAIL)
    assert (odd.kind, odd.pair, odd.ohm, odd.predicted_ohm, odd.u_ohm) == (
        FindingKind.CONTRADICTION, Pair("1", "3"), 4908.0, 4800.0, 10.0,
    )  # fmt: skip
    assert (leaky.name, leaky.id) == ("insulation 1,2,3 to CORE,4,5,6", "isolation:1,2,3|CORE,4,5,6")
    assert (surge.name, surge.id) == ("surge", "step:surge")
    assert findings_words(result)[0].startswith("W is 2 % above the mean of phases")


def test_what_was_not_tested_has_its_id():
    result = old_result(
        not_tested=[
            "not tested: insulation 1,2,3 to CORE,4,5,6 at 500 V",
            "not tested: insulation U to V to CORE",
            "not tested: bearing at rest",
            "not tested: faults between turns, which a pass in ohms does not exclude",
        ]
    )
    assert [(each.kind, each.id, each.volts) for each in result.untested] == [
        (UntestedKind.ISOLATION, "isolation:1,2,3|CORE,4,5,6", 500.0),
        (UntestedKind.ISOLATION, "isolation:U|V|CORE", None),
        (UntestedKind.STEP, "step:bearing at rest", None),
        (UntestedKind.TURNS, "turns", None),
    ]


def ring(pins):
    """Each pin with the next."""
    return zip(pins, pins[1:] + pins[0], strict=True)


def old_verdict(**changes):
    payload = next(payload for kind, payload in stored() if kind == "verdict")
    return from_plain("verdict", upgraded("verdict", {**payload, **changes}))


@pytest.mark.parametrize(
    ("said", "fit", "pairs"),
    [
        ("", Fit.EXPECTED, ()),
        ("That reads like 1–3, both charge windings in series: move to 1–2.", Fit.OTHER_PAIR, (("1", "3"),)),
        ("That reads like 4–6 or 4–CORE: move to 5–6.", Fit.OTHER_PAIR, (("4", "6"), ("4", "CORE"))),
        (
            "That reads like U–V, V–W or U–W: move to U–N.",
            Fit.OTHER_PAIR,
            (("U", "V"), ("V", "W"), ("U", "W")),
        ),
        (
            "38.76 Ω may be 2–3 gone wrong or 4–6, the trigger: make sure of 2–3 and touch again.",
            Fit.AMBIGUOUS,
            (("4", "6"),),
        ),
        ("12 Ω fits no pair of a good unit: touch 1–2 once more.", Fit.FAULT, ()),
        ("That reads like the probes touching each other: touch 1–2, apart.", Fit.FAULT, ()),
    ],
)
def test_hints_say_where_a_value_belonged(said, fit, pairs):
    made = old_verdict(hint=said)
    assert (made.fit, made.reads_like) == (fit, tuple(Pair(*each) for each in pairs))
    assert made.together is ("touching each other" in said)


@pytest.mark.parametrize(
    ("said", "basis"),
    [
        ("open, with the probes confirmed to be on the pins", Basis.OPEN_BY_KEY),
        ("open, with the clips confirmed to be on the pins", Basis.OPEN_BY_CLIP),
        ("open, between touches of two known continuities", Basis.OPEN_BRACKETED),
        ("open, 1–2 and 2–3 conduct", Basis.OPEN_PROVEN),
    ],
)
def test_open_pairs_keep_their_witness(said, basis):
    assert old_verdict(reference_ohm=None, raw_ohm=None, reason=said).basis is basis


@pytest.mark.parametrize(
    ("said", "stated", "why"),
    [
        ("a short: 0 Ω.", False, TypedWhy.SHORT),
        ("measured at 9 V only, 500 V are asked for.", False, TypedWhy.LOW_VOLTS),
        (
            "the instrument's accuracy was not told; add it, such as accuracy 5 %.",
            False,
            TypedWhy.NO_ACCURACY,
        ),
        ("recorded; the sheet sets no limits for it.", False, TypedWhy.NO_LIMITS),
        ("recorded, not judged: no sister coil or golden unit was named.", False, TypedWhy.NO_PATTERN),
        ("1500 V; recorded, not judged.", False, TypedWhy.RECORDED),
        ("no difference seen", True, TypedWhy.STATED),
    ],
)
def test_reasons_of_typed_results_become_codes(said, stated, why):
    """And the sentence made from the code is the old one."""
    payload = next(payload for kind, payload in stored() if kind == "typed_result")
    old = {**payload, "reason": said, "stated": stated, "test_volt": 9.0}
    made = from_plain("typed_result", upgraded("typed_result", old))
    assert made.why is why
    assert typed_reason(made) == said.replace("not told", "not stated")  # its word today


def test_damage_comes_back_as_it_is():
    """Whoever reads the record says so."""
    broken = {"held": 5, "outcome": None, "hypotheses": []}
    assert upgraded("unit_result", broken) is broken
    assert upgraded("no such kind", broken) is broken
