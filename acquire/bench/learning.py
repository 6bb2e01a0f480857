"""A sheet learnt at a running bench: somebody calls the unit that was just measured a good one.

The word goes on the record; from all units called good a sheet is proposed, in a new file for each number of
them, so that nothing is written over. Not for how a sheet is learnt (reports/lookback).
"""

from __future__ import annotations

import asyncio
import re
from collections.abc import Awaitable, Callable
from pathlib import Path

from acquire.journal.history import JournalReader
from acquire.pipeline import Pipeline
from acquire.records import Code, Ending, Fact, Notice, Severity, Sheet
from acquire.records.bench import Refused
from acquire.records.codes import Refusal
from acquire.reports.lookback import called_good, learnt

Learn = Callable[[str], Awaitable[dict[str, Fact]]]


async def nothing_is_learnt(_name: str) -> dict[str, Fact]:
    """Of a bench that has no place for a sheet. Raises Refused."""
    raise Refused(Refusal.NOTHING_TO_LEARN)


def good_unit(pipeline: Pipeline, utc_s: float) -> Notice:
    """The mark of the unit that was measured last.

    Raises:
        Refused: none was measured to its end since, or it was warm.
    """
    last = pipeline.duties.visit.last
    if last is None or pipeline.unit is not None or last.ending is not Ending.DONE:
        raise Refused(Refusal.NOTHING_TO_LEARN)
    return Notice(Severity.REMARK, Code.UNIT_GOOD, utc_s, last.serial)


def learning(journal: Path, folder: Path, sheet: Callable[[], Sheet]) -> Learn:
    """What proposes a sheet from the units called good.

    Args:
        journal: file of the bench's record.
        folder: where sheets are written.
        sheet: gives the one in force.
    """

    def propose(name: str) -> dict[str, Fact]:
        now = sheet()
        with JournalReader(journal) as record:
            units = called_good(record)
        name = name or f"{now.name} learnt"
        text = learnt(units, name, now.core, now.reference_celsius)
        plain = re.sub(r"[^a-z0-9]+", "-", name.lower()).strip("-") or "sheet"
        file = folder / f"{plain}-of-{len(units)}.toml"
        file.write_text(text, encoding="utf-8")
        return {"file": str(file), "units": len(units)}

    async def learn(name: str) -> dict[str, Fact]:
        return await asyncio.to_thread(propose, name)

    return learn
