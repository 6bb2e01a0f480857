"""The short form of the decision-risk benchmark, tests/benchmarks/decision_risk.py, so that it never rots."""

import math

import pytest

from tests.benchmarks.decision_risk import BENCHES, RULES, integrals, run

UNITS = 1500


@pytest.mark.parametrize("bench", BENCHES[:3], ids=lambda bench: bench.name.split(":")[0])
def test_counts_agree_with_the_jcgm_106_integral_and_the_interval_covers(bench):
    """JCGM 106:2012, 9.5: counts within 4.5 standard errors of the integral; coverage within 4 of 95 %."""
    tally = run(bench, UNITS, seed=7)
    assert abs(tally.covered / UNITS - 0.95) < 4 * math.sqrt(0.95 * 0.05 / UNITS)
    for rule in RULES:
        consumer, producer = integrals(bench, tally.guards_ohm[rule])
        for count, expected in ((tally.false_accepts[rule], consumer), (tally.false_rejects[rule], producer)):
            error = math.sqrt(max(expected, 1.0 / UNITS) / UNITS)
            assert abs(count / UNITS - expected) < 4.5 * error, rule
