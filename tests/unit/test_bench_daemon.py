"""The parts at work together: journal first, nothing dropped, a clean stop, an interrupted unit resumed."""

from __future__ import annotations

import asyncio
import contextlib
from dataclasses import replace

import pytest

from acquire.answers.reported import learn_sheet
from acquire.bench import daemon as module
from acquire.bench.assembly import assemble
from acquire.bench.daemon import recorded
from acquire.clock import HandClock
from acquire.files.settings import load_bench
from acquire.records import (
    Ask,
    CallGood,
    Code,
    ConfirmOpen,
    Ending,
    Evidence,
    GiveUpUnit,
    Judged,
    LeadZero,
    Note,
    Notice,
    Prompt,
    Severity,
    SkipStep,
    StartUnit,
    UnitResult,
    UnitStarted,
    Verdict,
)
from acquire.records.codes import Refusal
from acquire.sheets import load_sheet
from drivers.reading import Kind, Quantity, Reading
from tests.known_records import ALL, NOTICE, VERDICT
from tests.waiting import until
from tests.whole_bench import CONFIGS, bench_file, csv_rows, free_port, journal_entries

NO_ZERO = ('folder = "csv"\n', 'folder = "csv"\n\n[leads]\nzero = "none"\n')


PORTS = {}
"""Of the benches in each folder."""


class Bench:
    """A daemon whose meter is not there: readings are handed to it directly."""

    def __init__(self, daemon, clock, shown):
        self.daemon, self.clock, self.shown = daemon, clock, shown
        self.number = 0

    async def read(self, ohm, count=1):
        """Readings ten times a second; None is overload."""
        for _ in range(count):
            self.clock.turn(0.1)
            self.number += 1
            full_scale = 100.0 if (self.daemon.pipeline.wanted.expected_ohm or 1.0) <= 120.0 else 1000.0
            await self.daemon.take(
                Reading(
                    meter_id="meter",
                    quantity=self.daemon.pipeline.wanted.quantity,
                    kind=Kind.OVERLOAD if ohm is None else Kind.VALUE,
                    value_si=None if ohm is None else ohm + 2e-6 * full_scale * (self.number % 3 - 1),
                    monotonic_s=self.clock.monotonic_s(),
                    utc_s=self.clock.utc_s(),
                    conversion=self.number,
                    range_full_scale_si=full_scale,
                    resolution_si=full_scale * 1e-6,
                )
            )

    async def touch(self, ohm):
        """Touch, hold, lift; after a restart open probes must have been seen first."""
        await self.read(None, 4)
        await self.read(ohm, 30)
        await self.read(None, 8)

    def of(self, kind):
        """What was shown of a kind."""
        return [event for event in self.shown if isinstance(event, kind)]

    async def until(self, condition):
        """Wait until something holds."""
        await until(condition)


@contextlib.asynccontextmanager
async def at_work(folder, *changes, clock=None):
    """A bench that runs; stopped cleanly at the end."""
    port = PORTS.setdefault(folder, free_port())  # another file would end an interrupted unit
    file = bench_file(folder, meter=f"tcp:127.0.0.1:{port}", changes=(NO_ZERO, *changes))
    clock, shown = clock or HandClock(), []
    daemon = await assemble(load_bench(file), clock=clock, show=shown.append)
    stop, ready = asyncio.Event(), asyncio.Event()
    task = asyncio.create_task(daemon.run(stop, ready.set), name="daemon")
    await asyncio.wait_for(ready.wait(), 8)
    try:
        yield Bench(daemon, clock, shown)
    finally:
        stop.set()
        await asyncio.wait_for(task, 8)


async def test_a_verdict_is_on_the_disk_before_it_is_shown(tmp_path):
    """Whoever sees it can find it in the journal, read by another connection."""
    found = []
    async with at_work(tmp_path) as bench:

        def show(event):
            if isinstance(event, Judged):
                found.append([e.payload["step"] for e in journal_entries(tmp_path, "verdict")])

        bench.daemon.subscribers.append(show)
        await bench.daemon.command(StartUnit("A1"))
        await bench.touch(202.57)
        await bench.until(lambda: found)
    assert found == [["slow charge"]]


async def test_events_are_shown_in_the_order_in_which_they_happened(tmp_path):
    """And kept in that order."""
    async with at_work(tmp_path) as bench:
        await bench.daemon.command(StartUnit("A1"))
        await bench.daemon.command(Note("dusty"))
        await bench.daemon.command(GiveUpUnit("dropped"))
        await bench.until(lambda: bench.of(UnitResult))
        kinds = [
            type(e)
            for e in bench.shown
            if isinstance(e, UnitStarted | UnitResult) or getattr(e, "code", "") == "note"
        ]
    assert kinds == [UnitStarted, Notice, UnitResult]
    kept = [e.kind for e in journal_entries(tmp_path) if e.serial == "A1"]
    assert kept == ["unit_started", "notice", "unit_result"]


