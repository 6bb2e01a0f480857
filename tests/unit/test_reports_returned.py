"""A returned unit beside what it read when it left: what is a change, what is not, and in plain words."""

import json
import math
import random
from dataclasses import replace

import pytest
from typer.testing import CliRunner

from acquire.cli import app
from acquire.errors import InputImpossible
from acquire.journal.history import JournalReader
from acquire.records import Outcome, Purpose, Shape, Term
from acquire.reports.document import Letterhead
from acquire.reports.html_page import as_html
from acquire.reports.returned import returned
from acquire.reports.returned_document import returned_document, sentences
from tests.known_records import IMPORTED, NOON_S
from tests.known_visits import DAY_S, SERIAL, WINDINGS, journal_with, visit

BACK_S = NOON_S + 90 * DAY_S


def batch(n=14, seed=3):
    """Good units, each a little different, and what each winding has of its nominal."""
    dice = random.Random(seed)
    records, factors = [], []
    for number in range(n):
        spool = dice.gauss(0.0, 0.004)
        factors.append({step: 1.0 + spool + dice.gauss(0.0, 0.006) for step in WINDINGS})
        records += visit(f"{SERIAL[:-2]}{number:02d}", utc_s=NOON_S + 100.0 * number, factors=factors[-1])
    return records, factors


def compared(folder, serial=SERIAL, **also):
    with JournalReader(folder) as record:
        return returned(record, serial, **also)


def with_terms(records, **terms):
    """The same visit with other budgets: name of a term -> its share of the reading."""
    changed = []
    for each in records:
        if isinstance(each, tuple) and each[1] is not None:
            verdict, evidence = each
            new = tuple(
                Term(name.replace("_", " "), share * verdict.reference_ohm, Shape.NORMAL)
                for name, share in terms.items()
            )
            u_ohm = math.hypot(*(term.standard_uncertainty_ohm for term in new))
            verdict = replace(verdict, standard_uncertainty_ohm=u_ohm, expanded_ohm=2.0 * u_ohm)
            changed.append((verdict, replace(evidence, terms=new)))
        else:
            changed.append(each)
    return changed


def test_a_lost_winding_is_a_change_and_still_ours(tmp_path):
    """Coil two lost 7 %; the rest reads as before; by all pairs together it is the unit that left."""
    records, factors = batch()
    now = {**factors[7], "fast charge": 0.93 * factors[7]["fast charge"]}
    back = visit(utc_s=BACK_S, purpose=Purpose.RETURNED, factors=now, outcome=Outcome.FAIL)
    found = compared(journal_with(tmp_path, [*records, *back]))
    assert {change.step: change.real for change in found.changes} == {
        "slow charge": False,
        "fast charge": True,
        "trigger": False,
    }
    assert found.changes[1].change == pytest.approx(-0.07)
    assert found.ours.odds.this_unit > 0.9
    assert (found.ours.sisters, found.ours.of_batch) == (13, "lot 7")
    told = sentences(found)
    assert told[0].startswith("By its ohms this is the winding that left here (")
    assert told[1] == "Changed: fast charge (2–3) reads 7 % less than then. The other 2 read as before."
    assert "shorted" in " ".join(told)
    assert "taken as 50 %" in told[-1]


def test_somebody_elses_winding_is_told(tmp_path):
    """Under our serial."""
    records, _ = batch()
    back = visit(utc_s=BACK_S, purpose=Purpose.RETURNED, factors=dict.fromkeys(WINDINGS, 1.13))
    found = compared(journal_with(tmp_path, [*records, *back]))
    assert found.ours.odds.this_unit < 0.01
    assert "this is not the winding that left here (over 99 % sure)" in sentences(found)[0]
    assert "somebody else's winding" in sentences(found)[0]


def test_the_uncertainty_of_a_change_is_that_of_both_visits(tmp_path):
    """Root sum of squares of independent budgets (JCGM 100:2008, 5.1.2), times the 95 % factor."""
    then = with_terms(visit(), repeatability=0.001)
    now = with_terms(visit(utc_s=BACK_S, purpose=Purpose.RETURNED), repeatability=0.002)
    change = compared(journal_with(tmp_path, [*then, *now])).changes[0]
    assert change.expanded_change == pytest.approx(1.959964 * math.hypot(0.001, 0.002), rel=1e-4)


