"""The switch card: one channel at a time, lists of channels, scans."""

from __future__ import annotations

import random

import pytest

from sim.clock import BenchClock
from sim.meter import Meter, meter_class
from sim.probes import Ambient, Probes
from sim.speak_scpi import ScpiVoice
from sim.switch_card import SwitchCard
from tests.known_units import QUERN_12


@pytest.fixture
def voice():
    """A meter with a card; a nominal stator lies in the fixture."""
    clock = BenchClock(100.0)
    probes = Probes(Ambient(random.Random(1), 20.0))
    probes.place(QUERN_12.nominal())
    meter = Meter(meter_class("bench-6-digit"), probes, clock, random.Random(2))
    return ScpiVoice(meter, card=SwitchCard(QUERN_12.steps, 7, probes, clock))


async def test_a_closed_channel_is_measured_and_an_open_one_is_not(voice):
    """Channel 101 is U-V: 0.89 ohm; with all open the meter shows overload."""
    assert float(await voice.answer("CONF:FRES 100;:READ?")) > 9e37
    await voice.answer("ROUT:CLOSE (@101)")
    assert float(await voice.answer("READ?")) == pytest.approx(0.8913, abs=0.012)
    await voice.answer("ROUTe:OPEN:ALL")
    assert float(await voice.answer("READ?")) > 9e37


async def test_closing_a_channel_opens_the_others(voice):
    """A multiplexer has one output."""
    await voice.answer("ROUT:CLOSE (@101)")
    await voice.answer("ROUT:CLOSE (@104)")
    assert await voice.answer("ROUT:CLOSE? (@101,104)") == "0,1"
    await voice.answer("ROUT:OPEN (@101)")
    assert await voice.answer("ROUT:CLOSE? (@104)") == "1"
    await voice.answer("ROUT:OPEN (@104)")
    assert await voice.answer("ROUT:CLOSE? (@101:106)") == "0,0,0,0,0,0"


async def test_a_scan_reads_every_channel_of_its_list_in_order(voice):
    """Three line pairs of 0.89 and three phases of 0.45 ohm in one reply."""
    await voice.answer("CONF:FRES 100;:ROUT:SCAN (@101:103,106)")
    assert await voice.answer("ROUT:SCAN?") == "(@101,102,103,106)"
    read = [float(v) for v in (await voice.answer("READ?")).split(",")]
    assert read == pytest.approx([0.8913, 0.8913, 0.8913, 0.4510], abs=0.012)


async def test_relays_and_fixture_leads_are_in_a_two_wire_reading(voice):
    """0.35 ohm of leads and some hundredths of contact."""
    await voice.answer("ROUT:CLOSE (@101)")
    two, four = [float(await voice.answer(f"MEAS:{f}? 100")) for f in ("RES", "FRES")]
    assert 0.35 < two - four < 0.45


@pytest.mark.parametrize(
    ("line", "code"),
    [
        ("ROUT:CLOSE", -109),
        ("ROUT:CLOSE 101", -104),
        ("ROUT:CLOSE (@999)", -222),
        ("ROUT:CLOSE (@101,102)", -221),
        ("ROUT:SCAN (@101:x)", -104),
        ("ROUT:OPEN:ALL 3", -108),
    ],
)
async def test_wrong_lists_of_channels_are_refused(voice, line, code):
    """SCPI-99, 21.8."""
    assert await voice.answer(line) is None
    assert (await voice.answer("SYST:ERR?")).startswith(f"{code},")


async def test_a_reset_opens_everything(voice):
    """As on the instruments."""
    await voice.answer("ROUT:SCAN (@101);CLOSE (@101);*RST")
    assert await voice.answer("ROUT:CLOSE? (@101)") == "0"
    assert await voice.answer("ROUT:SCAN?") == "(@)"
