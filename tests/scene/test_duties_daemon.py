"""Check standard and typed results on a real daemon: bench file, socket, journal, restart, replay."""

from __future__ import annotations

import asyncio
import io

import pytest

from acquire.answers.batch import chart
from acquire.bench.assembly import assemble
from acquire.bench.recording import replay
from acquire.clock import RealClock
from acquire.files.settings import load_bench
from acquire.records import (
    Ask,
    CheckMeter,
    CheckStandard,
    Judged,
    Notice,
    OverrideCheck,
    Prompt,
    StartUnit,
    TypedResult,
    TypeResult,
    UnitStarted,
    Why,
)
from tests.benchmarks.drivers_peers import Instrument
from tests.commanded import commanded
from tests.commands import printed
from tests.waiting import until
from tests.whole_bench import bench_file, journal_entries

CHECK = """[check]
resistor = "R1"
value = "100 ohm"
uncertainty = "20 mohm"
action = "stop"

[insulation]
instrument = "IR-2"
accuracy = "5 %"

[leads]
zero = "value"
value = "0 ohm"
uncertainty = "10 mohm"

[journal]"""


class Shift:
    """The real daemon on a small meter on a socket."""

    def __init__(self, folder, meter, record=None):
        self.file = bench_file(
            folder,
            meter=meter.address,
            changes=[("[journal]", CHECK), ("integration_plc = 1.0", "options = { quiet_s = 0.02 }")],
        )
        self.meter, self.record = meter, record
        self.events, self.stop, self.daemon = [], asyncio.Event(), None

    async def __aenter__(self):
        self.daemon = await assemble(
            load_bench(self.file), clock=RealClock(), show=self.events.append, record=self.record
        )
        self.task = asyncio.create_task(self.daemon.run(self.stop), name="daemon")
        return self

    async def __aexit__(self, *_):
        self.stop.set()
        await asyncio.wait_for(self.task, 30.0)

    def of(self, kind):
        return [event for event in self.events if isinstance(event, kind)]

    async def until(self, condition):
        await until(condition)

    async def touch(self, ohm):
        """Lift, then hold the probes on something."""
        self.meter.values["RES"] = self.meter.values["FRES"] = 9.9e37
        seen = self.daemon.feeds[0].came
        await asyncio.sleep(0.5)
        await until(lambda: self.daemon.feeds[0].came > seen + 3)
        self.meter.values["RES"] = self.meter.values["FRES"] = ohm


async def test_a_shift_with_its_check_is_on_the_record_and_the_next_start_knows_it(tmp_path):
    """Asked for, measured, charted; after a restart within the shift it is not asked for again."""
    async with Instrument() as meter:
        async with Shift(tmp_path, meter) as shift:
            await shift.until(lambda: any(p.ask is Ask.CHECK_RESISTOR for p in shift.of(Prompt)))
            await shift.touch(100.004)
            await shift.until(lambda: shift.of(CheckStandard))
            assert shift.of(CheckStandard)[0].in_control
        async with Shift(tmp_path, meter) as shift:
            await shift.until(lambda: shift.of(Prompt))
            assert shift.of(Prompt)[-1].ask is Ask.START_UNIT
            assert shift.daemon.pipeline.duties.check.history_ohm == [pytest.approx(100.004, abs=1e-4)]
            await shift.daemon.command(CheckMeter())
            await shift.touch(100.002)
            await shift.until(lambda: shift.of(CheckStandard))
    assert [entry.kind for entry in journal_entries(tmp_path, "check_standard")] == ["check_standard"] * 2
    assert sum("◆" in line for line in printed(chart, tmp_path / "journal")) == 2


async def test_a_stopped_bench_is_stopped_after_a_restart_too(tmp_path):
    """Switching it off and on is no way around the check; an override with a reason is."""
    async with Instrument() as meter:
        async with Shift(tmp_path, meter) as shift:
            await shift.touch(100.5)
            await shift.until(lambda: shift.of(CheckStandard))
            assert not shift.of(CheckStandard)[0].in_control
        async with Shift(tmp_path, meter) as shift:
            await shift.daemon.command(StartUnit("A1"))
            await shift.until(lambda: shift.of(Prompt))
            assert shift.of(Prompt)[-1].why is Why.BLOCKED
            await shift.daemon.command(OverrideCheck("the resistor is at the laboratory"))
            await shift.touch(202.57)
            await shift.until(lambda: shift.of(Judged))
    notices = [entry.payload["facts"] for entry in journal_entries(tmp_path, "notice")]
    assert {"reason": "the resistor is at the laboratory"} in notices


async def test_typed_results_survive_a_power_cut_in_the_middle_of_a_unit(tmp_path):
    """The unit goes on, and what was typed for it is not asked for again."""
    async with Instrument() as meter:
        async with Shift(tmp_path, meter) as shift:
            await shift.touch(100.0)
            await shift.until(lambda: shift.of(CheckStandard))
            await shift.daemon.command(StartUnit("A1"))
            await shift.daemon.command(TypeResult("insulation = 120 Mohm, 500 V"))
            await shift.until(lambda: shift.of(TypedResult))
        async with Shift(tmp_path, meter) as shift:
            await shift.until(lambda: shift.daemon.pipeline.unit is not None)
            assert [result.serial for result in shift.daemon.pipeline.duties.visit.typed] == ["A1"]
    assert not [event for event in shift.events if isinstance(event, UnitStarted)]


async def test_a_recording_replays_check_and_typed_results_too(tmp_path):
    """The same records from the same readings, whatever the journal says meanwhile."""
    out = io.StringIO()
    async with Instrument() as meter, Shift(tmp_path, meter, record=out) as shift:
        await shift.touch(100.5)
        await shift.until(lambda: shift.of(CheckStandard))
        await shift.daemon.command(OverrideCheck("known"))
        await shift.daemon.command(StartUnit("A1"))
        await shift.daemon.command(TypeResult("insulation = >200 Mohm, 500 V, 21 °C"))
        await shift.touch(202.57)
        await shift.until(lambda: shift.of(Judged))
    (tmp_path / "recording").write_text(out.getvalue(), encoding="utf-8")
    again = list(replay(tmp_path / "recording"))
    for kind in (CheckStandard, TypedResult, Judged):
        assert [event for event in again if isinstance(event, kind)] == shift.of(kind)
    refusals = [event for event in shift.of(Notice) if event.code == "command.refused"]
    assert not refusals


def test_the_commands_answer_in_sentences(tmp_path):
    """chart without a check standard on record, result without a serial: exit 2 and what to do."""
    file = bench_file(tmp_path, meter="tcp:127.0.0.1:5025")
    for words, said in (
        (["chart", str(tmp_path)], "There is no journal"),
        (["result", str(file), "surge = fine, pass"], "Give --serial"),
        (["result", str(file), "surge = fine, pass", "--serial", "A1"], "There is no journal"),
    ):
        done = commanded(*words)
        assert done.returncode != 0
        assert said in done.stderr
