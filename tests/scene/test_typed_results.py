"""Results that a person types in at the bench: judged where a rule exists, else kept as stated."""

from __future__ import annotations

import math
from dataclasses import replace

import pytest

from acquire.records import (
    Isolation,
    Judged,
    Notice,
    Outcome,
    Pair,
    Purpose,
    ResultKind,
    Step,
    StepKind,
    TypedResult,
    TypeResult,
    UnitResult,
)
from acquire.verdict.typed import Habit
from acquire.words.beside import typed_reason
from acquire.words.notices import said
from acquire.words.units import TURN_FAULTS, findings_words, missing_words
from drivers.reading import Quantity
from tests.pure_bench import GOOD, Bench

GROUPS = (("1", "2", "3"), ("CORE", "4", "5", "6"))
RULE = Isolation(GROUPS, 500.0, 50e6, 5e6)


def bench_for(purpose=Purpose.FINAL, celsius=20.0, **changes):
    """A bench for new units, with one unit on it."""
    bench = Bench(celsius=celsius, **changes)
    bench.pipeline.place = bench.pipeline.duties.place = replace(bench.pipeline.place, purpose=purpose)
    bench.begin()
    return bench


def typed(bench, text):
    """Type a result; gives its record."""
    new = bench.command(TypeResult(text))
    return next(event for event in new if isinstance(event, TypedResult))


def refusal(bench, text):
    """Type a result that is refused; gives the sentence."""
    new = bench.command(TypeResult(text))
    assert not any(isinstance(event, TypedResult) for event in new)
    return said(next(event for event in new if isinstance(event, Notice)))


def test_a_unit_says_what_nobody_has_tested_and_passes_its_ohms_all_the_same():
    """The isolation rule of the sheet, by its groups and its voltage."""
    result_of = bench_for()
    result = result_of.work_through(GOOD)
    assert result.outcome is Outcome.PASS
    assert missing_words(result) == ("not tested: insulation 1,2,3 to CORE,4,5,6 at 500 V", TURN_FAULTS)


def test_typed_insulation_is_judged_by_the_sheet_and_no_longer_missing():
    """120 megohm at 500 V with a 5 % instrument, 50 are asked for."""
    bench = bench_for()
    record = typed(bench, "insulation = 120 Mohm, 500 V, 21 °C, by IR-2, accuracy 5 %")
    assert record.outcome is Outcome.PASS
    assert (record.name, record.result_kind) == (RULE.name, ResultKind.INSULATION)
    assert (record.value_si, record.test_volt, record.celsius) == (120e6, 500.0, 21.0)
    assert (record.instrument, record.correction, record.lower_si) == ("IR-2", "none", 50e6)
    result = bench.work_through(GOOD)
    assert (result.outcome, missing_words(result)) == (Outcome.PASS, (TURN_FAULTS,))


def test_bad_insulation_fails_a_unit_whose_ohms_are_good():
    """3 megohm where 50 are asked for; the finding says so."""
    bench = bench_for()
    typed(bench, "insulation = 3 Mohm, 500 V, accuracy 5 %")
    result = bench.work_through(GOOD)
    assert result.outcome is Outcome.FAIL
    assert any("insulation" in finding for finding in findings_words(result))
    assert {j.verdict.outcome for j in bench.of(Judged)} == {Outcome.PASS}


def test_units_that_come_in_are_held_against_the_lower_limit():
    """12 megohm: enough for a core that comes in, not for a new winding."""
    line = "insulation = 12 Mohm, 500 V, accuracy 5 %"
    assert typed(bench_for(Purpose.INCOMING), line).outcome is Outcome.PASS
    assert typed(bench_for(Purpose.FINAL), line).outcome is Outcome.FAIL


def test_the_thermoplastic_rule_is_on_the_record_by_its_name():
    """At 20 °C two halvings from 40 °C: 120 megohm count as 30, too few for 50 (IEEE 43-2013, quoted)."""
    rule = replace(RULE, correction="thermoplastic")
    bench = bench_for(isolations=(rule,))
    record = typed(bench, "insulation = 120 Mohm, 500 V, 20 °C, accuracy 5 %")
    assert record.correction == "thermoplastic"
    assert (record.reference_si, record.reference_celsius) == (pytest.approx(30e6), 40.0)
    assert record.outcome is Outcome.FAIL


