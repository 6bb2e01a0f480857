"""One instrument on its way in: set for each step, told about once when it breaks, picked up again."""

from __future__ import annotations

import asyncio
import contextlib
from types import SimpleNamespace

import pytest

from acquire.bench import intake
from acquire.bench.intake import Feed
from acquire.clock import HandClock
from acquire.records import Severity
from acquire.steps.setup_choice import Wanted
from drivers.errors import LinkLost, LinkTimeout, LinkUnavailable, MeterRefused
from drivers.meter import Held
from drivers.reading import Kind, Quantity, Reading
from tests.waiting import until


def reading(number):
    """Any value."""
    return Reading(
        meter_id="m",
        quantity=Quantity.RESISTANCE,
        kind=Kind.VALUE,
        value_si=float(number),
        monotonic_s=float(number),
        utc_s=float(number),
        conversion=number,
    )


class Scripted:
    """A meter that does what it is told: each life is a list of readings and errors, the last goes on."""

    def __init__(self, *lives, refuses=(), turn=()):
        self.lives = list(lives)
        self.refuses = refuses
        self.turn = turn
        self.setups = []
        self.opened = self.closed = 0

    async def __aenter__(self):
        self.opened += 1
        self.life = self.lives.pop(0) if self.lives else [asyncio.Event()]
        if self.life and isinstance(self.life[0], LinkUnavailable):
            raise self.life[0]
        return self

    async def __aexit__(self, *_):
        self.closed += 1

    async def configure(self, setup):
        self.setups.append(setup)
        if setup.quantity in self.refuses:
            raise MeterRefused("it has no such function", port="p")
        return Held(setup.quantity, please_turn=self.turn)

    async def readings(self):
        for item in self.life:
            await asyncio.sleep(0)
            if isinstance(item, Exception):
                raise item
            if isinstance(item, asyncio.Event):
                await item.wait()
            yield item


class Seen:
    """Everything a feed hands on."""

    def __init__(self):
        self.readings, self.notices, self.lost = [], [], 0

    async def take(self, item):
        self.readings.append(item)

    async def tell(self, notice):
        self.notices.append(notice)

    def gone(self):
        self.lost += 1

    def codes(self):
        """Codes of the notices, in order."""
        return [notice.code for notice in self.notices]


@pytest.fixture(autouse=True)
def _quick(monkeypatch):
    monkeypatch.setattr(intake, "FIRST_WAIT_S", 0.01)
    monkeypatch.setattr(intake, "LONGEST_WAIT_S", 0.04)


@contextlib.asynccontextmanager
async def at_work(meter, wanted=None, name="meter"):
    """A feed that runs."""
    seen = Seen()
    feed = Feed(name, meter, HandClock(), seen.take, seen.tell, seen.gone, wanted)
    feed._wait_s = 0.01
    task = asyncio.create_task(feed.run())
    try:
        yield feed, seen
    finally:
        task.cancel()
        with contextlib.suppress(asyncio.CancelledError):
            await task


async def test_every_reading_is_handed_on_in_order():
    """And counted."""
    async with at_work(Scripted([reading(1), reading(2), reading(3), asyncio.Event()])) as (feed, seen):
        await until(lambda: feed.came == 3)
        assert [r.conversion for r in seen.readings] == [1, 2, 3]
        assert seen.codes() == []


async def test_a_broken_link_is_told_once_and_once_more_when_it_is_back():
    """However often it is tried in between, and with the remedy."""
    gone = [LinkUnavailable("nothing listens there", port="tcp:x", hint="Is it on?")]
    meter = Scripted(
        [reading(1), LinkLost("it hung up", port="tcp:x")], gone, gone, gone, [reading(2), asyncio.Event()]
    )
    async with at_work(meter) as (feed, seen):
        await until(lambda: feed.came == 2)
        await until(lambda: "meter.back" in seen.codes())
    assert seen.codes() == ["meter.lost", "meter.back"]
    assert seen.notices[0].weight is Severity.STOP
    assert "it hung up" in seen.notices[0].facts["cause"]
    assert seen.lost == 4
    assert meter.opened == 5


