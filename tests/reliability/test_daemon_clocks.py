"""The machine's clock is set back or forward while the bench works: times and ages stay sane."""

import asyncio
import contextlib

import pytest

from acquire.clock import SET_BACK_S, HandClock
from acquire.files.settings import load_bench
from acquire.records import Ask, Judged, LeadZero, Prompt, StartUnit, UnitResult, ZeroLeads
from tests.obedient_meter import StillBench
from tests.whole_bench import bench_file, csv_rows, journal_entries

HOUR_S = 3600.0


@contextlib.asynccontextmanager
async def at_work(folder, clock, *changes):
    """A bench with a typed temperature (good for 4 h) and lead zeros (good for 8 h)."""
    file = bench_file(folder, meter="tcp:127.0.0.1:9", changes=[('"22.5 °C"', '"20 °C"'), *changes])
    still = await StillBench(load_bench(file), clock).assembled()
    still.daemon.tick_s = 0.01
    still.meter.pace_s = 0.0005
    stop = asyncio.Event()
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


@pytest.mark.parametrize("hours", [2, 24, 24 * 365])
async def test_a_clock_set_back_makes_nothing_fresh_for_longer(tmp_path, hours):
    """Said once, on the record; the typed temperature runs out 4 h after it was typed, not hours later."""
    clock = HandClock(100.0)
    async with at_work(tmp_path, clock) as still:
        await unit(still, "BEFORE")
        zero = still.of(LeadZero)[0]
        clock.turn(HOUR_S)
        clock.now_utc_s -= hours * HOUR_S
        await still.until(lambda b: b.notices("clock.set_back"))
        assert round(still.notices("clock.set_back")[0].facts["by_s"]) == hours * 3600
        conditions = still.daemon.pipeline.conditions
        assert clock.utc_s() - conditions.temperature.utc_s == pytest.approx(HOUR_S, abs=60.0)
        assert clock.utc_s() - conditions.lead.utc_s == pytest.approx(HOUR_S, abs=60.0)
        await unit(still, "AFTER")
        verdicts = [j.verdict for j in still.of(Judged)]
        earlier = {v.serial for v in verdicts if v.utc_s < zero.utc_s}
        assert earlier == {"AFTER"}, "the record follows the machine's clock"
        clock.turn(3.1 * HOUR_S)
        await still.daemon.command(StartUnit("LATE"))
        await still.until(lambda b: b.notices("temperature.missing"))
        assert len(still.notices("clock.set_back")) == 1
    ids = [e.id for e in journal_entries(tmp_path, "verdict")]
    assert sorted(row["id"] for row in csv_rows(tmp_path)) == sorted(ids)


async def test_a_clock_set_forward_asks_again_rather_than_trusting_old_values(tmp_path):
    """A day ahead: it may have been a night's sleep of the machine. No verdict with a day-old temperature."""
    clock = HandClock(100.0)
    async with at_work(tmp_path, clock) as still:
        await unit(still, "BEFORE")
        clock.now_utc_s += 24 * HOUR_S
        judged = len(still.of(Judged))
        await still.daemon.command(StartUnit("AFTER"))
        assert still.of(Prompt)[-1].ask is Ask.SHORT_PROBES or len(still.of(LeadZero)) == 1
        await still.until(lambda b: len(b.of(LeadZero)) == 2)
        await still.until(lambda b: b.notices("temperature.missing"))
        assert len(still.of(Judged)) == judged
        assert not still.notices("clock.set_back")
        (forward,) = still.notices("clock.set_forward")
        assert round(forward.facts["by_s"]) == 24 * 3600


async def test_settling_does_not_notice_the_clock(tmp_path):
    """UTC jumps back and forth at every reading; contacts come to rest by the monotonic clock as ever."""
    clock = HandClock(100.0)
    async with at_work(tmp_path, clock) as still:
        still.daemon.tick_s = 1000.0
        steady = still.meter.calm

        async def shaken():
            clock.now_utc_s += 1.5 if still.meter.conversion % 2 else -1.5
            await steady()

        still.meter.calm = shaken
        await unit(still, "SHAKEN")
        assert still.of(UnitResult)[0].outcome == "pass"
        assert all(0.0 <= j.verdict.settle_s < 10.0 for j in still.of(Judged))


async def test_a_clock_that_is_slewed_is_no_news(tmp_path):
    """Time servers shift by fractions of a second; nobody needs to hear of it."""
    clock = HandClock(100.0)
    async with at_work(tmp_path, clock) as still:
        for _ in range(10):
            clock.now_utc_s -= 0.4 * SET_BACK_S
            before = still.meter.conversion
            await asyncio.sleep(0.03)
            assert still.meter.conversion > before
        assert not still.notices("clock.set_back")


async def test_a_lead_zero_from_the_future_is_not_taken_over(tmp_path):
    """The clock was wrong when it was written, so its age is not known: it is asked for again."""
    async with at_work(tmp_path, HandClock(100.0, 2.0e9)) as still:
        await unit(still, "AHEAD")
        await still.daemon.command(ZeroLeads())
    async with at_work(tmp_path, HandClock(100.0, 1.7e9)) as still:
        assert still.daemon.pipeline.conditions.lead is None
        await unit(still, "NOW")
        assert still.of(LeadZero)
