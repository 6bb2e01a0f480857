"""The fault dictionary is solved beside the bench, once for each sheet."""

from __future__ import annotations

import asyncio
import contextlib
import threading
from dataclasses import replace
from types import SimpleNamespace

import pytest

from acquire.bench import cache_warm_up
from acquire.physics.common import PairReading
from acquire.records import Purpose, WoundFrom
from acquire.steps.pairs import PairTable
from acquire.verdict import diagnose
from tests.known_records import BATCH
from tests.known_sheets import PLOVER, QUERN
from tests.waiting import until


def heart_of(sheet, batch=None):
    """As much of a heart as is looked at."""
    place = SimpleNamespace(sheet=sheet, purpose=Purpose.FINAL)
    batches = SimpleNamespace(batch=batch)
    return SimpleNamespace(place=place, four_wire_below_ohm=None, batches=batches, cards={})


@pytest.fixture(autouse=True)
def soon(monkeypatch):
    """The bench has started long ago, and is looked at often."""
    monkeypatch.setattr(cache_warm_up, "START_S", 0.01)
    monkeypatch.setattr(cache_warm_up, "LOOK_S", 0.01)


@contextlib.asynccontextmanager
async def foreseeing(pipeline):
    """The task at work."""
    task = asyncio.create_task(cache_warm_up.foresee(pipeline), name="fault dictionary")
    try:
        yield
    finally:
        task.cancel()
        await asyncio.gather(task, return_exceptions=True)


async def test_it_is_solved_in_a_thread_once_a_sheet(monkeypatch):
    """Again when the bench has got another sheet, and not before."""
    solved, here, hearts = [], threading.get_ident(), [heart_of(PLOVER)]

    def prepare(sheet, purpose, below_ohm):
        solved.append((sheet.name, purpose, below_ohm, threading.get_ident() == here))

    monkeypatch.setattr(cache_warm_up, "prepare", prepare)
    async with foreseeing(lambda: hearts[-1]):
        await until(lambda: solved)
        await asyncio.sleep(0.05)
        hearts.append(heart_of(QUERN))
        await until(lambda: len(solved) == 2)
    assert solved == [("Plover 80", Purpose.FINAL, 0.0, False), ("Quern 12", Purpose.FINAL, 0.0, False)]


async def test_what_a_first_unit_is_compared_with_is_solved_too(monkeypatch):
    """Once for a batch whose first unit is still to come, and again for another spool."""
    monkeypatch.setattr(cache_warm_up, "prepare", lambda *_: None)
    solved = []
    monkeypatch.setattr(cache_warm_up, "prepared", lambda batch, *_, **__: solved.append(batch.spools))
    fresh = replace(BATCH, spools=())
    spooled = replace(BATCH, spools=(WoundFrom("slow charge", "36-A"),))
    hearts = [heart_of(PLOVER, fresh)]
    async with foreseeing(lambda: hearts[-1]):
        await until(lambda: solved)
        hearts.append(heart_of(PLOVER, spooled))
        await until(lambda: len(solved) == 2)
        hearts.append(heart_of(PLOVER, replace(spooled, spools=(), first_serial="A1")))
        await asyncio.sleep(0.05)
    assert solved == [fresh.spools, spooled.spools]


@pytest.fixture
def solved():
    """How many dictionaries were solved, after those that other tests have left are gone."""
    diagnose._solved.cache_clear()
    return lambda: diagnose._solved.cache_info().misses


async def test_the_loop_goes_on_while_it_is_solved(solved):
    """Ten milliseconds of sleep stay short, though solving takes tenths of a second."""
    ticks = 0
    async with foreseeing(lambda: heart_of(PLOVER)):
        async with asyncio.timeout(30):
            while solved() < 2:
                await asyncio.sleep(0.01)
                ticks += 1
    assert ticks > 3


def test_what_is_prepared_is_what_the_diagnosis_asks_for(solved):
    """Nothing is solved a second time when the first unit fails."""
    diagnose.prepare(PLOVER, Purpose.FINAL)
    assert solved() == 2
    table = PairTable(PLOVER)
    readings = [PairReading(step.pair, 1.3 * table.nominal_ohm(step.pair), 0.01) for step in PLOVER.steps[:3]]
    found = diagnose.diagnose(PLOVER, table, readings, purpose=Purpose.FINAL)
    diagnose.best_next_pair(PLOVER, table, readings, found, purpose=Purpose.FINAL)
    assert solved() == 2


async def test_a_fault_of_ours_in_the_dictionary_stops_no_bench(monkeypatch):
    """It is logged, and the task goes on to the next sheet."""
    asked = []

    def prepare(sheet, *_):
        asked.append(sheet.name)
        raise ZeroDivisionError("a fault of ours")

    monkeypatch.setattr(cache_warm_up, "prepare", prepare)
    hearts = [heart_of(PLOVER)]
    async with foreseeing(lambda: hearts[-1]):
        await until(lambda: asked == [PLOVER.name])
        hearts.append(heart_of(QUERN))
        await until(lambda: asked == [PLOVER.name, QUERN.name])
