"""Decision rules: the same value judged by each, and the refusals."""

import math

import pytest

from acquire.errors import InputImpossible
from acquire.physics.laws import Law
from acquire.records import Limits, Outcome, Rule
from acquire.verdict.guard import conformance_probability, decide, guard_band_ohm

LIMITS = Limits(95.0, 105.0)
U = 1.0
u = U / 1.959964


def outcome(value, rule, limits=LIMITS, **more):
    return decide(value, u, U, limits, rule, **more).outcome


@pytest.mark.parametrize(
    ("value", "simple", "guarded", "iso", "zones"),
    [
        (100.0, "pass", "pass", "pass", "pass"),
        (104.0, "pass", "pass", "pass", "pass"),
        (104.1, "pass", "fail", "pass", "conditional_pass"),
        (104.17, "pass", "fail", "conditional_pass", "conditional_pass"),
        (105.0, "pass", "fail", "conditional_pass", "conditional_pass"),
        (105.01, "fail", "fail", "conditional_fail", "conditional_fail"),
        (105.9, "fail", "fail", "fail", "conditional_fail"),
        (106.01, "fail", "fail", "fail", "fail"),
        (95.5, "pass", "fail", "conditional_pass", "conditional_pass"),
        (94.5, "fail", "fail", "conditional_fail", "conditional_fail"),
        (93.0, "fail", "fail", "fail", "fail"),
    ],
)
def test_each_rule_draws_its_own_line(value, simple, guarded, iso, zones):
    assert outcome(value, Rule.SIMPLE) == simple
    assert outcome(value, Rule.GUARD_BAND) == guarded
    assert outcome(value, Rule.ISO_14253_1) == iso
    assert outcome(value, Rule.NON_BINARY) == zones


def test_a_stated_maximum_risk_passes_up_to_that_risk():
    edge = 105.0 - 2.326348 * u
    assert outcome(edge - 0.001, Rule.MAXIMUM_RISK, maximum_risk=0.01) is Outcome.PASS
    assert outcome(edge + 0.001, Rule.MAXIMUM_RISK, maximum_risk=0.01) is Outcome.FAIL


def test_the_guard_band_of_each_rule():
    law = Law(0.0, 0.5)
    assert guard_band_ohm(Rule.SIMPLE, 1.0, law) == 0.0
    assert guard_band_ohm(Rule.GUARD_BAND, 1.0, law) == 1.0
    assert guard_band_ohm(Rule.ISO_14253_1, 1.0, law) == pytest.approx(0.83)
    assert guard_band_ohm(Rule.MAXIMUM_RISK, 1.0, law, 0.5) == pytest.approx(0.0, abs=1e-12)
    assert guard_band_ohm(Rule.MAXIMUM_RISK, 1.0, law, 0.01) == pytest.approx(0.5 * 2.326348)
    assert guard_band_ohm(Rule.MAXIMUM_RISK, 1.0, law, 0.9) == 0.0


def test_the_iso_guard_band_keeps_95_percent_for_a_rectangular_law_too():
    law = Law(1.0, 0.0)
    band = guard_band_ohm(Rule.ISO_14253_1, 0.95, law)
    assert law.cdf(band) >= 0.95 - 1e-12


@pytest.mark.parametrize("rule", [r for r in Rule if r is not Rule.MAXIMUM_RISK])
def test_a_meter_whose_uncertainty_exceeds_the_tolerance_cannot_judge(rule):
    hand = decide(0.44, 0.3, 0.5, Limits(0.4228, 0.458), rule)
    assert hand.outcome is Outcome.CANNOT_JUDGE


def test_even_a_poor_meter_proves_what_is_far_outside():
    assert decide(100.0, 0.3, 0.5, Limits(0.4228, 0.458), Rule.NON_BINARY).outcome is Outcome.FAIL


def test_a_stated_risk_that_even_the_middle_exceeds_cannot_be_judged():
    tight = decide(100.0, u, U, Limits(98.9, 101.1), Rule.MAXIMUM_RISK, maximum_risk=0.01)
    assert tight.outcome is Outcome.CANNOT_JUDGE


