"""Units with known truth through the real daemon: the short form of `python -m tests.adversary`."""

from __future__ import annotations

import pytest

from tests.adversary.benches import long_form
from tests.adversary.campaign import SHEETS, campaign, one_life

QUICK = {"skerry"}


@pytest.mark.parametrize("sheet", [name if name in QUICK else long_form(name) for name in SHEETS])
def test_no_bad_unit_passes_and_no_good_one_fails(tmp_path, sheet):
    """One planned unit of each sheet; what its readings cannot tell may go either way."""
    fates = one_life(sheet, SEEDS[sheet], 1, folder=tmp_path)
    assert not [fate.line() for fate in fates if fate.wrong or fate.became == "unfinished"]


SEEDS = {name: f"short-{name}" for name in SHEETS}


@pytest.mark.long
@pytest.mark.timeout(0)
def test_three_hundred_units_are_judged_rightly():
    """7 sheets, 308 units, warm by up to 40 K, thermometer off by up to 3 K, joints, shorts, opens, slips."""
    habits = ("obedient", "lingering", "slipping", "mashing")
    tally = campaign(
        308, list(SHEETS), "long", per_life=11, habits=habits, say=lambda fate: print(fate.line())
    )
    print(tally.table())
    assert not tally.broken
    assert not [fate.line() for fate in tally.wrong]
    assert not [fate.line() for fate in tally.fates if fate.became == "unfinished"]
