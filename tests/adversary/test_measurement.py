"""What several readings share: temperature of the unit, lead zero, closed relations. The "Seen" lines of
issue 16.

Units cool ten times faster than in a workshop, as these hands are ten times faster than a person's.
"""

from __future__ import annotations

import time

import pytest

from tests.adversary.benches import at, long_form, sound
from tests.adversary.campaign import FAILED, PASSED
from tests.adversary.record import is_held


def measured(bench, hands, unit, **words):
    """A unit's result."""
    unit.warmth.since_s = time.monotonic()
    result = hands.measure(unit, **words)
    assert result, (bench.ask, bench.output()[-1500:])
    return result


def warm(unit, kelvin):
    """Two exponentials: minutes and an hour, ten times faster."""
    unit.warmth.kelvin, unit.warmth.quick, unit.warmth.quick_s, unit.warmth.slow_s = kelvin, 0.4, 24.0, 240.0
    return unit


@pytest.mark.parametrize(
    ("sheet", "scaled", "kelvin"),
    [
        ("corrie", {"start": 0.92}, 9.0),
        long_form("corrie", {"run": 0.935, "start": 0.935}, 8.0),
        long_form(
            "plover", {"slow charge": 0.925, "fast charge": 0.925, "trigger": 0.915, "lighting": 0.935}, 8.0
        ),
        long_form("linnet", {"inner": 0.925, "outer": 0.925}, 5.0),
    ],
)
def test_a_bad_unit_that_is_warm_does_not_pass(tmp_path, sheet, scaled, kelvin):
    """Low by more than its tolerance, warm by what brings it inside again: held or failed, never passed."""
    with at(tmp_path, sheet) as (bench, hands):
        result = measured(bench, hands, warm(sound(hands, scaled=scaled), kelvin))
        assert result["outcome"] not in PASSED


@pytest.mark.long
def test_a_good_unit_held_as_warm_does_not_fail_when_it_is_scanned_again_at_once(tmp_path):
    """20 K warm: held; scanned again at once: held again; never failed for what the heat does."""
    with at(tmp_path, "plover") as (bench, hands):
        unit = warm(sound(hands), 25.0)
        first = measured(bench, hands, unit)
        assert is_held(first)
        since_s = unit.warmth.since_s
        result = hands.measure(unit)
        assert unit.warmth.since_s == since_s
        assert result
        assert result["outcome"] not in FAILED


@pytest.mark.long
@pytest.mark.parametrize(
    ("sheet", "pin"), [long_form("plover", "2"), ("linnet", "2"), long_form("corrie", "C")]
)
@pytest.mark.parametrize("joint_ohm", [long_form(2.0), 0.6])
def test_a_joint_that_closes_no_relation_does_not_pass(tmp_path, sheet, pin, joint_ohm):
    """R12 + R23 - R13 is twice the joint in pin 2, known to some milliohms: 0.6 ohm is over any limit."""
    with at(tmp_path, sheet) as (bench, hands):
        result = measured(bench, hands, sound(hands, joints={pin: joint_ohm}))
        assert result["outcome"] not in PASSED
        places = [place for each in result["hypotheses"][:1] for place in each.get("places") or ()]
        assert result["hypotheses"][0]["fault"] == "bad_joint"
        assert any(pin in place["where"] for place in places), places


@pytest.mark.long
@pytest.mark.parametrize("sheet", ["linnet", *map(long_form, ("plover", "corrie", "quern"))])
def test_a_sound_unit_passes_with_all_that_closes(tmp_path, sheet):
    """No joint, room temperature: pass."""
    with at(tmp_path, sheet) as (bench, hands):
        assert measured(bench, hands, sound(hands))["outcome"] == "pass"


@pytest.mark.long
def test_a_lead_zero_that_is_off_by_a_tenth_of_an_ohm_fails_no_motor(tmp_path):
    """Zeroed with dirty tips: all pairs low by 0.1 ohm, which a star of 9 ohm does not fail by."""
    with at(tmp_path, "skerry") as (bench, hands):
        bench.probes.short_extra_ohm = 0.1
        result = measured(
            bench, hands, sound(hands, scaled={"phase U": 0.96, "phase V": 0.96, "phase W": 0.96})
        )
        assert result["outcome"] not in FAILED


@pytest.mark.long
def test_thermal_voltages_are_in_the_budget_unless_they_are_compensated(tmp_path):
    """The meter could cancel them; a bench that never switched that on has one more term in its budget."""
    terms = {}
    for compensated in (False, True):
        words = "offset_compensation = true" if compensated else ""
        with at(tmp_path / str(compensated), "quern", meter=words) as (bench, hands):
            measured(bench, hands, sound(hands))
            sent = any(command.endswith("OCOM ON") for command in bench.instrument.commands)
            assert sent == compensated
            first = bench.journal.entries("verdict")[0]
            terms[compensated] = {
                t["name"] for t in first.evidence["terms"] if t["standard_uncertainty_ohm"] > 0
            }
    assert terms[True] < terms[False]
