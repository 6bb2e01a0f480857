"""A returned unit beside what it read when it left: what is a change, what is not, and in plain words."""

import io
import json
import math
import random
import re
from dataclasses import replace

import pytest
from rich.console import Console
from typer.testing import CliRunner

from acquire.cli import app
from acquire.errors import InputImpossible
from acquire.journal.history import JournalReader
from acquire.records import Outcome, Purpose, Shape, Term
from acquire.reports.document import Letterhead
from acquire.reports.printing import as_html, as_terminal
from acquire.reports.returned import PairFinding, returned
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


def shown_in_terminal(found):
    out = io.StringIO()
    Console(file=out, width=140).print(as_terminal(returned_document(found, None, "A4", BACK_S)))
    return out.getvalue().replace("\u00a0", " ")


def test_a_lost_winding_is_a_change_and_still_ours(tmp_path):
    """Coil two lost 7 %; the rest reads as before; by all pairs together it is the unit that left."""
    records, factors = batch()
    now = {**factors[7], "fast charge": 0.93 * factors[7]["fast charge"]}
    back = visit(utc_s=BACK_S, purpose=Purpose.RETURNED, factors=now, outcome=Outcome.FAIL)
    found = compared(journal_with(tmp_path, [*records, *back]))
    assert {change.step: change.finding for change in found.changes} == {
        "slow charge": PairFinding.AS_BEFORE,
        "fast charge": PairFinding.CHANGED,
        "trigger": PairFinding.AS_BEFORE,
    }
    assert found.changes[1].fraction == pytest.approx(-0.07)
    assert found.ours.odds.this_unit > 0.9
    assert (found.ours.sisters, found.ours.of_batch) == (13, "lot 7")
    told = sentences(found)
    assert told[0].startswith("By its ohms this is the winding that left here (")
    assert told[1] == (
        "Changed: fast charge (2–3) reads 7 % less than then. No change is proven at the other 2."
    )
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
    assert change.expanded_fraction == pytest.approx(1.959964 * math.hypot(0.001, 0.002), rel=1e-4)


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
    assert change.finding is PairFinding.PERHAPS
    assert change.expanded_fraction > 0.003
    assert "slow charge: too little for a proof" in " ".join(sentences(found))
    other = [replace(each[0], meter_hash="cc" * 32) if isinstance(each, tuple) else each for each in now]
    found = compared(journal_with(tmp_path / "other", [*then, *other]))
    assert found.changes[0].finding is PairFinding.AS_BEFORE
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
    assert all(abs(change.change_ohm) < 1e-12 for change in found.changes)
    assert found.converted
    assert any("brought to" in sentence for sentence in sentences(found))


def test_an_open_winding_is_a_change_without_a_number(tmp_path):
    """And says nothing about whose winding it is."""
    records, factors = batch()
    back = visit(utc_s=BACK_S, purpose=Purpose.RETURNED, factors=factors[7], outcome=Outcome.FAIL)
    back[2] = (replace(back[2][0], reference_ohm=None, expanded_ohm=None, outcome=Outcome.FAIL), None)
    found = compared(journal_with(tmp_path, [*records, *back]))
    assert (found.changes[1].finding, found.changes[1].change_ohm) == (PairFinding.OPENED, None)
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
    assert found.now.outcome is None


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
    assert (found.then.started.utc_s, found.now.started.utc_s) == (NOON_S + DAY_S, BACK_S)


def test_it_prints_as_lines_json_and_a_page(tmp_path):
    """As typed."""
    back = visit(utc_s=BACK_S, purpose=Purpose.RETURNED)
    journal = journal_with(tmp_path / "journal", [*visit(), *back])
    page = tmp_path / "r.html"
    done = CliRunner().invoke(
        app, ["returned", str(journal), SERIAL, "--html", str(page)], catch_exceptions=False
    )
    assert done.exit_code == 0
    assert "No change is proven at all 3 pairs" in done.output
    assert "No change is proven" in page.read_text(encoding="utf-8")
    done = CliRunner().invoke(app, ["returned", str(journal), SERIAL, "--json"], catch_exceptions=False)
    plain = json.loads(done.output)
    first = plain["changes"][0]
    assert (first["step"], first["pin_a"], first["finding"]) == ("slow charge", "1", "as_before")
    assert first["then"]["ohm"] == first["now"]["ohm"] == 202.5669
    assert (plain["then"]["purpose"], plain["now"]["outcome"]) == ("final", "pass")
    assert plain["ours"]["odds"] is None


def test_hostile_serials_stay_in_their_place(tmp_path):
    text = "<script>alert(1)</script>\u202e"
    found = compared(
        journal_with(tmp_path, [*visit(text), *visit(text, utc_s=BACK_S, purpose=Purpose.RETURNED)]), text
    )
    page = as_html(returned_document(found, Letterhead("x"), "A4", BACK_S)).decode()
    assert "<script>" not in page
    assert "\u202e" not in page
    assert "\u202e" not in shown_in_terminal(found)