async def test_what_was_begun_is_written_before_it_stops(tmp_path):
    """A stop right behind the deciding reading: journal and CSV hold the verdict."""
    async with at_work(tmp_path) as bench:
        await bench.daemon.command(StartUnit("A1"))
        await bench.touch(202.57)
    assert [e.payload["outcome"] for e in journal_entries(tmp_path, "verdict")] == ["pass"]
    assert [row["outcome"] for row in csv_rows(tmp_path)] == ["pass"]


async def test_an_interrupted_unit_goes_on_where_it_stopped(tmp_path):
    """The unit that was on the bench at the stop is on it again at the next start."""
    async with at_work(tmp_path) as bench:
        await bench.daemon.command(StartUnit("A1"))
        await bench.touch(202.57)
        await bench.until(lambda: bench.of(Judged))
        asked = bench.of(Prompt)[-1].pair
    async with at_work(tmp_path) as bench:
        await bench.read(None, 3)
        await bench.until(lambda: bench.of(Prompt))
        assert bench.of(Prompt)[-1].pair == asked == ("2", "3")
        assert "unit.resumed" in {n.code for n in bench.of(Notice)}
    assert len(journal_entries(tmp_path, "unit_started")) == 1


async def test_a_unit_of_another_sheet_does_not_go_on(tmp_path):
    """Its verdicts were of other limits; the operator is told."""
    async with at_work(tmp_path) as bench:
        await bench.daemon.command(StartUnit("A1"))
        await bench.until(lambda: bench.of(UnitStarted))
    async with at_work(tmp_path, ("plover-80.toml", "quern-12.toml")) as bench:
        await bench.until(lambda: bench.of(UnitResult))
        assert bench.of(UnitResult)[-1].ending is Ending.FILES_CHANGED
        assert bench.daemon.pipeline.unit is None


async def test_a_journal_that_was_taken_away_halts_the_bench_and_loses_nothing(tmp_path, monkeypatch):
    """No verdict is shown, commands are refused in a sentence; put back, everything is written."""
    monkeypatch.setattr(module, "RETRY_JOURNAL_S", 0.05)
    file = tmp_path / "journal" / "journal.db"
    async with at_work(tmp_path) as bench:
        await bench.daemon.command(StartUnit("A1"))
        await bench.until(lambda: bench.of(UnitStarted))
        file.rename(tmp_path / "away.db")
        await bench.touch(202.57)
        await bench.until(lambda: bench.daemon.halted)
        assert not bench.of(Judged)
        refused = await bench.daemon.command(ConfirmOpen())
        assert [n.code for n in refused] == ["command.refused"]
        before = bench.number
        await bench.read(46.17, 30)
        assert bench.number == before + 30
        (tmp_path / "away.db").rename(file)
        await bench.until(lambda: bench.of(Judged))
        await bench.until(lambda: "journal.usable" in {n.code for n in bench.of(Notice)})
        assert "journal.unusable" in {n.code for n in bench.of(Notice)}
    assert [e.payload["step"] for e in journal_entries(tmp_path, "verdict")] == ["slow charge"]


async def test_a_stop_without_a_journal_ends_soon_and_says_what_was_lost(tmp_path, monkeypatch):
    """Within the time that the system allows."""
    monkeypatch.setattr(module, "DRAIN_S", 0.3)
    monkeypatch.setattr(module, "RETRY_JOURNAL_S", 0.05)
    async with at_work(tmp_path) as bench:
        (tmp_path / "journal" / "journal.db").rename(tmp_path / "away.db")
        await bench.daemon.command(StartUnit("A1"))
        await bench.until(lambda: bench.daemon.halted)
    assert bench.daemon.unwritten


async def test_the_lead_zero_outlives_a_restart_but_not_another_meter(tmp_path):
    """It belongs to the leads of one meter."""
    ask = (NO_ZERO[1], NO_ZERO[0])
    clock = HandClock()
    async with at_work(tmp_path, ask, clock=clock) as bench:
        await bench.daemon.command(StartUnit("A1"))
        await bench.touch(0.12)
        await bench.until(lambda: bench.of(LeadZero))
    async with at_work(tmp_path, ask, clock=clock) as bench:
        assert bench.daemon.pipeline.conditions.lead.value_ohm == pytest.approx(0.12, abs=0.01)
    other = ("four_wire_below", 'id = "other"\nfour_wire_below')
    async with at_work(tmp_path, ask, other, clock=clock) as bench:
        assert bench.daemon.pipeline.conditions.lead is None
    async with at_work(tmp_path, clock=clock) as bench:
        assert bench.daemon.pipeline.conditions.lead is None


async def test_time_passes_without_readings(tmp_path):
    """Ticks reach the heart: the first prompt comes although no meter is there."""
    async with at_work(tmp_path) as bench:
        await bench.until(lambda: bench.of(Prompt))
        assert bench.of(Prompt)[0].ask is Ask.START_UNIT


