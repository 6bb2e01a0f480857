"""Laws of the decision rules, for any value, limits and uncertainty."""

import math

from hypothesis import assume, given
from hypothesis import strategies as st

from acquire.physics.laws import Law
from acquire.records import Limits, Outcome, Rule
from acquire.verdict.guard import conformance_probability, decide

WORST_FIRST = [Outcome.FAIL, Outcome.CONDITIONAL_FAIL, Outcome.CONDITIONAL_PASS, Outcome.PASS]
values = st.floats(50.0, 150.0)
limits = st.tuples(st.floats(60.0, 99.0), st.floats(101.0, 140.0)).map(lambda pair: Limits(*pair))
us = st.floats(1e-3, 20.0)
laws = st.builds(
    Law,
    st.floats(0.0, 10.0),
    st.floats(1e-3, 10.0),
)
rules = st.sampled_from([Rule.SIMPLE, Rule.GUARD_BAND, Rule.ISO_14253_1, Rule.NON_BINARY])


def judged(value, u, within, rule, **more):
    return decide(value, u, 1.96 * u, within, rule, **more)


@given(values, us, limits)
def test_a_pass_with_a_guard_band_is_also_a_simple_pass(value, u, within):
    for rule in (Rule.GUARD_BAND, Rule.ISO_14253_1, Rule.NON_BINARY):
        if judged(value, u, within, rule).outcome is Outcome.PASS:
            assert judged(value, u, within, Rule.SIMPLE).outcome is Outcome.PASS


@given(values, us, limits)
def test_a_pass_with_the_whole_guard_band_risks_less_than_2_5_percent_a_side(value, u, within):
    got = judged(value, u, within, Rule.GUARD_BAND)
    if got.outcome is Outcome.PASS:
        assert got.conformance_probability >= 0.95 - 1e-9


@given(values, us, limits, rules)
def test_the_mirror_image_gets_the_same_verdict(value, u, within, rule):
    mirrored = Limits(200.0 - within.upper_ohm, 200.0 - within.lower_ohm)
    distances = [
        abs(abs(value - limit) - w)
        for limit in (within.lower_ohm, within.upper_ohm)
        for w in (0.0, 1.645 * u, 1.96 * u)
    ]
    assume(min(distances) > 1e-9)
    a, b = judged(value, u, within, rule), judged(200.0 - value, u, mirrored, rule)
    assert a.outcome is b.outcome
    assert math.isclose(a.conformance_probability, b.conformance_probability, abs_tol=1e-9)


@given(values, us, limits, rules, st.floats(1e-3, 1e3))
def test_ohms_or_kiloohms_make_no_difference(value, u, within, rule, scale):
    distances = [
        abs(abs(value - limit) - w)
        for limit in (within.lower_ohm, within.upper_ohm)
        for w in (0.0, 1.645 * u, 1.96 * u)
    ]
    assume(min(distances) > 1e-9 and abs(1.96 * u - within.width_ohm / 2) > 1e-9)
    scaled = Limits(within.lower_ohm * scale, within.upper_ohm * scale)
    assert judged(value, u, within, rule).outcome is judged(value * scale, u * scale, scaled, rule).outcome


@given(values, st.floats(0.0, 20.0), us, limits, rules)
def test_nearer_to_the_middle_is_never_worse(value, nearer, u, within, rule):
    middle = (within.lower_ohm + within.upper_ohm) / 2
    assume(1.96 * u <= within.width_ohm / 2)
    inner = value + math.copysign(min(nearer, abs(middle - value)), middle - value)
    outer_rank, inner_rank = (WORST_FIRST.index(judged(v, u, within, rule).outcome) for v in (value, inner))
    assert inner_rank >= outer_rank
    assert (
        judged(inner, u, within, rule).conformance_probability
        >= judged(value, u, within, rule).conformance_probability - 1e-9
    )


@given(values, limits, laws)
def test_conformance_probability_is_the_complement_of_both_tails(value, within, law):
    inside = conformance_probability(value, within, law)
    below = conformance_probability(value, Limits(None, within.lower_ohm), law)
    above = conformance_probability(value, Limits(within.upper_ohm, None), law)
    assert math.isclose(inside + below + above, 1.0, abs_tol=1e-9)


@given(values, us, limits, st.floats(0.001, 0.4))
def test_a_pass_never_carries_more_than_the_stated_risk(value, u, within, risk):
    got = judged(value, u, within, Rule.MAXIMUM_RISK, maximum_risk=risk)
    if got.outcome is Outcome.PASS:
        assert 1.0 - got.conformance_probability <= risk
    assert got.outcome in (Outcome.PASS, Outcome.FAIL, Outcome.CANNOT_JUDGE)


@given(us, limits, rules)
def test_a_meter_too_poor_never_passes_anything(u, within, rule):
    assume(1.96 * u > within.width_ohm / 2)
    for value in (within.lower_ohm, 100.0, within.upper_ohm):
        assert judged(value, u, within, rule).outcome is Outcome.CANNOT_JUDGE
