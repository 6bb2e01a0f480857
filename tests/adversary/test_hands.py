"""Hands that are not obedient: no value counts for a pair that they did not touch."""

from __future__ import annotations

import dataclasses

import pytest

from tests.adversary.benches import at, judged, long_form, scan, sound
from tests.adversary.campaign import FAILED, foreign_steps
from tests.adversary.hands import HURRIED, LINGERING, MASHING, SLIPPING, STILL

SHORT = dataclasses.replace(LINGERING, linger_s=(0.1, 0.8))


@pytest.mark.parametrize(
    "habit",
    [SLIPPING, *map(long_form, (HURRIED, SHORT, MASHING))],
    ids=["slipping", "hurried", "lingering", "mashing"],
)
@pytest.mark.parametrize("sheet", ["linnet", long_form("quern")])
def test_a_sound_unit_is_not_failed_by_the_way_it_is_touched(tmp_path, sheet, habit):
    """It gets its result, no fail, and each value from a touch of its own pair."""
    with at(tmp_path, sheet) as (bench, hands):
        hands.habit = habit
        unit = sound(hands)
        result = hands.measure(unit)
        assert result, (bench.ask, bench.output()[-1500:])
        assert result["outcome"] not in FAILED
        assert foreign_steps(bench.journal, unit.serial, bench.probes.log)[0] == ()


@pytest.mark.long
def test_probes_that_never_move_measure_one_pair(tmp_path):
    """Put down once and left there, with Enter pressed again and again: one verdict, no result."""
    with at(tmp_path, "skerry") as (bench, hands):
        unit = sound(hands)
        scan(bench, hands, unit)
        judged(bench, hands, 1)
        hands.habit = dataclasses.replace(STILL, mash=1.0, tired_s=0.5)
        assert hands.go_on(unit.serial, within_s=8.0) is None
        assert len(bench.journal.verdicts(unit.serial)) == 1
