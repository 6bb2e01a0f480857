"""kill -9 of the whole daemon at random instants: journal, CSV and subscriber agree, units go on."""

import pytest

from tests.brokers import needs_mosquitto
from tests.killed_benches import KilledBench


@needs_mosquitto
@pytest.mark.timeout(900)
@pytest.mark.parametrize("kills", [5, pytest.param(12, marks=pytest.mark.long)])
async def test_kills_lose_nothing(tmp_path, kills):
    """The short form; five hundred in tests/benchmarks/kills.py."""
    counts = await KilledBench(tmp_path, seed=5).live(kills)

    assert counts.kills >= kills
    assert counts.verdicts >= kills * 2 // 3, "too little work to prove anything"
    assert counts.results >= kills * 2 // 3, "too little typed to prove anything"
    assert counts.resumed >= kills // 5