def test_a_strap_is_judged_against_its_upper_limit_alone():
    strap = Limits(None, 0.05)
    assert decide(0.0133, 0.002, 0.004, strap, Rule.NON_BINARY).outcome is Outcome.PASS
    assert decide(0.0480, 0.002, 0.004, strap, Rule.NON_BINARY).outcome is Outcome.CONDITIONAL_PASS
    assert decide(0.0600, 0.002, 0.004, strap, Rule.NON_BINARY).outcome is Outcome.FAIL
    assert decide(0.0133, 0.2, 0.4, strap, Rule.NON_BINARY).outcome is Outcome.CANNOT_JUDGE
    assert decide(-0.001, 0.002, 0.004, strap, Rule.NON_BINARY).outcome is Outcome.PASS


def test_insulation_is_judged_against_its_lower_limit_alone():
    insulation = Limits(100e6, None)
    assert decide(500e6, 20e6, 40e6, insulation, Rule.NON_BINARY).outcome is Outcome.PASS
    assert decide(120e6, 20e6, 40e6, insulation, Rule.NON_BINARY).outcome is Outcome.CONDITIONAL_PASS
    assert decide(5e6, 0.2e6, 0.4e6, insulation, Rule.NON_BINARY).outcome is Outcome.FAIL


def test_tolerance_of_each_kind_of_limits():
    assert LIMITS.tolerance_ohm == 5.0
    assert Limits(None, 0.05).tolerance_ohm == 0.05
    assert math.isinf(Limits(5e6, None).tolerance_ohm)


def test_the_shape_that_is_carried_changes_the_probability():
    normal = decide(104.6, 0.5, 1.0, LIMITS, Rule.SIMPLE).conformance_probability
    rectangle = decide(
        104.6, 0.5, 1.0, LIMITS, Rule.SIMPLE, law=Law(0.5 * math.sqrt(3), 0.0)
    ).conformance_probability
    assert normal == pytest.approx(0.788145, abs=1e-6)
    assert rectangle == pytest.approx(0.5 + 0.4 / (2 * 0.5 * math.sqrt(3)), abs=1e-9)


def test_a_value_known_exactly_is_inside_or_outside():
    assert decide(100.0, 0.0, 0.0, LIMITS, Rule.NON_BINARY).conformance_probability == 1.0
    assert decide(105.1, 0.0, 0.0, LIMITS, Rule.NON_BINARY).outcome is Outcome.FAIL


def test_conformance_probability_never_leaves_0_to_1():
    assert conformance_probability(1e9, LIMITS, Law(0.0, 1.0)) == 0.0
    assert conformance_probability(100.0, Limits(None, 1e9), Law(0.0, 1.0)) == 1.0


@pytest.mark.parametrize(
    ("call", "sentence"),
    [
        (lambda: decide(1.0, 0.1, 0.2, Limits(None, None), Rule.SIMPLE), "no limit"),
        (lambda: decide(1.0, 0.1, 0.2, Limits(2.0, 1.0), Rule.SIMPLE), "lies above"),
        (lambda: decide(1.0, -0.1, 0.2, LIMITS, Rule.SIMPLE), "negative"),
        (lambda: decide(1.0, 0.1, float("nan"), LIMITS, Rule.SIMPLE), "finite number"),
        (lambda: decide(float("inf"), 0.1, 0.2, LIMITS, Rule.SIMPLE), "finite number"),
        (lambda: decide(1.0, 0.1, 0.2, Limits(float("nan"), 1.0), Rule.SIMPLE), "lower limit"),
        (lambda: decide(100.0, 0.1, 0.2, LIMITS, Rule.MAXIMUM_RISK), "no risk stated"),
        (lambda: decide(100.0, 0.1, 0.2, LIMITS, Rule.MAXIMUM_RISK, maximum_risk=5), "maximum risk"),
    ],
)
def test_what_cannot_be_is_refused_with_a_sentence(call, sentence):
    with pytest.raises(InputImpossible, match=sentence) as caught:
        call()
    assert caught.value.exit_code == 2
