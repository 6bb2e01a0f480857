"""The scenes: their mix, their sizes, and what a perfect bench would say."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from sim.faults import Fault
from sim.files import Unusable
from sim.scenes import build_scene, of_sheet
from sim.truth import unit_facts
from tests.tries import tries

SCENES = ("plover-80", "plover-80-rough", "quern-12", "fathom-7")
SEEDS = st.integers(0, 2**32)


def facts(name, seed, number=None):
    """The truth about every unit of a scene."""
    scene = build_scene(name, seed, number)
    return [unit_facts(scene.kind, planned) for planned in scene.units]


@tries(30)
@given(SEEDS)
def test_ten_plovers_are_seven_good_ones_and_three_faulty_ones_under_any_seed(seed):
    """One good one is warm, one is probed wrongly at first; the faults are clear ones."""
    units = facts("plover-80", seed)
    stories = sorted(u["story"] for u in units)
    assert stories == sorted(["good"] * 5 + ["warm", "wrong pair", "shorted", "joint", "open"])
    bad = {u["story"] for u in units if u["verdict"] == "fail"}
    assert bad == {"shorted", "joint", "open"}
    assert [u["story"] for u in units if u["too_warm_to_judge"]] == ["warm"]
    assert units[0]["story"] == "good"


@tries(30)
@given(SEEDS, st.integers(1, 40))
def test_any_number_of_units_has_about_the_same_mix_and_serials_of_its_own(seed, number):
    """Three in ten are faulty, a short day shows the telling ones first."""
    units = facts("plover-80", seed, number)
    assert len({u["serial"] for u in units}) == number
    faulty = sum(u["verdict"] == "fail" for u in units)
    assert abs(faulty - 0.3 * number) <= 2.1


@tries(30)
@given(SEEDS)
def test_good_units_are_clear_of_their_limits(seed):
    """At least a fifth of the tolerance is left, so that a good bench can pass them."""
    for unit in facts("plover-80", seed):
        if unit["story"] in {"good", "warm", "wrong pair"}:
            for pair in unit["pairs"].values():
                room = (pair["upper_ohm"] - pair["lower_ohm"]) / 10
                assert pair["lower_ohm"] + min(room, pair["nominal_ohm"]) - 1e-5 <= pair["true_ohm_20"]
                assert pair["true_ohm_20"] <= pair["upper_ohm"] - room


@tries(20)
@given(SEEDS)
def test_the_transformers_tell_their_story(seed):
    """All ohms in limits; a step at the new spool; unit 17 fails the match alone; unit 31 passes all ohms."""
    units = facts("fathom-7", seed)
    assert all(pair["verdict"] == "pass" for unit in units for pair in unit["pairs"].values())
    assert [u["serial"] for u in units if u["verdict"] == "fail"] == ["F7-0017"]
    assert units[30]["fault"]["kind"] == "reversed"
    before, after = (
        sum(u["pairs"]["1-2"]["true_ohm_20"] for u in part) / len(part) for part in (units[:22], units[22:])
    )
    assert before / after == pytest.approx(1.012 / 0.976, rel=0.01)


@tries(30)
@given(SEEDS)
def test_the_faults_of_the_stators_are_clear_ones(seed):
    """Good and warm ones pass, all the others fail."""
    for unit in facts("quern-12", seed):
        assert (unit["verdict"] == "pass") == (unit["story"] in {"good", "warm"}), unit


@pytest.mark.parametrize("name", SCENES)
def test_the_same_seed_builds_the_same_scene(name):
    """And another seed another one."""
    assert facts(name, 7) == facts(name, 7) != facts(name, 8)


def test_a_scene_of_another_name_does_not_exist():
    """It says which there are."""
    with pytest.raises(Unusable, match="plover-80-rough"):
        build_scene("nowhere", 1)


def test_the_batch_types_what_it_must():
    """Opening, the other spool, what an inductance meter shows, and the end."""
    units = build_scene("fathom-7", 7).units
    assert [n for n, u in enumerate(units, 1) if u.before] == [1, 23]
    assert units[30].after == (".result polarity = opposing, fail, by LCR-1",)
    assert units[39].after == (".result polarity = aiding, pass, by LCR-1", ".finish")
    short = build_scene("fathom-7", 7, 3).units
    assert [u.story for u in short] == ["good"] * 3
    assert short[2].after[-1] == ".finish"


def test_units_of_a_sheet_have_the_faults_in_turn():
    """As many as there are faults; the same good units as a scene has."""
    scene = of_sheet("plover-80", 7, [Fault(), Fault("open", "trigger")])
    assert [unit.story for unit in scene.units] == ["good", "open"]
    assert [unit_facts(scene.kind, unit)["verdict"] for unit in scene.units] == ["pass", "fail"]
    assert scene.units[0].unit == build_scene("plover-80", 7).units[0].unit
