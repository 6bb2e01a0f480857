"""Lines about batches, as typed at the bench."""

from __future__ import annotations

import pytest

from acquire.bench.keyboard import to_command
from acquire.errors import InputImpossible
from acquire.records import (
    AcceptFirstUnit,
    ChangeSpool,
    FinishBatch,
    OpenBatch,
    PauseBatch,
    ResumeBatch,
)


@pytest.mark.parametrize(
    ("line", "command"),
    [
        (".batch lot 12", OpenBatch("lot 12")),
        (".batch lot 12, 40 units", OpenBatch("lot 12", 40)),
        (".batch lot 12, 1 unit", OpenBatch("lot 12", 1)),
        (".batch lot 12, for Ida, 40 units, soon", OpenBatch("lot 12", 40, remark="for Ida, soon")),
        (".pause", PauseBatch()),
        (".pause night", PauseBatch("night")),
        (".resume", ResumeBatch()),
        (".resume lot 12", ResumeBatch("lot 12")),
        (".finish all good", FinishBatch("all good")),
        (".spool 36-B", ChangeSpool("36-B")),
        (".spool 36-B for P1, P2", ChangeSpool("36-B", "P1, P2")),
        (".accept looked at the spool", AcceptFirstUnit("looked at the spool")),
    ],
)
def test_a_line_becomes_its_command(line, command):
    """A name, a number of units, windings, a reason."""
    assert to_command(line) == command


@pytest.mark.parametrize(
    "line", [".batch", ".spool ", ".accept", ".batch x, 0 units", ".batch x, 999999 units"]
)
def test_what_cannot_be_meant_is_refused(line):
    """A batch without a name, a word without its reason, a number that no batch has."""
    with pytest.raises(InputImpossible):
        to_command(line)
