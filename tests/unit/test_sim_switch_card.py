"""The simulated card with two buses: what the meter sees of relays, wear, clips and a plug."""

from __future__ import annotations

import random

import pytest

from sim.clock import BenchClock
from sim.meter import Meter, meter_class
from sim.probes import Ambient, Probes
from sim.speak_scpi import ScpiVoice
from sim.switch_card import BusCard
from tests.known_units import PLOVER_80


class Fixture:
    """A meter with a card; a nominal unit is clipped in."""

    def __init__(self, *, kelvin=False, clipped=True):
        clock = BenchClock(100.0)
        self.probes = Probes(Ambient(random.Random(1), 20.0))
        if clipped:
            self.probes.place(PLOVER_80.nominal())
        meter = Meter(meter_class("bench-6-digit"), self.probes, clock, random.Random(2))
        self.card = BusCard(PLOVER_80.places(), 7, self.probes, clock, kelvin=kelvin)
        self.voice = ScpiVoice(meter, card=self.card)

    async def read(self, *channels):
        """Ohms with these channels closed; None for overload."""
        await self.voice.answer("ROUT:OPEN:ALL")
        if channels:
            await self.voice.answer(f"ROUT:CLOS (@{','.join(map(str, channels))})")
        ohm = float(await self.voice.answer("CONF:RES;:READ?"))
        return None if ohm > 9e37 else ohm


async def test_a_pin_on_either_bus_makes_a_pair():
    """1 and 2 are 202.6 ohm apart, either way round; 1 and 4 are not joined; one relay alone is nothing."""
    it = Fixture()
    for pair in ((101, 202), (102, 201)):
        assert await it.read(*pair) == pytest.approx(202.9, rel=0.03)
    assert await it.read(101, 204) is None
    assert await it.read(101) is None
    assert await it.read() is None


@pytest.mark.parametrize(("kelvin", "clipped", "reads"), [
    (False, False, True), (False, True, True), (True, False, False), (True, True, True)
])  # fmt: skip
async def test_a_pin_on_both_buses_reads_its_leads(kelvin, clipped, reads):
    """Shared: the relays meet in the wire. Kelvin: only through the pin itself."""
    ohm = await Fixture(kelvin=kelvin, clipped=clipped).read(103, 203)
    assert (ohm is not None) is reads
    assert ohm is None or 0.3 < ohm < 0.5


async def test_wear_is_felt_and_not_told():
    """The card says what it was told; the meter reads what is."""
    it = Fixture()
    it.card.wear.welded.add(101)
    assert await it.read(202) == pytest.approx(202.9, rel=0.03)
    assert await it.voice.answer("ROUT:CLOS? (@101,202)") == "0,1"
    it.card.wear.welded.clear()
    it.card.wear.dead.add(202)
    assert await it.read(101, 202) is None
    assert await it.voice.answer("ROUT:CLOS? (@101,202)") == "1,1"


async def test_a_clip_that_misses_reads_open_until_it_is_found():
    """And a plug joins everything, with nothing clipped in."""
    it = Fixture()
    it.card.wear.loose.add("2")
    assert await it.read(101, 202) is None
    await it.card.reseat()
    assert await it.read(101, 202) == pytest.approx(202.9, rel=0.03)
    it = Fixture(kelvin=True, clipped=False)
    it.card.wear.plug = True
    assert await it.read(101, 204) < 0.5


async def test_a_reset_opens_everything():
    """As on the instruments."""
    it = Fixture()
    await it.voice.answer("ROUT:CLOS (@101,202);*RST")
    assert await it.voice.answer("ROUT:CLOS? (@101,202)") == "0,0"
