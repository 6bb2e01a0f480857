"""One hostile bench among 50 on a line: the other 49 lose nothing. The benchmark says how quick they are."""

import statistics

import pytest

from tests.benchmarks.line_hostile import campaign
from tests.brokers import needs_mosquitto
from tests.postgres import needs_postgres


@needs_mosquitto
@needs_postgres
@pytest.mark.long
def test_one_hostile_bench_among_fifty_costs_the_others_nothing():
    """No verdict lost or changed (asserted on the way), everything hostile put aside, and no standstill."""
    found = campaign(2000, 3)
    rates = {kind: statistics.median(rate for rate, _, _ in turns) for kind, turns in found.items()}
    assert all(rejected > 0 for _, _, rejected in found["one hostile"])
    assert rates["one hostile"] > 0.7 * rates["honest"], rates
