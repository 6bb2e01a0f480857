"""The cursor loop: in order, at least once, tried again with back-off, never in the bench's way."""

import asyncio

import pytest

from acquire.clock import HandClock
from acquire.journal.store import Journal
from acquire.outlets.outlet import BackOff, Health, OutletFailed, drain, first_of
from tests.known_records import verdicts
from tests.waiting import until


class Listener:
    """An outlet that keeps what it gets, and fails when told to."""

    def __init__(self, at_once=10):
        self.at_once = at_once
        self.got = []
        self.faults = []  # raised one after the other by `send`
        self.entered = 0
        self.open = False
        self.broken = asyncio.Event()

    async def __aenter__(self):
        self.entered += 1
        self.open = True
        self.broken.clear()
        return self

    async def __aexit__(self, *_):
        self.open = False

    async def begins_behind(self, journal, cursor):
        return cursor

    async def send(self, entries):
        assert self.open
        if self.faults:
            fault = self.faults.pop(0)
            if getattr(fault, "sent", None) is not None:
                self.got += [entry.seq for entry in entries if entry.seq <= fault.sent]
            raise fault
        self.got += [entry.seq for entry in entries]

    async def watch(self):
        await self.broken.wait()
        raise OutletFailed("the line is cut")


@pytest.fixture
async def journal(tmp_path):
    opened = Journal.open(tmp_path, bench="b", clock=HandClock())
    yield opened
    await opened.close()


@pytest.fixture
def stop():
    return asyncio.Event()


def draining(journal, outlet, stop, **more):
    back_off = BackOff(0.01, 0.02)
    return asyncio.create_task(drain(journal, outlet, "ear", stop, back_off=back_off, **more), name="drain")


async def ended(task, stop):
    stop.set()
    await asyncio.wait_for(task, 30.0)


async def test_an_outlet_that_is_back_with_nothing_to_send_is_well_again(journal, stop, monkeypatch):
    """A broker that was away over lunch: nobody should read "failing" until the next verdict."""
    monkeypatch.setattr("acquire.outlets.outlet.STEADY_S", 0.1)
    outlet, health = Listener(), Health("ear")
    task = draining(journal, outlet, stop, health=health)
    await until(lambda: outlet.open)
    outlet.broken.set()
    await until(lambda: health.failing)
    assert health.failures == 1
    await until(lambda: not health.failing)
    assert outlet.open
    await ended(task, stop)


async def test_everything_goes_out_in_order_and_the_cursor_follows(journal, stop):
    """What was there before, and what comes while it runs."""
    await journal.append(verdicts(25))
    outlet, health = Listener(), Health("ear")
    task = draining(journal, outlet, stop, health=health)
    await until(lambda: len(outlet.got) == 25)
    await journal.append(verdicts(3))
    await until(lambda: len(outlet.got) == 28)
    await ended(task, stop)

    assert outlet.got == list(range(1, 29))
    assert await journal.cursor("ear") == 28
    assert (health.sent, health.failures, health.failing, health.cursor) == (28, 0, "", 28)


async def test_what_was_written_before_the_stop_still_goes_out(journal, stop):
    """A clean stop leaves nothing behind."""
    await journal.append(verdicts(25))
    stop.set()
    outlet = Listener()
    await asyncio.wait_for(draining(journal, outlet, stop), 30.0)

    assert outlet.got == list(range(1, 26))


async def test_a_restart_goes_on_behind_the_cursor(journal, stop):
    """Nothing twice, nothing left out."""
    await journal.append(verdicts(5))
    await journal.move_cursor("ear", 3)
    outlet = Listener()
    stop.set()
    await asyncio.wait_for(draining(journal, outlet, stop), 30.0)

    assert outlet.got == [4, 5]


async def test_a_failure_is_counted_and_tried_again(journal, stop):
    """Entered anew for each attempt; when it works again, the failure is over."""
    await journal.append(verdicts(5))
    outlet, health = Listener(), Health("ear")
    outlet.faults = [OutletFailed("no"), OutletFailed("still no")]
    task = draining(journal, outlet, stop, health=health)
    await until(lambda: outlet.got == [1, 2, 3, 4, 5])
    await ended(task, stop)

    assert (outlet.entered, health.failures, health.failing) == (3, 2, "")


async def test_what_went_out_before_a_failure_does_not_go_out_again(journal, stop):
    """An outlet that says how far it got goes on from there."""
    await journal.append(verdicts(8))
    outlet = Listener()
    outlet.faults = [OutletFailed("in the middle", sent=5)]
    task = draining(journal, outlet, stop)
    await until(lambda: len(outlet.got) == 8)
    await ended(task, stop)

    assert outlet.got == [1, 2, 3, 4, 5, 6, 7, 8]


async def test_a_fault_of_our_own_in_an_outlet_does_not_end_it(journal, stop):
    """It is logged with its traceback and tried again; the bench and the other outlets go on."""
    await journal.append(verdicts(2))
    outlet, health = Listener(), Health("ear")
    outlet.faults = [ZeroDivisionError("ours")]
    task = draining(journal, outlet, stop, health=health)
    await until(lambda: outlet.got == [1, 2])
    await ended(task, stop)

    assert health.failures == 1


async def test_a_line_that_breaks_while_idle_is_noticed(journal, stop):
    """Not only with the next verdict, which may be an hour away."""
    outlet = Listener()
    task = draining(journal, outlet, stop)
    await until(lambda: outlet.entered == 1)
    outlet.broken.set()
    await until(lambda: outlet.entered == 2)
    await ended(task, stop)


async def test_a_stop_during_a_failure_makes_one_last_attempt(journal, stop):
    """And ends then, instead of trying for ever."""
    await journal.append(verdicts(1))
    outlet = Listener()
    outlet.faults = [OutletFailed("no")] * 1000
    task = draining(journal, outlet, stop)
    await until(lambda: outlet.entered > 2)
    await ended(task, stop)
    assert await journal.cursor("ear") == 0

    outlet.faults = []
    await asyncio.wait_for(draining(journal, outlet, stop), 30.0)
    assert outlet.got == [1]


async def test_an_outlet_that_hangs_does_not_hold_up_the_journal(journal, stop):
    """Verdicts go on the record while an outlet sleeps."""

    class Sleeper(Listener):
        async def send(self, entries):
            await asyncio.Event().wait()

    await journal.append(verdicts(1))
    task = draining(journal, Sleeper(), stop)
    await asyncio.sleep(0.02)
    async with asyncio.timeout(30.0):
        await journal.append(verdicts(20))
    task.cancel()
    with pytest.raises(asyncio.CancelledError):
        await task


def test_waiting_times_double_to_the_longest_and_start_anew_after_success():
    """With jitter: between half of the time and all of it."""
    back_off = BackOff(1.0, 8.0)
    for expected in (1.0, 2.0, 4.0, 8.0, 8.0):
        assert expected / 2 <= back_off.next_s() <= expected
    back_off.reset()
    assert back_off.next_s() <= 1.0
    assert len({back_off.next_s() for _ in range(20)}) > 5, "no jitter"


async def test_the_first_of_several_ends_the_others():
    """And its error is raised."""
    others = asyncio.Event()

    async def fails():
        await asyncio.sleep(0.01)
        raise OutletFailed("cut")

    with pytest.raises(OutletFailed, match="cut"):
        await first_of(others.wait(), fails())
