"""Solved dictionaries within a budget of bytes."""

from __future__ import annotations

from dataclasses import replace
from itertools import combinations

import pytest

from acquire.records import Pair, Pin, Purpose
from acquire.steps.pairs import PairTable
from acquire.verdict.casebook import FaultModel
from acquire.verdict.circuits import healthy
from acquire.verdict.diagnose import BUDGET_BYTES, LruCache
from acquire.verdict.dictionary import cases
from tests.known_sheets import FATHOM, PLOVER, QUERN, winding


@pytest.fixture(scope="module")
def book():
    """A real one."""
    return FaultModel(cases(QUERN, Purpose.INCOMING), healthy(QUERN), PairTable(QUERN).pairs())


def test_what_was_asked_for_longest_ago_goes_first(book):
    """Room for two and a half: a third one costs the one that was not used since."""
    shelf, made = LruCache(2.5 * book.nbytes), []

    def make(name):
        return lambda: made.append(name) or book

    for name in ("a", "b", "a", "c", "a", "b"):
        shelf.take(name, make(name))
    assert made == ["a", "b", "c", "b"]
    assert shelf.nbytes <= 2.5 * book.nbytes


def test_one_beyond_the_budget_is_kept_all_the_same(book):
    """Else it would be solved for each unit."""
    shelf = LruCache(1.0)
    assert shelf.take("a", lambda: book) is shelf.take("a", lambda: pytest.fail("solved twice"))


def test_the_sheets_that_ship_take_a_small_part(book):
    """And what counts is really counted: means alone are 8 bytes a circuit and pair."""
    assert book.nbytes > 8 * len(book.laws.case) * len(book.pairs)
    sizes = [
        FaultModel(cases(sheet, Purpose.INCOMING), healthy(sheet), PairTable(sheet).pairs()).nbytes
        for sheet in (PLOVER, QUERN, FATHOM)
    ]
    assert sum(sizes) < 0.3 * BUDGET_BYTES


def test_twenty_pins_in_every_pair_fit_the_budget():
    """Ten windings on twenty pins, 190 pairs: matrices alone would take 730 MB."""
    pins = [str(number) for number in range(1, 21)]
    windings = tuple(winding(f"w{a}", a, str(int(a) + 1), 10.0 + int(a), 0.05, 500) for a in pins[::2])
    many = replace(PLOVER, pins=tuple(Pin(pin) for pin in pins), branches=windings, steps=(), isolations=())
    pairs = [Pair(a, b) for a, b in combinations(pins, 2)]
    assert FaultModel(cases(many, Purpose.INCOMING), healthy(many), pairs).nbytes < 0.2 * BUDGET_BYTES