def test_the_meters_own_error_is_counted_twice_and_that_is_said(tmp_path):
    """A change between the two half-widths is not proven, but would be if the meter has not changed."""
    then = with_terms(visit(), meter_accuracy=0.002, repeatability=0.0002)
    factors = {"slow charge": 1.003}
    now = with_terms(
        visit(utc_s=BACK_S, purpose=Purpose.RETURNED, factors=factors),
        meter_accuracy=0.002,
        repeatability=0.0002,
    )
    found = compared(journal_with(tmp_path / "same", [*then, *now]))
    change = found.changes[0]
    assert change.real is False
    assert change.expanded_if_common < 0.003 < change.expanded_change
    assert "slow charge: too little for a proof" in " ".join(sentences(found))
    other = [replace(each[0], meter_hash="cc" * 32) if isinstance(each, tuple) else each for each in now]
    found = compared(journal_with(tmp_path / "other", [*then, *other]))
    assert found.changes[0].expanded_if_common is None
    assert "too little for a proof" not in " ".join(sentences(found))


def test_another_reference_temperature_is_brought_together(tmp_path):
    """A sheet changed from 20 to 25 °C meanwhile: copper has 1.96 % more there, which is no change."""
    factor = (234.5 + 25.0) / (234.5 + 20.0)
    now = visit(
        utc_s=BACK_S,
        purpose=Purpose.RETURNED,
        factors=dict.fromkeys(WINDINGS, factor),
        reference_celsius=25.0,
    )
    found = compared(journal_with(tmp_path, [*visit(), *now]))
    assert found.reference_celsius == 25.0
    assert all(abs(change.change) < 1e-12 for change in found.changes)
    assert found.converted
    assert any("brought to" in sentence for sentence in sentences(found))


def test_an_open_winding_is_a_change_without_a_number(tmp_path):
    """And says nothing about whose winding it is."""
    records, factors = batch()
    back = visit(utc_s=BACK_S, purpose=Purpose.RETURNED, factors=factors[7], outcome=Outcome.FAIL)
    back[2] = (replace(back[2][0], reference_ohm=None, expanded_ohm=None, outcome=Outcome.FAIL), None)
    found = compared(journal_with(tmp_path, [*records, *back]))
    assert (found.changes[1].real, found.changes[1].change) == (True, None)
    assert "fast charge (2–3) is open now" in sentences(found)[1]
    assert found.ours.odds.this_unit > 0.8


def test_too_few_sisters_give_no_odds(tmp_path):
    """Rather than odds from nothing."""
    back = visit(utc_s=BACK_S, purpose=Purpose.RETURNED)
    found = compared(journal_with(tmp_path, [*visit(), *visit("other"), *back]))
    assert found.ours.odds is None
    assert "cannot be told from ohms: the record has 1 other unit of" in sentences(found)[0]


def test_failed_and_incoming_units_are_no_sisters(tmp_path):
    """The spread is that of good units as they left."""
    records, _ = batch(6)
    odd = visit("odd", factors=dict.fromkeys(WINDINGS, 1.5), purpose=Purpose.INCOMING)
    bad = visit("bad", factors=dict.fromkeys(WINDINGS, 0.5), outcome=Outcome.FAIL)
    bad = [(replace(e[0], outcome=Outcome.FAIL), e[1]) if isinstance(e, tuple) else e for e in bad]
    back = visit(utc_s=BACK_S, purpose=Purpose.RETURNED)
    found = compared(journal_with(tmp_path, [*records, *odd, *bad, *visit(), *back]))
    assert found.ours.sisters == 6


def test_a_unit_still_on_the_bench_is_compared_as_far_as_it_got(tmp_path):
    """For the bench's page."""
    back = visit(utc_s=BACK_S, purpose=Purpose.RETURNED)[:2]
    found = compared(journal_with(tmp_path, [*visit(), *back]))
    assert [change.step for change in found.changes] == ["slow charge"]
    assert found.missing == ("fast charge", "trigger")
    assert found.now_outcome is None


@pytest.mark.parametrize(
    ("records", "told"),
    [(visit("other"), "never on a bench"), (visit(), "once only"), (visit()[:1], "no value on record")],
)
def test_what_cannot_be_compared_is_told(tmp_path, records, told):
    with pytest.raises(InputImpossible, match=told):
        compared(journal_with(tmp_path, records))


