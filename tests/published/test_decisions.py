"""Decision rules and conformance probabilities against JCGM 106, ILAC-G8 and ISO 14253-1."""

import math

import numpy as np
import pytest

from acquire.physics.laws import Law, normal_quantile
from acquire.records import Limits, Outcome, Rule
from acquire.verdict.guard import conformance_probability, decide, guard_band_ohm
from tests.later import integrate, stats


def normal(u):
    return Law(0.0, u)


def test_jcgm_106_7_4_two_sided_tolerance():
    """JCGM 106:2012, 7.4: y 13.6, u 1.8, limits 12.5 and 16.3: p_c = 0.66 (published value from memory).
    1e-4."""
    assert conformance_probability(13.6, Limits(12.5, 16.3), normal(1.8)) == pytest.approx(0.6626, abs=1e-4)


def test_jcgm_106_zener_and_speed_trap():
    """JCGM 106:2012: Zener -5.47 V, u 0.05, limit -5.40: p_c 0.92; 100 km/h with u 2 %: 107 km/h for 99.9 %
    (from memory)."""
    assert conformance_probability(-5.47, Limits(None, -5.40), normal(0.05)) == pytest.approx(
        0.9192, abs=1e-4
    )
    speed = 100.0 / (1.0 - 0.02 * normal_quantile(0.999))
    assert speed == pytest.approx(106.59, abs=0.01)
    assert round(speed) == 107
    over = conformance_probability(speed, Limits(100.0, None), normal(0.02 * speed))
    assert over == pytest.approx(0.999, abs=1e-6)


@pytest.mark.parametrize(("p", "z"), [(0.80, 0.84), (0.90, 1.28), (0.95, 1.64), (0.99, 2.33), (0.999, 3.09)])
def test_jcgm_106_table_1(p, z):
    """JCGM 106:2012, table 1 (from memory)."""
    assert normal_quantile(p) == pytest.approx(z, abs=5.1e-3)


@pytest.mark.parametrize(
    ("share", "stated"), [(0.0, 0.5), (0.83, 0.05), (1.0, 0.025), (1.5, 0.0016), (3.0, 1e-6)]
)
def test_ilac_g8_risk_at_the_acceptance_limit(share, stated):
    """ILAC-G8:09/2019, table 1: the risk of a value just accepted, one limit, k = 2: <= 50 %, < 5 %, < 2.5 %,
    < 0.16 %, < 1 ppm. A unit measured at limit - share U conforms with at least the complement."""
    u, limit = 0.5, 100.0
    at = limit - share * 2.0 * u
    risk = conformance_probability(at, Limits(limit, None), normal(u))
    assert risk <= stated
    assert risk == pytest.approx(stats.norm.sf(2.0 * share), rel=1e-9)


def test_ilac_g8_named_rules_accept_up_to_tl_minus_w():
    """ILAC-G8:09/2019, 4.2: AL = TL - w; simple w = 0, G8:2009 w = U, ISO 14253-1 w = 0.83 U (with k = 2)."""
    law = normal(0.5)
    for rule, w in (
        (Rule.SIMPLE, 0.0),
        (Rule.GUARD_BAND, 1.0),
        (Rule.ISO_14253_1, 0.83),
        (Rule.NON_BINARY, 1.0),
    ):
        assert guard_band_ohm(rule, 1.0, law) == pytest.approx(w)
        limits = Limits(90.0, 110.0)
        assert decide(110.0 - w - 1e-9, 0.5, 1.0, limits, rule).outcome is Outcome.PASS
        assert decide(110.0 - w + 1e-9, 0.5, 1.0, limits, rule).outcome is not Outcome.PASS


def test_ilac_g8_non_binary_zones():
    """ILAC-G8:09/2019, 4.2.3: pass | conditional pass | conditional fail | fail at TL - w, TL, TL + w."""
    zones = [
        decide(x, 0.5, 1.0, Limits(90.0, 110.0), Rule.NON_BINARY).outcome
        for x in (108.9, 109.5, 110.5, 111.1)
    ]
    assert zones == [Outcome.PASS, Outcome.CONDITIONAL_PASS, Outcome.CONDITIONAL_FAIL, Outcome.FAIL]


def test_a_worked_guard_band_of_20_percent():
    """A laboratory's note on ILAC-G8: 0.5 ohm tolerance, 20 % guard band, accept within +-0.4 ohm."""
    limits = Limits(-0.5, 0.5)
    assert decide(0.399, 0.05, 0.1, limits, Rule.GUARD_BAND).outcome is Outcome.PASS
    assert decide(0.401, 0.05, 0.1, limits, Rule.GUARD_BAND).outcome is Outcome.FAIL


@pytest.mark.parametrize(
    ("guard", "consumer", "producer"),
    [(0.0, 0.018942, 0.037208), (0.02, 0.009878, 0.069027), (0.04, 0.004334, 0.114657)],
)
def test_global_risks_of_jcgm_106_9_5(guard, consumer, producer):
    """JCGM 106:2012, 9.5 by quadrature (no published pair could be read; a cross-check of two integrations
    only): T = +-0.2, u0 = 0.12, um = 0.04. Our conformance probability under scipy's integral over measured
    values, with the unit's prior folded in as 9.5 does."""
    u0, um = 0.12, 0.04
    shrink = u0**2 / (u0**2 + um**2)
    posterior = normal(um * math.sqrt(shrink))
    spread = math.hypot(u0, um)

    def accepted_bad(y):
        return (1.0 - conformance_probability(shrink * y, Limits(-0.2, 0.2), posterior)) * stats.norm.pdf(
            y, 0, spread
        )

    def rejected_good(y):
        return conformance_probability(shrink * y, Limits(-0.2, 0.2), posterior) * stats.norm.pdf(
            y, 0, spread
        )

    edge = 0.2 - guard
    assert integrate.quad(accepted_bad, -edge, edge, epsabs=1e-10)[0] == pytest.approx(consumer, abs=2e-6)
    outside = 2 * integrate.quad(rejected_good, edge, 1.0, epsabs=1e-10)[0]
    assert outside == pytest.approx(producer, abs=2e-6)


def test_conformance_probability_agrees_with_simulation_for_a_coarse_display():
    """JCGM 106, 7: with a rectangular law the normal integral is wrong; a simulation (numpy, seeded) says by
    how much."""
    law = Law(half_width=0.5, normal_u=0.05)
    dice = np.random.default_rng(9)
    errors = dice.uniform(-0.5, 0.5, 400_000) + dice.normal(0, 0.05, 400_000)
    for value in (9.2, 9.6, 9.9):
        simulated = np.mean(np.abs(value + errors) <= 10.0)
        assert conformance_probability(value, Limits(-10.0, 10.0), law) == pytest.approx(simulated, abs=0.003)
    assert abs(stats.norm.cdf(0.4 / math.hypot(0.5 / math.sqrt(3.0), 0.05)) - law.cdf(0.4)) > 0.005