def test_a_named_table_of_the_shop_corrects_less():
    """A thermosetting table: factor 0.76 at 20 °C gives 91 megohm, a pass."""
    rule = replace(
        RULE, correction="epoxy", factors=((10.0, 0.66), (20.0, 0.76), (40.0, 1.0)), factors_source="maker"
    )
    record = typed(bench_for(isolations=(rule,)), "insulation = 120 Mohm, 500 V, 20 °C, accuracy 5 %")
    assert record.correction == "epoxy"
    assert record.reference_si == pytest.approx(0.76 * 120e6)
    assert record.outcome is Outcome.PASS


def test_the_temperature_of_the_bench_serves_where_none_is_typed():
    """The thermometer reads 30 °C: one halving."""
    bench = bench_for(celsius=30.0, isolations=(replace(RULE, correction="thermoplastic"),))
    record = typed(bench, "insulation = 120 Mohm, 500 V, accuracy 5 %")
    assert (record.celsius, record.reference_si) == (30.0, pytest.approx(60e6))


def test_more_than_proves_a_pass_or_nothing():
    """ ">200 Mohm" passes 50; ">20 Mohm" leaves the question open."""
    assert typed(bench_for(), "insulation = >200 Mohm, 500 V, accuracy 5 %").outcome is Outcome.PASS
    assert typed(bench_for(), "insulation = >20 Mohm, 500 V, accuracy 5 %").outcome is Outcome.CANNOT_JUDGE


def test_a_low_test_voltage_proves_nothing_for_a_high_one():
    """A hand meter's few volts find no carbon track (common practice, no source); a fail is still a fail."""
    record = typed(bench_for(), "insulation = 900 Mohm, 9 V, accuracy 5 %")
    assert record.outcome is Outcome.CANNOT_JUDGE
    assert "9 V only" in typed_reason(record)
    assert typed(bench_for(), "insulation = 1 Mohm, 9 V, accuracy 5 %").outcome is Outcome.FAIL


def test_without_an_accuracy_nothing_is_judged_unless_the_bench_knows_its_instrument():
    """Typed each time, or once in the bench file."""
    bench = bench_for()
    assert typed(bench, "insulation = 120 Mohm, 500 V").outcome is Outcome.CANNOT_JUDGE
    bench.pipeline.duties.habit = Habit("IR-2", 0.05)
    record = typed(bench, "insulation = 120 Mohm, 500 V")
    assert (record.outcome, record.instrument) == (Outcome.PASS, "IR-2")


def test_inductance_is_judged_against_a_golden_unit():
    """1 turn in 230 shorted: L falls by 3.9 %, Q by 22 % (facts of the trade, computed)."""
    bench = bench_for()
    good = typed(bench, "L lighting = 1.59 mH, 1 kHz, against 1.6 mH, within 3 %, accuracy 0.5 %")
    assert (good.outcome, good.deviation) == (Outcome.PASS, pytest.approx(-0.00625))
    # both measured within 0.5 %, rectangular: JCGM 100:2008, 4.3.7 and 5.1.6
    assert good.expanded_si == pytest.approx(1.96 * math.sqrt(2.0 / 3.0) * 0.005 * 1.6e-3, rel=0.02)
    low = typed(bench, "L lighting = 1.538 mH, 1 kHz, against 1.6 mH, within 3 %, accuracy 0.5 %")
    assert low.outcome in (Outcome.FAIL, Outcome.CONDITIONAL_FAIL)
    quality = typed(bench, "Q lighting = 3.1, 1 kHz, against 4.0, within 10 %, accuracy 2 %")
    assert (quality.result_kind, quality.outcome) == (ResultKind.QUALITY, Outcome.FAIL)
    assert bench.work_through(GOOD).outcome is Outcome.FAIL


def test_a_sister_coil_of_the_same_unit_may_be_the_pattern():
    """By the name it was typed under; another frequency is refused."""
    bench = bench_for()
    typed(bench, "L P1 = 6.02 H, 100 Hz")
    record = typed(bench, "L P2 = 5.98 H, 100 Hz, against L P1, within 3 %, accuracy 0.5 %")
    assert (record.pattern, record.pattern_si, record.outcome) == ("L P1", 6.02, Outcome.PASS)
    assert "100 Hz" in refusal(bench, "L P2 = 5.98 H, 1 kHz, against L P1, within 3 %, accuracy 0.5 %")
    assert "Type it first" in refusal(bench, "L P2 = 5.98 H, 100 Hz, against L P9, within 3 %")


