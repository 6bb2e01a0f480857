"""What tests of single modules share; a module that wants them otherwise has its own."""

import pytest

from acquire.clock import HandClock
from acquire.journal.store import Journal


@pytest.fixture
async def journal(tmp_path):
    """An open journal of the bench "b"."""
    opened = Journal.open(tmp_path / "journal", bench="b", clock=HandClock())
    yield opened
    await opened.close()


@pytest.fixture
def folder(tmp_path):
    """Where CSV files go."""
    return tmp_path / "csv"