async def test_a_thermometer_that_is_away_stops_nothing_by_itself():
    """A temperature typed, or read a minute ago, still counts; one that is too old stops the bench."""
    meter = Scripted([LinkLost("it hung up", port="tcp:x")], [asyncio.Event()])
    async with at_work(meter, name="thermometer") as (_, seen):
        await until(lambda: seen.codes() == ["thermometer.lost"])
    assert seen.notices[0].weight is Severity.WARNING


class Turned(Scripted):
    """A meter that can say what it is set to: somebody has turned it before the third reading."""

    async def confirm(self):
        self.asked = getattr(self, "asked", 0) + 1
        raise MeterRefused("somebody turned it from RES to VOLT", port="p")


async def test_no_reading_that_may_bring_a_verdict_is_taken_from_a_meter_that_was_turned():
    """It is asked what it is set to, and what it has read since is void."""
    meter = Turned([reading(1), reading(2), reading(3)], [reading(4), asyncio.Event()])
    seen = Seen()
    feed = Feed("meter", meter, HandClock(), seen.take, seen.tell, seen.gone)
    ripe = SimpleNamespace(ripe=lambda each: each.conversion == 3)
    feed.heart = lambda: SimpleNamespace(meter=None, settling=ripe)
    task = asyncio.create_task(feed.run())
    await until(lambda: len(seen.readings) == 3)
    task.cancel()
    assert [each.conversion for each in seen.readings] == [1, 2, 4]
    assert seen.codes()[0] == "meter.lost"
    assert (meter.asked, seen.lost) == (1, 1)


async def test_an_instrument_that_stops_sending_is_lost():
    """Its stream ends without an error."""
    async with at_work(Scripted([reading(1)], [reading(2), asyncio.Event()])) as (feed, seen):
        await until(lambda: feed.came == 2)
    assert "stopped sending" in seen.notices[0].facts["cause"]


async def test_silence_is_told_too():
    """A meter that has never answered."""
    async with at_work(Scripted([LinkTimeout("no answer", port="p")] * 1)) as (_, seen):
        await until(lambda: seen.codes() == ["meter.lost"])


async def test_the_meter_is_set_when_the_step_wants_another_and_after_each_opening():
    """Not with every reading."""
    wanted = [Wanted(expected_ohm=100.0)]
    change, go_on = asyncio.Event(), asyncio.Event()
    meter = Scripted([reading(1), reading(2), change, LinkLost("gone", port="p")], [reading(4), go_on])
    async with at_work(meter, lambda: wanted[0]) as (feed, _):
        await until(lambda: feed.came == 2)
        assert [s.expected_si for s in meter.setups] == [100.0]
        wanted[0] = Wanted(Quantity.RESISTANCE_4W, 5.0)
        meter.life[2] = reading(3)
        change.set()
        await until(lambda: len(meter.setups) >= 2)
        assert meter.setups[-1].quantity is Quantity.RESISTANCE_4W
        await until(lambda: meter.opened == 2 and len(meter.setups) >= 3)
        assert meter.setups[-1].expected_si == 5.0


async def test_a_refused_function_is_told_once_and_does_not_end_the_feed():
    """The step asks for four wires; the meter has two."""
    meter = Scripted([reading(1), reading(2), asyncio.Event()], refuses={Quantity.RESISTANCE_4W})
    async with at_work(meter, lambda: Wanted(Quantity.RESISTANCE_4W)) as (feed, seen):
        await until(lambda: feed.came == 2)
    assert seen.codes() == ["meter.refused"]


async def test_what_must_be_turned_by_hand_is_said():
    """A meter with a dial."""
    meter = Scripted([reading(1), asyncio.Event()], turn=("Set the dial to ohms.",))
    async with at_work(meter, Wanted) as (feed, seen):
        await until(lambda: feed.came == 1)
    assert [(n.code, n.facts) for n in seen.notices] == [("meter.turn", {"turn": "Set the dial to ohms."})]


async def test_the_link_is_closed_whatever_ends_the_feed():
    """As often as it was opened."""
    meter = Scripted([reading(1), LinkLost("gone", port="p")], [reading(2), asyncio.Event()])
    async with at_work(meter) as (feed, _):
        await until(lambda: feed.came == 2)
    assert meter.opened == meter.closed == 2
