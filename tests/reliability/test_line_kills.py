"""kill -9 of collectors, broker and database at random instants: every entry once in the end.

The short form of `make line-demo`: real mosquitto, real PostgreSQL, real `steadyohm collect`, real journals.
"""

import shutil
import tempfile
from pathlib import Path

import pytest

from tests.benchmarks.line_hostile import campaign
from tests.brokers import needs_mosquitto
from tests.postgres import needs_postgres
from tests.whole_line import WholeLine, good

pytestmark = [needs_mosquitto, needs_postgres]


def test_everything_that_benches_recorded_is_in_the_database_exactly_once():
    """Six benches, two collectors, five kills."""
    folder = Path(tempfile.mkdtemp(prefix="steadyohm-line-"))
    folder.chmod(0o755)  # the database's user must get in
    try:
        line = WholeLine(folder, benches=6, collectors=2, kills=5, seconds=6.0, processes=2, seed=11)
        figures = line.run()
    finally:
        shutil.rmtree(folder, ignore_errors=True)

    assert good(figures), figures
    assert figures["entries"] > 80
    assert figures["kills"] == {"broker": 2, "collector": 2, "database": 1}


@pytest.mark.long
@pytest.mark.timeout(600)
def test_fifty_benches_and_three_collectors():
    """As `make line-demo` shows it."""
    folder = Path(tempfile.mkdtemp(prefix="steadyohm-line-"))
    folder.chmod(0o755)
    try:
        figures = WholeLine(folder, kills=40, seconds=120.0, seed=23).run()
    finally:
        shutil.rmtree(folder, ignore_errors=True)

    assert good(figures), figures


@pytest.mark.long
@pytest.mark.timeout(300)
def test_one_hostile_bench_costs_the_other_forty_nine_nothing():
    """All their verdicts are in the database as sent; what it costs in time is measured by the benchmark."""
    figures = campaign(1000, 1)
    rejected = figures["one hostile"][0][2]
    assert rejected >= 12
    assert figures["honest"][0][2] == 0
