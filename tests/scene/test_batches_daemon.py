"""Batches through the real daemon: on the record, across a restart, and again from a recording."""

from __future__ import annotations

import asyncio
import contextlib

from acquire.bench.keyboard import to_command
from acquire.bench.recording import replay
from acquire.clock import HandClock
from acquire.files.settings import load_bench
from acquire.journal.plain import to_plain
from acquire.records import (
    Batch,
    BatchEvent,
    BatchState,
    Judged,
    Prompt,
    Refusal,
    StartUnit,
    UnitResult,
    UnitStarted,
    Why,
)
from acquire.words.faults import batch_doubt
from tests.obedient_meter import StillBench
from tests.whole_bench import CONFIGS, bench_file, journal_entries

CARDS = """
[[spool]]
name = "36-A"
sample_m = 10.0
sample_ohm = 13.774
celsius = 20.0
u_ohm = 0.004
u_m = 0.002
"""


@contextlib.asynccontextmanager
async def at_work(folder, now_s=100.0, record=None):
    """A Fathom 7 bench with spool cards, at work."""
    (folder / "spools.toml").write_text(CARDS, encoding="utf-8")
    sheet = f'"{CONFIGS}/sheets/fathom-7.toml"'
    changes = [(sheet, f'{sheet}\nspools = "spools.toml"\noperator = "Ida"'), ('"22.5 °C"', '"20 °C"')]
    file = bench_file(folder, meter="tcp:127.0.0.1:9", sheet="fathom-7.toml", changes=changes)
    still = StillBench(load_bench(file), HandClock(now_s))
    stop = asyncio.Event()
    with contextlib.ExitStack() as stack:
        out = stack.enter_context(record.open("x", encoding="utf-8", buffering=1)) if record else None
        await still.assembled(record=out)
        async with asyncio.TaskGroup() as group:
            group.create_task(still.daemon.run(stop), name="daemon")
            try:
                await still.until(lambda b: b.of(Prompt))
                yield still
            finally:
                still.meter.calm = None
                stop.set()


async def unit(still, serial):
    """One unit from its serial to its result."""
    ended = len(still.of(UnitResult))
    await still.daemon.command(StartUnit(serial))
    await still.until(lambda b: len(b.of(UnitResult)) > ended)


async def typed(still, line):
    """What a typed line leads to."""
    return await still.daemon.command(to_command(line))


def wound_from(still, factor):
    """Both primaries of the units that follow read this much more than the sheet says."""
    still.meter.factor = {"1–2": factor, "3–4": factor}


async def first_day(folder):
    """A batch is opened; its first unit is of the spool it should be; it rests for the night."""
    async with at_work(folder) as still:
        await typed(still, ".batch lot 12, 4 units, for the spring")
        await typed(still, ".spool 36-A")
        wound_from(still, 1.012)
        await unit(still, "F1")
        await unit(still, "F2")
        await typed(still, ".pause night")
        return still


async def second_day(folder, record=None):
    """It goes on; a unit is measured again; another spool is on and nobody has said so."""
    async with at_work(folder, 90_000.0, record) as still:
        assert still.daemon.pipeline.batches.known["lot 12"].state is BatchState.PAUSED
        assert [(n.facts["batch"], n.facts["paused"]) for n in still.notices("batch.standing")] == [
            ("lot 12", True)
        ]
        await typed(still, ".resume")
        await unit(still, "F1")
        await typed(still, ".batch lot 13, 4 units")
        refused = await typed(still, "F2")
        await typed(still, ".spool 36-A for P1, P2")
        wound_from(still, 0.976)
        await unit(still, "G1")
        stopped = await typed(still, "G2")
        await typed(still, ".accept it is 36-B")
        await unit(still, "G2")
        await typed(still, ".finish")
        return still, refused, stopped


async def test_a_batch_lives_through_a_night_and_its_first_unit_speaks(tmp_path):
    """Everything is on the record, and enough for the next start."""
    await first_day(tmp_path)
    recording = tmp_path / "day.recording"
    still, refused, stopped = await second_day(tmp_path, recording)

    deeds = [(e.record.batch, e.record.deed) for e in journal_entries(tmp_path, "batch")]
    assert deeds == [
        ("lot 12", BatchEvent.OPENED),
        ("lot 12", BatchEvent.SPOOL_CHANGED),
        ("lot 12", BatchEvent.FIRST_UNIT),
        ("lot 12", BatchEvent.PAUSED),
        ("lot 12", BatchEvent.RESUMED),
        ("lot 12", BatchEvent.MADE_WAY),
        ("lot 13", BatchEvent.OPENED),
        ("lot 13", BatchEvent.SPOOL_CHANGED),
        ("lot 13", BatchEvent.FIRST_UNIT),
        ("lot 13", BatchEvent.PAUSED),
        ("lot 13", BatchEvent.ACCEPTED),
        ("lot 13", BatchEvent.FINISHED),
    ]
    starts = [entry.record for entry in journal_entries(tmp_path, "unit_started")]
    assert [(s.serial, s.batch, s.attempt) for s in starts] == [
        ("F1", "lot 12", 1),
        ("F2", "lot 12", 1),
        ("F1", "lot 12", 2),
        ("G1", "lot 13", 1),
        ("G2", "lot 13", 1),
    ]
    assert {each.spool for s in starts for each in s.spools} == {"36-A"}

    assert refused[0].facts["refusal"] == Refusal.BATCH_OF_OTHERS
    assert (refused[0].facts["batch"], refused[0].facts["wanted"]) == ("lot 12", "lot 13")
    doubted = next(e.record for e in journal_entries(tmp_path, "batch") if e.record.first_doubt)
    assert "P1 and P2 read like another spool, with 3.4 % fewer ohms per metre" in batch_doubt(doubted)
    assert [type(event) for event in stopped[:1]] == [Batch]
    assert any(getattr(event, "code", "") == "command.refused" for event in stopped)
    assert still.notices("batch.first_unit")

    kinds = (Judged, UnitResult, UnitStarted, Batch)
    lived = [
        to_plain(e.verdict if isinstance(e, Judged) else e) for e in still.events if isinstance(e, kinds)
    ]
    again = [
        to_plain(e.verdict if isinstance(e, Judged) else e) for e in replay(recording) if isinstance(e, kinds)
    ]
    assert again == lived


async def test_a_power_cut_in_doubt_leaves_the_batch_in_doubt(tmp_path):
    """The word that is owed is still owed after the restart."""
    async with at_work(tmp_path) as still:
        await typed(still, ".batch lot 13")
        await typed(still, ".spool 36-A")
        wound_from(still, 1.26)
        await unit(still, "G1")
    async with at_work(tmp_path, 200.0) as still:
        standing = still.notices("batch.standing")[0].facts
        assert standing == {"batch": "lot 13", "paused": False, "spools": ("36-A",)}
        assert still.of(Prompt)[-1].why is Why.DOUBT
        stopped = await typed(still, "G2")
        assert stopped[0].state is BatchState.PAUSED
        assert not still.of(UnitStarted)