def test_the_first_final_test_is_not_taken_for_the_return(tmp_path):
    """Two final tests and a return: the later final is what left the shop."""
    records = [*visit(), *visit(utc_s=NOON_S + DAY_S), *visit(utc_s=BACK_S, purpose=Purpose.RETURNED)]
    found = compared(journal_with(tmp_path, records))
    assert (found.then_utc_s, found.now_utc_s) == (NOON_S + DAY_S, BACK_S)


def test_it_prints_as_lines_json_and_a_page(tmp_path):
    """As typed."""
    back = visit(utc_s=BACK_S, purpose=Purpose.RETURNED)
    journal = journal_with(tmp_path / "journal", [*visit(), *back])
    page = tmp_path / "r.html"
    done = CliRunner().invoke(
        app, ["returned", str(journal), SERIAL, "--html", str(page)], catch_exceptions=False
    )
    assert done.exit_code == 0
    assert "No change is proven: all 3 pairs read as before" in done.output
    assert "No change is proven" in page.read_text(encoding="utf-8")
    done = CliRunner().invoke(app, ["returned", str(journal), SERIAL, "--json"], catch_exceptions=False)
    plain = json.loads(done.output)
    assert plain["changes"][0]["step"] == "slow charge"
    assert plain["ours"]["odds"] is None


def test_hostile_serials_stay_in_their_place(tmp_path):
    text = "<script>alert(1)</script>\u202e"
    found = compared(
        journal_with(tmp_path, [*visit(text), *visit(text, utc_s=BACK_S, purpose=Purpose.RETURNED)]), text
    )
    page = as_html(returned_document(found, Letterhead("x"), "A4", BACK_S)).decode()
    assert "<script>" not in page
    assert "\u202e" not in page
    assert list(lines(found))


# ---------------------------------------------------------------- paper


def paper(step, ohm, expanded=None, celsius=20.0, **also):
    """One imported value, already at 20 °C."""
    a, b, _ = WINDINGS[step]
    return replace(
        IMPORTED,
        serial=SERIAL,
        step=step,
        pin_a=a,
        pin_b=b,
        value_ohm=ohm,
        reference_ohm=None if celsius is None else ohm,
        celsius=celsius,
        expanded_ohm=expanded,
        **also,
    )


def test_a_unit_is_compared_with_its_paper_record_on_request(tmp_path):
    """The latest day of it; a change beyond both uncertainties is one."""
    old = paper("slow charge", 150.0, 0.1, measured_utc_s=0.0)
    papers = [old, paper("slow charge", 202.5669, 0.4), paper("fast charge", 50.0, 0.4)]
    folder = journal_with(tmp_path, [*papers, *visit(utc_s=BACK_S, purpose=Purpose.RETURNED)])
    with pytest.raises(InputImpossible, match="once only"):
        compared(folder)
    found = compared(folder, from_paper=True)
    assert [(change.step, change.real) for change in found.changes] == [
        ("slow charge", False),
        ("fast charge", True),
    ]
    assert found.changes[0].expanded_change == pytest.approx(math.hypot(0.4, 0.002 * 202.5669) / 202.5669)
    assert found.missing == ("trigger",)
    assert any("paper record" in sentence for sentence in sentences(found))


def test_paper_without_uncertainty_proves_nothing(tmp_path):
    """The difference is shown; whether it is a change cannot be told."""
    records = [paper("slow charge", 150.0), *visit(utc_s=BACK_S, purpose=Purpose.RETURNED)]
    found = compared(journal_with(tmp_path, records), from_paper=True)
    assert (found.changes[0].real, found.changes[0].expanded_change) == (None, None)
    assert found.changes[0].change == pytest.approx(202.5669 / 150.0 - 1.0)
    assert "cannot be told: the earlier values state no uncertainty" in sentences(found)[1]
    assert any("+35.04 %" in line and "cannot be told" in line for line in lines(found))


def test_paper_without_temperature_or_none_at_all_is_told(tmp_path):
    back = visit(utc_s=BACK_S, purpose=Purpose.RETURNED)
    with pytest.raises(InputImpossible, match="No paper record"):
        compared(journal_with(tmp_path / "a", back), from_paper=True)
    with pytest.raises(InputImpossible, match="states no temperature"):
        compared(journal_with(tmp_path / "b", [paper("trigger", 83.0, celsius=None), *back]), from_paper=True)