def test_a_higher_q_and_a_lower_loss_are_no_faults():
    """Shorted turns lower the one and raise the other."""
    bench = bench_for()
    assert typed(bench, "Q = 6, 1 kHz, against 4, within 10 %, accuracy 1 %").outcome is Outcome.PASS
    assert typed(bench, "loss = 0.1, 1 kHz, against 0.2, within 10 %, accuracy 1 %").outcome is Outcome.PASS
    assert typed(bench, "loss = 0.4, 1 kHz, against 0.2, within 10 %, accuracy 1 %").outcome is Outcome.FAIL


def test_an_inductance_without_a_pattern_is_recorded_and_not_judged():
    """An inductance depends on iron and mounting: there is no catalogue value to hold it against."""
    record = typed(bench_for(), "L slow charge = 855 mH, 1 kHz")
    assert (record.outcome, record.value_si, record.unit) == (None, pytest.approx(0.855), "H")


def test_surge_and_hipot_are_recorded_as_the_person_says():
    """The outcome is stated, and the record says that it is."""
    bench = bench_for()
    surge = typed(bench, "surge = no difference seen, pass, by S-1")
    assert (surge.outcome, surge.stated, surge.instrument) == (Outcome.PASS, True, "S-1")
    polarity = typed(bench, "polarity = P1 and P2 opposing, fail")
    assert (polarity.outcome, polarity.stated) == (Outcome.FAIL, True)
    assert typed(bench, "hipot = 1500 V").outcome is None
    assert bench.work_through(GOOD).outcome is Outcome.FAIL


def test_a_typed_step_is_asked_for_by_its_name_and_has_its_own_limits():
    """kind = "typed" on the sheet, with lower and upper."""
    sheet_steps = Bench().pipeline.place.sheet.steps
    air = Step("air gap shim", Pair("4", "6"), StepKind.TYPED, lower_ohm=1.0, upper_ohm=2.0)
    core = Step("trigger to core", Pair("1", "CORE"), StepKind.TYPED, Quantity.INSULATION, lower_ohm=50e6)
    bench = bench_for(steps=(*sheet_steps, air, core), isolations=())
    assert typed(bench, "Air gap shim = 1.5 ohm, accuracy 1 %").outcome is Outcome.PASS
    assert typed(bench, "air gap shim = 2.5 ohm, accuracy 1 %").outcome is Outcome.FAIL
    assert typed(bench, "air gap shim = 1.5 ohm").outcome is Outcome.CANNOT_JUDGE
    assert missing_words(bench.work_through(GOOD)) == ("not tested: trigger to core", TURN_FAULTS)


@pytest.mark.parametrize(
    ("line", "outcome", "ohm"),
    [
        ("trigger = 83.2 ohm, 20 °C, accuracy 1 %", Outcome.PASS, 83.2),
        ("Trigger = 86 ohm, 28 °C, accuracy 1 %", Outcome.PASS, 86.0 * 254.5 / 262.5),
        ("trigger = 120 ohm, 20 °C, accuracy 1 %", Outcome.FAIL, 120.0),
        ("trigger = 83.2 ohm, 20 °C, accuracy 30 %", Outcome.CANNOT_JUDGE, 83.2),
        ("trigger = 83.2 ohm, 20 °C", Outcome.CANNOT_JUDGE, 83.2),
    ],
)
def test_typed_ohms_of_a_winding_are_judged_by_its_limits(line, outcome, ohm):
    """At the reference temperature; without an accuracy nothing can be said, and limits there are."""
    result = typed(bench_for(), line)
    assert (result.outcome, result.result_kind) == (outcome, ResultKind.RESISTANCE)
    assert result.reference_si == pytest.approx(ohm)
    assert result.lower_si < 83.2 < result.upper_si


