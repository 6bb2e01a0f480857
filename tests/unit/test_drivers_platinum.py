"""Platinum thermometers against the table of IEC 60751."""

from __future__ import annotations

import csv
import json
import time
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from drivers.errors import MeterRefused
from drivers.meter import Meter, Setup
from drivers.platinum import platinum_celsius, platinum_ohm, slope_ohm_per_celsius
from drivers.reading import Kind, Quantity
from drivers.registry import open_meter
from tests.benchmarks.drivers_peers import Instrument

DATA = Path(__file__).parent.parent / "data"
TABLE = [
    (float(row["t_C"]), float(row["ohm"]))
    for row in csv.DictReader(
        line
        for line in (DATA / "frames_pt100.csv").read_text(encoding="utf-8").splitlines()
        if line[0] != "#"
    )
]
VECTORS = [
    frame
    for frame in json.loads((DATA / "frames.json").read_text(encoding="utf-8"))["frames"]
    if frame["protocol"] == "pt100_ohms" and frame["value"] is not None
]


@pytest.mark.parametrize(("celsius", "ohm"), TABLE)
def test_the_table_of_the_standard_is_met_both_ways(celsius, ohm):
    """IEC 60751 prints two decimals: half of the last one is the room."""
    assert platinum_ohm(celsius) == pytest.approx(ohm, abs=0.0051)
    assert platinum_celsius(ohm) == pytest.approx(celsius, abs=0.0051 / slope_ohm_per_celsius(celsius))


@pytest.mark.parametrize("vector", VECTORS, ids=lambda vector: vector["id"])
def test_readings_in_ohms_become_degrees(vector):
    assert platinum_celsius(float(vector["text"])) == pytest.approx(vector["value"], abs=1e-4)


@given(st.floats(-200, 850), st.sampled_from([100.0, 500.0, 1000.0]))
def test_there_and_back_is_the_same_temperature(celsius, r0_ohm):
    assert platinum_celsius(platinum_ohm(celsius, r0_ohm), r0_ohm) == pytest.approx(celsius, abs=1e-6)


@given(st.floats(-199, 849))
def test_the_slope_is_that_of_the_curve(celsius):
    step = 1e-3
    slope = (platinum_ohm(celsius + step) - platinum_ohm(celsius - step)) / (2 * step)
    assert slope_ohm_per_celsius(celsius) == pytest.approx(slope, rel=1e-5)


@pytest.mark.parametrize("ohm", [0.0, 10.0, 500.0, -1.0])
def test_a_shorted_or_broken_sensor_has_no_temperature(ohm):
    with pytest.raises(ValueError, match="no resistance of a sensor"):
        platinum_celsius(ohm)


def clock():
    return time.monotonic(), time.time()


async def test_an_ohmmeter_becomes_a_thermometer():
    """107.7935 ohm is 20 degC in the table of IEC 60751."""
    async with Instrument() as instrument:
        instrument.values["FRES"] = 107.7935
        meter = open_meter(
            "platinum",
            meter_id="t",
            address=instrument.address,
            clock=clock,
            options={"driver": "scpi", "meter": {"quiet_s": 0.02, "reply_timeout_s": 0.5}},
        )
        assert isinstance(meter, Meter)
        for _ in range(2):
            async with meter:
                held = await meter.configure(Setup(Quantity.TEMPERATURE))
                stream = meter.readings()
                reading = await anext(stream)
                instrument.values["FRES"] = 9.9e37
                broken = await anext(stream)
                instrument.values["FRES"] = 3.0
                shorted = await anext(stream)
                await stream.aclose()
                instrument.values["FRES"] = 107.7935
                with pytest.raises(MeterRefused, match="does not measure resistance"):
                    await meter.configure(Setup(Quantity.RESISTANCE))
    assert (reading.quantity, reading.value_si) == (Quantity.TEMPERATURE, pytest.approx(20.0, abs=1e-3))
    assert reading.resolution_si == pytest.approx(held.resolution_si, rel=1e-2)
    assert reading.resolution_si == pytest.approx(1e-3 / 0.39, rel=0.02)
    assert (broken.kind, broken.quantity) == (Kind.OVERLOAD, Quantity.TEMPERATURE)
    assert shorted.kind is Kind.NO_READING


async def test_lead_resistance_is_taken_off_where_two_wires_are_used():
    async with Instrument() as instrument:
        instrument.values["RES"] = 107.7935 + 0.4
        options = {"wires": 2, "lead_ohm": 0.4, "meter": {"quiet_s": 0.02}}
        meter = open_meter("platinum", meter_id="t", address=instrument.address, clock=clock, options=options)
        async with meter:
            stream = meter.readings()
            reading = await anext(stream)
            await stream.aclose()
    assert reading.value_si == pytest.approx(20.0, abs=1e-3)
