"""kill -9 of the whole daemon at random instants: journal, CSV and subscriber agree, units go on."""

import pytest

from tests.brokers import needs_mosquitto
from tests.killed_benches import KilledBench


@needs_mosquitto
@pytest.mark.timeout(150)
async def test_a_dozen_kills_lose_nothing(tmp_path):
    """The short form; five hundred in tests/benchmarks/kills.py."""
    counts = await KilledBench(tmp_path, seed=5).live(12)

    assert counts.kills >= 12
    assert counts.verdicts >= 8, "too little work to prove anything"
    assert counts.results >= 8, "too little typed to prove anything"
    assert counts.resumed >= 2
