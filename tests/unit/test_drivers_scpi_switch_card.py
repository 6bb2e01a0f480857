"""The switch card's driver against a simulated card on a real socket, and against cards that lie."""

import asyncio
import contextlib
import random
import time
from functools import partial

import pytest
from pydantic import ValidationError

from drivers.errors import LinkTimeout, MeterRefused
from drivers.meter import Setup
from drivers.reading import Kind, Quantity
from drivers.registry import open_device, open_meter
from drivers.scpi.switch_card import SwitchCardOptions
from sim.bench import scpi_session
from sim.clock import BenchClock
from sim.meter import Meter, meter_class
from sim.probes import Ambient, Probes
from sim.server import LineTrouble, on_tcp
from sim.speak_scpi import ScpiVoice
from sim.switch_card import BusCard
from tests.known_units import PLOVER_80

CHANNELS = [*range(101, 108), *range(201, 208)]
card_at = partial(open_device, "switch card")
QUICK = {"settle_s": 0.0, "quiet_s": 0.02}


class Bench:
    """A simulated meter with a card, and the words that were sent to it."""

    def __init__(self):
        clock = BenchClock(50.0)
        probes = Probes(Ambient(random.Random(1), 20.0))
        probes.place(PLOVER_80.nominal())
        meter = Meter(meter_class("bench-6-digit"), probes, clock, random.Random(2))
        self.card = BusCard(PLOVER_80.places(), 7, probes, clock)
        self.voice = ScpiVoice(meter, card=self.card)
        self.heard, self.answers = [], {}
        answer = self.voice.answer

        async def overheard(line):
            self.heard.append((time.monotonic(), line.strip()))
            reply = await answer(line)
            return self.answers.get(line.strip(), reply)

        self.voice.answer = overheard

    def lines(self, *starts):
        return [line for _, line in self.heard if line.startswith(starts)]


@contextlib.asynccontextmanager
async def served():
    bench = Bench()
    async with on_tcp(scpi_session(bench.voice), 0, LineTrouble()) as bench.address:
        yield bench


def meter_at(address):
    return open_meter("scpi", meter_id="m", address=address, clock=lambda: (time.monotonic(), 0.0))


async def test_break_before_make_and_both_are_asked(tmp_path):
    """Open all, ask; close, ask."""
    async with (
        served() as bench,
        card_at(CHANNELS, address=bench.address, options=QUICK) as card,
    ):
        await card.connect([101, 202])
        assert card.closed == {101, 202}
        await card.connect([102, 203])
        await card.open_all()
        assert card.closed == frozenset()
    asked = "ROUT:CLOS? (@" + ",".join(map(str, CHANNELS)) + ")"
    once = ["ROUT:OPEN:ALL", asked]
    assert bench.lines("ROUT") == [
        *once, "ROUT:CLOS (@101,202)", asked, *once, "ROUT:CLOS (@102,203)", asked, *once
    ]  # fmt: skip


async def test_a_card_in_the_meter_moves_between_two_readings():
    """One link: no answer ends up with the wrong question, and each reading is of the pair that is closed."""
    async with served() as bench:
        meter = meter_at(bench.address)
        async with meter, card_at(CHANNELS, host=meter, options=QUICK) as card:
            await meter.configure(Setup(Quantity.RESISTANCE_4W, 1000.0, 1.0))
            source = meter.readings()
            seen = []
            for pair in ([101, 202], [202, 103], [103, 201], []):
                await card.connect(pair)
                reading = await anext(source)
                seen.append(reading.value_si if reading.kind is Kind.VALUE else None)
            await source.aclose()
    assert seen[:3] == [
        pytest.approx(202.6, rel=0.05),
        pytest.approx(46.17, rel=0.05),
        pytest.approx(248.7, rel=0.05),
    ]
    assert seen[3] is None


async def test_a_card_that_is_not_as_it_was_told_is_refused():
    """The card's own word is enough to stop."""
    async with (
        served() as bench,
        card_at(CHANNELS, address=bench.address, options=QUICK) as card,
    ):
        asked = "ROUT:CLOS? (@" + ",".join(map(str, CHANNELS)) + ")"
        bench.answers[asked] = ",".join("1" if n == 104 else "0" for n in CHANNELS)
        with pytest.raises(MeterRefused, match="of channel 104 that it stays closed"):
            await card.connect([101, 202])


async def test_a_relay_that_does_not_close_is_refused():
    """Said by the card, not felt by the meter."""
    async with (
        served() as bench,
        card_at(CHANNELS, address=bench.address, options=QUICK) as card,
    ):
        close = bench.card.close

        async def lame(channels):
            await close(channels - {202})

        bench.card.close = lame
        with pytest.raises(MeterRefused, match="of channel 202 that it does not close"):
            await card.connect([101, 202])


@pytest.mark.parametrize("answer", ["", "0", "0,1,x", "+2.0E+2", "0," * 14])
async def test_a_garbled_answer_is_no_word_of_the_card(answer):
    """The link counts as out of step; asked again it is believed."""
    async with (
        served() as bench,
        card_at(CHANNELS, address=bench.address, options={**QUICK, "reply_timeout_s": 0.3}) as card,
    ):
        asked = "ROUT:CLOS? (@" + ",".join(map(str, CHANNELS)) + ")"
        bench.answers[asked] = answer or None
        with pytest.raises(LinkTimeout):
            await card.connect([101, 202])
        del bench.answers[asked]
        await card.connect([101, 202])
        assert card.closed == {101, 202}


async def test_an_unknown_channel_is_the_cards_own_error():
    """SCPI's -222, as the card's error queue has it."""
    async with (
        served() as bench,
        card_at([101, 999], address=bench.address, options={**QUICK, "reply_timeout_s": 0.3}) as card,
    ):
        with pytest.raises((MeterRefused, LinkTimeout)):
            await card.connect([101, 999])


async def test_a_strong_current_ends_before_a_relay_opens():
    """Current off, time to discharge, only then open; not when nothing was closed."""
    options = {**QUICK, "current_off": "ABOR", "discharge_s": 0.2}
    async with (
        served() as bench,
        card_at(CHANNELS, address=bench.address, options=options) as card,
    ):
        await card.open_all()
        assert not bench.lines("ABOR")
        await card.connect([101, 202])
        bench.heard.clear()
        await card.connect([102, 203])
    times = {line: at for at, line in bench.heard}
    assert times["ROUT:OPEN:ALL"] - times["ABOR"] >= 0.2
    assert times["ROUT:CLOS (@102,203)"] > times["ROUT:OPEN:ALL"]


def test_a_card_has_one_way_to_be_reached():
    """A link of its own, or the meter's."""
    with pytest.raises(ValueError, match="link of its own"):
        card_at([101])
    with pytest.raises(ValidationError, match="no place for"):
        SwitchCardOptions(close="ROUT:CLOS (@101)")


async def test_two_at_once_do_not_get_into_each_others_way():
    """Readings go on while the card is talked to: each waits for the other's turn."""
    async with served() as bench:
        meter = meter_at(bench.address)
        async with meter, card_at(CHANNELS, host=meter, options=QUICK) as card:
            await meter.configure(Setup(Quantity.RESISTANCE_4W, 1000.0, 1.0))

            async def read():
                return [reading async for reading in _first(meter.readings(), 20)]

            task = asyncio.create_task(read())
            for _ in range(5):
                await card.connect([101, 202])
                await card.open_all()
            assert len(await task) == 20


async def _first(readings, count):
    async for reading in readings:
        yield reading
        count -= 1
        if not count:
            await readings.aclose()
            return
