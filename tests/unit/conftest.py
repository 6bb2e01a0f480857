"""What tests of single modules share; a module that wants them otherwise has its own."""

import pytest

from acquire.clock import HandClock
from acquire.errors import FileInvalid
from acquire.journal.store import Journal
from acquire.sheets import load_sheet


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


@pytest.fixture
def sheet_from(tmp_path):
    """Compile a sheet from a text."""

    def compiled(text):
        path = tmp_path / "sheet.toml"
        path.write_text(text, encoding="utf-8")
        return load_sheet(path)

    return compiled


@pytest.fixture
def faults_of(sheet_from):
    """The faults of a text as (line, key, sentence)."""

    return lambda text: faults_told(sheet_from, text)


def faults_told(read, text):
    """The faults for which a text is refused, as (line, key, sentence)."""
    with pytest.raises(FileInvalid) as refused:
        read(text)
    return [(f.line, f.key, f"{f.what} {f.remedy}".strip()) for f in refused.value.faults]