@pytest.mark.parametrize(
    "line",
    [
        "surge = pass",
        "L slow = 0.86 H, 1 kHz, accuracy 1 %, against 0.86 H, within 3 %",
        "Q slow = 4.3, 1 kHz, accuracy 1 %, against 4.4, within 20 %",
    ],
)
def test_a_pass_in_ohms_says_what_it_does_not_exclude_until_something_else_can(line):
    """One shorted turn of 2400 is 0.04 % of direct current's ohms (a fact of the trade, computed)."""
    result = bench_for().work_through(GOOD)
    assert TURN_FAULTS in missing_words(result)
    bench = bench_for()
    typed(bench, line)
    result = bench.work_through(GOOD)
    assert result.outcome is Outcome.PASS
    assert TURN_FAULTS not in missing_words(result)


def test_what_was_only_recorded_excludes_nothing():
    """An inductance without anything to hold it against."""
    bench = bench_for()
    typed(bench, "L slow = 0.86 H, 1 kHz")
    assert TURN_FAULTS in missing_words(bench.work_through(GOOD))


def test_a_unit_that_fails_is_not_told_that_a_pass_proves_little():
    """It has other troubles."""
    bench = bench_for()
    typed(bench, "insulation = 3 Mohm, 500 V, accuracy 5 %")
    assert TURN_FAULTS in missing_words(bench.work_through(GOOD)), "its ohms passed all the same"
    assert TURN_FAULTS not in missing_words(
        bench_for().work_through({**GOOD, ("1", "2"): 120.0, ("1", "3"): 166.0})
    )


def test_a_result_that_comes_after_the_unit_belongs_to_the_unit_that_left():
    """Insulation is often measured last, on another place of the bench."""
    bench = bench_for()
    bench.work_through(GOOD)
    assert typed(bench, "insulation = 120 Mohm, 500 V, accuracy 5 %").serial == "A1"


@pytest.mark.parametrize(
    ("text", "said"),
    [
        ("insulation = 120 Mohm", "test voltage"),
        ("insulation = 120 mH, 500 V", "is a resistance"),
        ("insulation 3 = 120 Mohm, 500 V", "no insulation of this sheet"),
        ("insulation = 120 Mohm, 500 V, rule guess", "no temperature rule"),
        ("insulation = 1,2 Mohm, 500 V", "means nothing"),
        ("insulation = 12 Mohn, 500 V", "is no value"),
        ("insulation = 12 Mohm, 500 V, 400 V", "second time"),
        ("= 12 Mohm", "is no result"),
        ("surge =", "is no result"),
        ("L = 1 mH, 1 kHz, against 1 mH", "tolerance"),
        ("L = 1 mH, 1 kHz, against 5 ohm, within 3 %", "another quantity"),
        ("L = 1 mH, 1 kHz, within much", "within much"),
    ],
)
def test_what_cannot_be_understood_is_refused_in_words(text, said):
    """Nothing goes on the record, and the sentence says what to write."""
    assert said in refusal(bench_for(), text)


def test_before_any_unit_nobody_knows_whose_result_it_is():
    """Scan first."""
    assert "Scan its serial first" in refusal(Bench(), "surge = fine, pass")


def test_the_word_alone_shows_what_is_wanted_and_what_to_mind():
    """Limits, cautions, and how to write it."""
    said = refusal(bench_for(), "")
    assert "insulation 1,2,3 to CORE,4,5,6" in said
    assert "hands off" in said
    assert "accuracy 5 %" in said


def test_of_two_results_of_one_name_the_later_counts():
    """Measured again after baking: both are kept, the unit passes."""
    bench = bench_for()
    typed(bench, "insulation = 3 Mohm, 500 V, accuracy 5 %")
    typed(bench, "insulation = 300 Mohm, 500 V, accuracy 5 %")
    assert bench.work_through(GOOD).outcome is Outcome.PASS
    assert len(bench.of(TypedResult)) == 2
    assert len(bench.of(UnitResult)) == 1


def test_a_dead_short_is_a_result_and_fails():
    """The instrument shows 0.00 megohm: no refusal, a fail, whatever rule or accuracy."""
    rule = replace(RULE, correction="thermoplastic")
    record = typed(bench_for(isolations=(rule,)), "insulation = 0 Mohm, 500 V, 20 °C")
    assert (record.outcome, record.value_si) == (Outcome.FAIL, 0.0)