def with_strap(records, *readings, u=0.01):
    """The same visits, each with a strap measured as well: its ohms, known to ±0.02."""
    read, done = iter(readings), []
    for each in records:
        if not isinstance(each, tuple) and hasattr(each, "hypotheses"):
            verdict, evidence = done[-1]
            ohm = next(read)
            strap = replace(
                verdict, step="strap", pin_a="5", pin_b="6", reference_ohm=ohm, raw_ohm=ohm + 0.3,
                nominal_ohm=0.001, standard_uncertainty_ohm=u, expanded_ohm=2.0 * u, outcome=Outcome.PASS,
            )  # fmt: skip
            done.append((strap, replace(evidence, terms=(Term("repeatability", u, Shape.NORMAL),))))
        done.append(each)
    return done


def test_a_change_of_nearly_nothing_is_told_in_ohms(tmp_path):
    """A strap that read 1 mΩ and reads -0.6 mΩ is not "-155.87 ± 6742.40 %"."""
    back = visit(utc_s=BACK_S, purpose=Purpose.RETURNED)
    found = compared(journal_with(tmp_path, with_strap([*visit(), *back], 0.001, -0.0006)))
    strap = found.changes[-1]
    assert (strap.step, strap.finding, strap.fraction) == ("strap", PairFinding.AS_BEFORE, None)
    row = next(line for line in shown_in_terminal(found).splitlines() if line.strip().startswith("strap"))
    assert re.search(r"-0.002 ± 0.028 Ω +no change proven", row), row
    assert not re.search(r"[0-9]{3,}\.[0-9]+ %", shown_in_terminal(found))
    opened = compared(journal_with(tmp_path / "b", with_strap([*visit(), *back], 0.001, 0.4)))
    assert "strap (5–6) reads 0.399 Ω more than then" in sentences(opened)[1]


def test_a_strap_below_zero_drops_no_unit_from_the_others(tmp_path):
    """Fourteen units whose zeroed straps read between -0.01 and 0.01 ohm: all of them give the spread."""
    records, factors = batch()
    back = visit(utc_s=BACK_S, purpose=Purpose.RETURNED, factors=factors[7])
    straps = [0.01 * (-1) ** n for n in range(15)]
    found = compared(journal_with(tmp_path, with_strap([*records, *back], *straps)))
    assert (found.ours.sisters, found.ours.pairs) == (13, ("slow charge", "fast charge", "trigger"))
    tight = compared(
        journal_with(tmp_path / "b", with_strap([*records, *back], *straps[:7], 0.01, *straps[8:], u=1e-3))
    )
    assert (tight.ours.sisters, tight.ours.pairs) == (13, ("slow charge", "fast charge", "trigger"))


@pytest.mark.parametrize("seed", range(20))
def test_the_summary_never_says_otherwise_than_the_table(tmp_path, seed):
    """What the sentence counts is what the rows say, whatever happened to each pair."""
    dice = random.Random(seed)
    factors = {step: dice.choice([1.0, 1.0005, 1.003, 0.9, 1.4]) for step in WINDINGS}
    budget = {"meter_accuracy": dice.choice([2e-4, 2e-3]), "repeatability": 2e-4}
    then = with_terms(visit(), **budget)
    now = with_terms(visit(utc_s=BACK_S, purpose=Purpose.RETURNED, factors=factors), **budget)
    found = compared(journal_with(tmp_path, [*then, *now]))
    told, changes = sentences(found)[1], found.changes
    for change in changes:
        named = f"{change.step} (" in told
        assert named == (change.finding in (PairFinding.CHANGED, PairFinding.PERHAPS))
    same = sum(change.finding is PairFinding.AS_BEFORE for change in changes)
    assert ("No change is proven at" in told) == bool(same)
    assert "as before" not in told
    assert not same or {1: "the other one", 2: "the other 2", 3: "all 3 pairs"}[same] in told


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
    assert [(change.step, change.finding) for change in found.changes] == [
        ("slow charge", PairFinding.AS_BEFORE),
        ("fast charge", PairFinding.CHANGED),
    ]
    assert found.changes[0].expanded_fraction == pytest.approx(math.hypot(0.4, 0.002 * 202.5669) / 202.5669)
    assert found.missing == ("trigger",)
    assert any("paper record" in sentence for sentence in sentences(found))


def test_paper_without_uncertainty_proves_nothing(tmp_path):
    """The difference is shown; whether it is a change cannot be told."""
    records = [paper("slow charge", 150.0), *visit(utc_s=BACK_S, purpose=Purpose.RETURNED)]
    found = compared(journal_with(tmp_path, records), from_paper=True)
    assert (found.changes[0].finding, found.changes[0].expanded_ohm) == (PairFinding.UNTOLD, None)
    assert found.changes[0].fraction == pytest.approx(202.5669 / 150.0 - 1.0)
    assert "cannot be told: the earlier values state no uncertainty" in sentences(found)[1]
    assert re.search(r"\+35.04 % +cannot be told", shown_in_terminal(found))


def test_paper_without_temperature_or_none_at_all_is_told(tmp_path):
    back = visit(utc_s=BACK_S, purpose=Purpose.RETURNED)
    with pytest.raises(InputImpossible, match="No paper record"):
        compared(journal_with(tmp_path / "a", back), from_paper=True)
    with pytest.raises(InputImpossible, match="states no temperature"):
        compared(journal_with(tmp_path / "b", [paper("trigger", 83.0, celsius=None), *back]), from_paper=True)