async def test_a_temperature_goes_to_the_conditions_and_what_is_not_used_goes_on_record(tmp_path):
    """Not into the settle stage; an open sensor stops nothing and is told."""
    async with at_work(tmp_path) as bench:

        async def read(celsius):
            await bench.daemon.take_temperature(
                Reading(
                    meter_id="t",
                    quantity=Quantity.TEMPERATURE,
                    kind=Kind.VALUE,
                    value_si=celsius,
                    monotonic_s=1.0,
                    utc_s=bench.clock.utc_s(),
                    conversion=1,
                )
            )

        for celsius in (19.0, 19.0, -273.15):
            await read(celsius)
        assert bench.daemon.pipeline.conditions.temperature.celsius == 19.0
        await bench.until(
            lambda: (
                [n.facts["celsius"] for n in bench.of(Notice) if n.code is Code.TEMPERATURE_IMPOSSIBLE]
                == [-273.15]
            )
        )


def test_what_the_journal_keeps():
    """Records with their evidence, none of the passing events."""
    evidence = Evidence((), (), "")
    kept = recorded([Prompt("touch"), Judged(VERDICT, evidence), NOTICE, *ALL[1:3]])
    assert kept == [(VERDICT, evidence), (NOTICE, None), (ALL[1], None), (ALL[2], None)]
    assert isinstance(VERDICT, Verdict)
    assert recorded([]) == []
    assert recorded([replace(NOTICE, code="command.help"), replace(NOTICE, code="result.help")]) == []
    assert replace(NOTICE, weight=Severity.STOP) != NOTICE


async def test_a_step_that_was_left_out_stays_left_out_after_a_power_cut(tmp_path):
    """The unit goes on at the next step, and cannot pass."""
    async with at_work(tmp_path) as bench:
        await bench.daemon.command(StartUnit("A1"))
        await bench.daemon.command(SkipStep("pin 1 is bent"))
        await bench.until(lambda: "step.skipped" in {n.code for n in bench.of(Notice)})
    async with at_work(tmp_path) as bench:
        await bench.read(None, 3)
        await bench.until(lambda: bench.of(Prompt))
        assert bench.of(Prompt)[-1].pair == ("2", "3")
        await bench.daemon.command(GiveUpUnit("enough"))
        await bench.until(lambda: bench.of(UnitResult))
        state = bench.of(UnitResult)[-1]
    assert state.steps_passed == 0


READS = {
    ("1", "2"): 202.57,
    ("2", "3"): 46.17,
    ("1", "3"): 248.69,
    ("4", "6"): 83.17,
    ("5", "6"): 0.407,
    ("6", "CORE"): 0.0133,
}
"""What a good Plover 80 reads, its leads without a zero."""


async def test_good_units_called_so_at_the_bench_make_a_sheet(tmp_path):
    """From the record, corrected, at 20 °C; a unit called good twice counts once; each number has a file."""
    shown = CONFIGS / "sheets" / "plover-80.toml"
    async with at_work(tmp_path) as bench:
        command = bench.daemon.command
        (refused,) = await command(CallGood())
        assert refused.facts["refusal"] == Refusal.NOTHING_TO_LEARN
        for serial, share in (("A1", 1.0), ("A2", 1.01)):
            await command(StartUnit(serial))
            (refused,) = await command(CallGood())
            assert refused.code is Code.COMMAND_REFUSED
            for _ in range(12):
                pair = bench.daemon.pipeline.unit and tuple(bench.daemon.pipeline.unit.state.state.step.pair)
                if pair is None:
                    break
                await bench.touch(READS[pair] * share)
            await command(CallGood("Teal 6"))
        *_, told = await command(CallGood("Teal 6"))
        assert (told.code, told.facts["units"]) == (Code.SHEET_LEARNT, 2)
    one, two = (load_sheet(tmp_path / f"teal-6-of-{n}.toml") for n in (1, 2))
    before, now = load_sheet(shown), {frozenset((b.a, b.b)): b.reference_ohm for b in two.branches}
    assert (one.name, two.name, two.core) == ("Teal 6", "Teal 6", before.core)
    assert {step.pair for step in two.steps} >= {("1", "2"), ("2", "3")}
    kelvin = 22.5 - 20.0  # the temperature that the bench file states
    for pair in (("1", "2"), ("2", "3")):
        wanted = 1.005 * READS[pair] / (1.0 + 0.00393 * kelvin)
        found = next(ohm for ends, ohm in now.items() if {end.strip("'") for end in ends} == set(pair))
        assert found == pytest.approx(wanted, rel=2e-3)
    again = tmp_path / "again.toml"
    learn_sheet([tmp_path / "journal"], name="Teal 6", core="CORE", write=again)
    assert again.read_text() == (tmp_path / "teal-6-of-2.toml").read_text()
