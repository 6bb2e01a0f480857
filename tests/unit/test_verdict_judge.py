"""The record of one judged step: what was decided, from what, by which files."""

from __future__ import annotations

import math
from dataclasses import fields, replace

import pytest

from acquire.records import (
    Basis,
    Circumstances,
    Fit,
    Limits,
    Match,
    Outcome,
    Pair,
    Purpose,
    Rule,
    Scope,
    Step,
    Term,
    Verdict,
)
from acquire.verdict.judge import AcceptanceCriteria, judge, judge_open, judge_repeat
from tests.known_sheets import PLOVER, corrected

PLACE = Circumstances(
    "bench-1", Purpose.FINAL, PLOVER, "m", "hand-2000", "mh", "bh", "test 1", "Ida", "lot 7"
)
STEP = Step("slow charge", Pair("1", "2"))
LIMITS = Limits(190.0, 215.0)
ASKED = AcceptanceCriteria(STEP, LIMITS, 202.5)
WITNESS = (Pair("1", "3"), Pair("2", "3"))
SERIAL = "P80-1"


def matched(ohm, u_ohm=0.1, fit=Fit.EXPECTED, **found):
    """A value, taken for the asked pair's."""
    value = replace(corrected(ohm, u_ohm), terms=(Term("meter accuracy", u_ohm),), coverage_factor=2.0)
    return Match(value, fit, STEP.pair, (), **found)


@pytest.mark.parametrize(
    ("ohm", "outcome"),
    [
        (202.0, Outcome.PASS),
        (190.1, Outcome.CONDITIONAL_PASS),
        (214.9, Outcome.CONDITIONAL_PASS),
        (189.9, Outcome.CONDITIONAL_FAIL),
        (215.1, Outcome.CONDITIONAL_FAIL),
        (170.0, Outcome.FAIL),
        (300.0, Outcome.FAIL),
    ],
)
def test_the_sheets_rule_decides(ohm, outcome):
    """Non-binary with a guard band of U (ILAC-G8:09/2019, 4.2.3): four words by distance from the limits."""
    verdict, _ = judge(matched(ohm), ASKED, SERIAL, PLACE)
    assert verdict.outcome is outcome
    assert verdict.basis is Basis.MEASURED
    assert (verdict.conformance_probability > 0.5) is (190.0 < ohm < 215.0)


def test_a_meter_too_poor_for_the_tolerance_cannot_judge():
    """Whatever it reads."""
    verdict, _ = judge(matched(202.0, 20.0), ASKED, SERIAL, PLACE)
    assert verdict.outcome is Outcome.CANNOT_JUDGE


def test_a_poor_meter_shows_continuity_where_the_step_allows_it_or_nothing():
    """220 ohm at most for continuity: shown of 150 ± 40, not of 200 ± 40."""
    asked = replace(ASKED, step=replace(STEP, continuity_ohm=220.0))
    shown, _ = judge(matched(150.0, 20.0), asked, SERIAL, PLACE)
    assert (shown.outcome, shown.scope, shown.upper_ohm) == (Outcome.PASS, Scope.CONTINUITY_ONLY, 220.0)
    unshown, _ = judge(matched(200.0, 20.0), asked, SERIAL, PLACE)
    assert (unshown.outcome, unshown.scope) == (Outcome.CANNOT_JUDGE, Scope.TOLERANCE)
    assert unshown.upper_ohm == LIMITS.upper_ohm


@pytest.mark.parametrize("rule", [Rule.SIMPLE, Rule.GUARD_BAND, Rule.ISO_14253_1])
def test_another_rule_says_another_word_near_a_limit(rule):
    """Simple acceptance takes no guard band; the others take it off or do not decide inside it."""
    place = replace(PLACE, sheet=replace(PLOVER, rule=rule))
    verdict, _ = judge(matched(190.1), ASKED, SERIAL, place)
    assert (verdict.outcome is Outcome.PASS) is (rule is Rule.SIMPLE)
    assert verdict.rule is rule


def test_the_record_says_who_what_and_with_which_files():
    """Everything that a certificate years later has to repeat."""
    match = matched(202.0, fit=Fit.AMBIGUOUS, reads_like=(Pair("1", "3"),), reads_through=("fast charge",))
    verdict, evidence = judge(match, ASKED, SERIAL, PLACE)
    assert (verdict.serial, verdict.settle_s) == (SERIAL, 1.0)
    assert (verdict.bench, verdict.operator, verdict.batch, verdict.software) == (
        "bench-1",
        "Ida",
        "lot 7",
        "test 1",
    )
    assert (verdict.sheet, verdict.sheet_hash) == (PLOVER.name, PLOVER.content_hash)
    assert (verdict.meter_model, verdict.meter_hash, verdict.bench_hash) == ("hand-2000", "mh", "bh")
    assert (verdict.step, verdict.pin_a, verdict.pin_b) == ("slow charge", "1", "2")
    assert (verdict.lower_ohm, verdict.upper_ohm, verdict.nominal_ohm) == (190.0, 215.0, 202.5)
    assert (verdict.fit, verdict.reads_like, verdict.reads_through) == (
        match.fit,
        match.reads_like,
        match.reads_through,
    )
    assert evidence.terms == match.corrected.terms
    assert all(getattr(verdict, field.name) is not ... for field in fields(Verdict))


def test_a_repeated_pair_is_not_judged_by_limits():
    """The first time did that; how far it has moved since is for the unit to say."""
    verdict, _ = judge_repeat(matched(202.0), STEP, SERIAL, PLACE)
    assert (verdict.basis, verdict.outcome) == (Basis.REPEATED, Outcome.CANNOT_JUDGE)
    assert verdict.lower_ohm is verdict.upper_ohm is None
    assert verdict.reference_ohm == 202.0


@pytest.mark.parametrize(("nominal", "outcome"), [(202.5, Outcome.FAIL), (math.inf, Outcome.PASS)])
def test_a_confirmed_open_pair_fails_where_a_winding_should_be(nominal, outcome):
    """And passes where nothing should be; there is no value, and the witness stands on record."""
    verdict, evidence = judge_open(
        AcceptanceCriteria(STEP, LIMITS, nominal),
        SERIAL,
        PLACE,
        5.0,
        basis=Basis.OPEN_PROVEN,
        witness=WITNESS,
    )
    assert (verdict.outcome, verdict.conformance_probability) == (
        outcome,
        0.0 if outcome is Outcome.FAIL else None,
    )
    assert verdict.reference_ohm is verdict.raw_ohm is verdict.expanded_ohm is None
    assert (verdict.basis, verdict.witness) == (Basis.OPEN_PROVEN, WITNESS)
    assert not evidence.trace
