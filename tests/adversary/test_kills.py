"""A kill -9 after any journal entry changes nothing of a unit; see tests.adversary.kills."""

from __future__ import annotations

import random

import pytest

from tests.adversary.campaign import SHEETS
from tests.adversary.kills import compared, way


@pytest.mark.long
@pytest.mark.parametrize(
    ("sheet", "seed", "script"), [("linnet", "short-1", ()), ("corrie", "short-2", ((2, ".again"),))]
)
def test_a_killed_unit_ends_as_without_the_kill(sheet, seed, script):
    """Requests, steps, attempts and result are those of the run without it."""
    line, found = compared(sheet, seed, random.Random(seed), script=script)
    assert not found, line


@pytest.mark.long
@pytest.mark.timeout(0)
@pytest.mark.parametrize("number", range(70))
def test_seventy_units_end_as_without_the_kill(number):
    """Ten of each sheet, each killed after one entry of its journal."""
    name = list(SHEETS)[number % len(SHEETS)]
    line, found = compared(name, f"long-{number}", random.Random(number))
    assert not found, line


@pytest.mark.long
def test_a_way_is_the_same_twice():
    """The comparison itself: without a kill there is nothing to tell."""
    one, other = way("linnet", "short-1")[1], way("linnet", "short-1")[1]
    assert (one.steps, one.ended, one.asks) == (other.steps, other.ended, other.asks)
