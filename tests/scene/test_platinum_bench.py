"""A Pt100 on a second ohmmeter as the bench's thermometer: from the bench file to a verdict at 20 °C."""

from __future__ import annotations

import asyncio

import pytest

from acquire.answers.check import check_file
from acquire.bench.assembly import assemble
from acquire.clock import RealClock
from acquire.files.settings import load_bench
from acquire.records import Judged, Notice, Outcome, StartUnit
from tests.benchmarks.drivers_peers import Instrument
from tests.waiting import until
from tests.whole_bench import bench_file

AT_30_CELSIUS_OHM = 111.6729  # Pt100, IEC 60751: 100 (1 + 3.9083e-3 · 30 - 5.775e-7 · 30²)
SLOW_CHARGE_OHM = 202.57


def platinum_bench(folder, meter, thermometer, *, wires=4, lead_ohm=0.0, r0_ohm=100.0, uncertainty="0.5 K"):
    """A bench file with a platinum sensor; its leads are stated, so that nothing is asked for."""
    air = (
        f'source = "meter"\ndriver = "platinum"\nlink = "{thermometer}"\nuncertainty = "{uncertainty}"\n'
        f'options = {{ driver = "scpi", wires = {wires}, lead_ohm = {lead_ohm}, r0_ohm = {r0_ohm}, '
        f"meter = {{ quiet_s = 0.02 }} }}\n\n"
        f'[leads]\nzero = "value"\nvalue = "0 ohm"\nuncertainty = "10 mohm"'
    )
    return bench_file(
        folder,
        meter=meter,
        changes=[
            ('source = "typed"\nvalue = "22.5 °C"\nuncertainty = "1.5 K"', air),
            ("integration_plc = 1.0", "options = { quiet_s = 0.02 }"),
        ],
    )


async def first_verdict(file, seen):
    """Run the real daemon until it has given a verdict on the first pair."""
    stop = asyncio.Event()
    daemon = await assemble(load_bench(file), clock=RealClock(), show=seen.append)

    def judged():
        return [event.verdict for event in seen if isinstance(event, Judged)]

    async with asyncio.TaskGroup() as group:
        group.create_task(daemon.run(stop), name="daemon")
        await until(lambda: daemon.pipeline.conditions.temperature is not None)
        await daemon.command(StartUnit("A1"))
        await until(judged)
        stop.set()
    return judged()[0]


@pytest.mark.parametrize(
    ("wires", "lead_ohm", "r0_ohm"), [(4, 0.0, 100.0), (2, 0.4, 100.0), (2, 0.4, 1000.0)]
)
async def test_a_winding_is_corrected_by_a_platinum_sensor(tmp_path, wires, lead_ohm, r0_ohm):
    """Room and winding at 30 °C: 210.53 ohm are a winding of 202.57 ohm at 20 °C (IEC 60751; k = 234.5)."""
    async with Instrument() as meter, Instrument() as thermometer:
        meter.values["RES"] = meter.values["FRES"] = SLOW_CHARGE_OHM * (234.5 + 30.0) / 254.5
        sensor_ohm = AT_30_CELSIUS_OHM * r0_ohm / 100.0
        thermometer.values["FRES" if wires == 4 else "RES"] = sensor_ohm + lead_ohm
        seen = []
        file = platinum_bench(
            tmp_path, meter.address, thermometer.address, wires=wires, lead_ohm=lead_ohm, r0_ohm=r0_ohm
        )
        verdict = await first_verdict(file, seen)
    assert verdict.winding_celsius == pytest.approx(30.0, abs=0.01)
    assert verdict.reference_ohm == pytest.approx(SLOW_CHARGE_OHM, rel=1e-4)
    assert verdict.outcome is Outcome.PASS
    evidence = next(event.evidence for event in seen if isinstance(event, Judged))
    assert evidence.temperature_source == "thermometer"
    assert -0.1 <= verdict.utc_s - evidence.temperature_utc_s < 5.0


async def test_a_broken_sensor_holds_verdicts_back(tmp_path):
    """An open sensor reads overload: no temperature, so no verdict, and the bench says what is missing."""
    async with Instrument() as meter, Instrument() as thermometer:
        meter.values["RES"] = meter.values["FRES"] = SLOW_CHARGE_OHM
        thermometer.values["FRES"] = 9.9e37
        seen = []
        file = platinum_bench(tmp_path, meter.address, thermometer.address)
        daemon = await assemble(load_bench(file), clock=RealClock(), show=seen.append)
        stop = asyncio.Event()
        async with asyncio.TaskGroup() as group:
            group.create_task(daemon.run(stop), name="daemon")
            await daemon.command(StartUnit("A1"))
            await until(lambda: any(isinstance(e, Notice) and e.code == "temperature.missing" for e in seen))
            stop.set()
    assert not [event for event in seen if isinstance(event, Judged)]


def test_check_says_what_a_platinum_sensor_can_be_off_by(tmp_path):
    """Class B of IEC 60751 is 0.30 K + 0.005 · 20 K = 0.40 K at 20 °C: a statement of 0.1 K is too good."""
    good = check_file(platinum_bench(tmp_path, "tcp:127.0.0.1:1", "tcp:127.0.0.1:2"))
    assert not good.faults
    assert not any("class B" in line for line in good.summary)
    bold = check_file(platinum_bench(tmp_path, "tcp:127.0.0.1:1", "tcp:127.0.0.1:2", uncertainty="0.1 K"))
    (note,) = [line for line in bold.summary if "class B" in line]
    assert "0.40 K" in note
