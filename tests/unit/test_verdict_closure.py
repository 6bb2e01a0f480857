"""Closed relations of a circuit are quantities with value, U and limit."""

import math
from dataclasses import replace

import numpy as np
import pytest

from acquire.physics.common import PairReading
from acquire.records import Outcome, Pair, Purpose
from acquire.records.codes import ClosureKind
from acquire.steps.pairs import PairTable
from acquire.verdict.closure import closures, joint_limit_ohm
from tests.known_sheets import FATHOM, PLOVER, QUERN, winding
from tests.true_units import Errors, measured

CHARGE = (Pair("1", "2"), Pair("2", "3"), Pair("1", "3"))
LINES = (Pair("U", "V"), Pair("V", "W"), Pair("U", "W"))


def test_two_ohms_in_a_shared_pin_fail():
    """Every pair passes; R12 + R23 - R13 says that the joint at pin 2 has 2 ohms, 0.3 allowed."""
    readings = measured(PLOVER, CHARGE, joints={"2": 2.0})
    table = PairTable(PLOVER)
    for reading in readings:
        limits = table.limits(reading.pair, Purpose.FINAL)
        assert limits.lower_ohm < reading.ohm < limits.upper_ohm
    (found,) = closures(table, readings, Purpose.FINAL)
    assert (found.kind, found.where, found.upper_ohm) == (ClosureKind.JOINT, "2", 0.3)
    assert found.ohm == pytest.approx(2.0, abs=1e-3)
    assert found.expanded_ohm < 0.05
    assert found.outcome is Outcome.FAIL
    assert found.conformance_probability < 1e-6


@pytest.mark.parametrize(
    ("joint", "outcome"),
    [(0.0, Outcome.PASS), (0.25, Outcome.PASS), (0.29, Outcome.CONDITIONAL_PASS), (0.6, Outcome.FAIL)],
)
def test_a_joint_is_judged_by_its_limit(joint, outcome):
    (found,) = closures(PairTable(PLOVER), measured(PLOVER, CHARGE, joints={"2": joint}), Purpose.FINAL)
    assert found.ohm == pytest.approx(joint, abs=1e-3)
    assert found.outcome is outcome


def test_the_sheet_may_say_the_limit():
    """And a low-ohm winding has a lower one by itself."""
    strict = replace(PLOVER, joint_limit_ohm=0.05)
    (found,) = closures(PairTable(strict), measured(strict, CHARGE, joints={"2": 0.2}), Purpose.FINAL)
    assert found.outcome is Outcome.FAIL
    assert joint_limit_ohm(PairTable(QUERN), "U") == pytest.approx(0.04404)
    assert joint_limit_ohm(PairTable(FATHOM), "1") == 0.3


def test_a_joint_less_than_nothing_is_a_contradiction():
    """1-3 read on another pair: no joint has less than no ohms."""
    readings = measured(PLOVER, CHARGE)
    wrong = readings[2]._replace(ohm=readings[2].ohm + 3.0)
    at_rest = closures(PairTable(PLOVER), readings, Purpose.FINAL)[0].ohm
    (found,) = closures(PairTable(PLOVER), [*readings[:2], wrong], Purpose.FINAL)
    assert found.contradicts
    assert not closures(PairTable(PLOVER), readings, Purpose.FINAL)[0].contradicts
    u_ohm = found.expanded_ohm / 1.96
    for sigmas, contradicts in ((3.0, False), (6.0, True)):  # one time in a thousand good units, or never
        moved = readings[2]._replace(ohm=readings[2].ohm + 2.0 * (at_rest + sigmas * u_ohm))
        (found,) = closures(PairTable(PLOVER), [*readings[:2], moved], Purpose.FINAL)
        assert found.contradicts is contradicts


def test_errors_that_pairs_share_cancel_in_a_joint():
    """Coverage of the joint's U with temperature and lead zero wrong for all pairs of a unit alike."""
    dice = np.random.default_rng(11)
    within = 0
    for _ in range(150):
        readings = measured(PLOVER, CHARGE, Errors.drawn(dice), joints={"2": 0.1})
        (found,) = closures(PairTable(PLOVER), readings, Purpose.FINAL)
        within += abs(found.ohm - 0.1) <= found.expanded_ohm
    assert 0.92 <= within / 150 <= 0.985


def test_the_neutral_of_a_star_shows_its_joint():
    """U-N + V-N - U-V; the other pins share nothing but their own phase."""
    pairs = (*LINES, Pair("U", "N"), Pair("V", "N"))
    readings = measured(QUERN, pairs, four_wire=True, joints={"N": 0.1})
    found = closures(PairTable(QUERN), readings, Purpose.FINAL)
    joints = [each for each in found if each.kind is ClosureKind.JOINT]
    assert [each.where for each in joints] == ["N"]
    assert joints[0].outcome is Outcome.FAIL


def test_a_phase_of_a_star_without_neutral_has_limits_of_its_own():
    """3 % low in phase V and a joint in pin W: each hidden in the line readings' limits."""
    star = replace(QUERN, steps=(), pins=QUERN.pins[:3])
    low = {"phase V": 0.4404 * 0.94}
    found = closures(PairTable(star), measured(star, LINES, four_wire=True, ohms=low), Purpose.FINAL)
    outcomes = {each.where: each.outcome for each in found}
    assert outcomes["phase V"] in (Outcome.FAIL, Outcome.CONDITIONAL_FAIL)
    assert outcomes["phase U"] is Outcome.PASS
    joint = closures(PairTable(star), measured(star, LINES, four_wire=True, joints={"W": 0.1}), Purpose.FINAL)
    assert {e.where: e.outcome for e in joint}["phase W"] is Outcome.FAIL


def test_a_phase_is_known_as_its_three_line_readings_are():
    """(U-V + V-W - U-W) / 2 of readings known to 5 milliohm each, independently: 8.7 milliohm, 95 %."""
    star = replace(QUERN, steps=(), pins=QUERN.pins[:3])
    table = PairTable(star)
    readings = [PairReading(pair, table.nominal_ohm(pair), 5e-3) for pair in LINES]
    phases = [each for each in closures(table, readings, Purpose.FINAL) if each.kind is ClosureKind.WINDING]
    assert len(phases) == 3
    for each in phases:
        assert each.expanded_ohm == pytest.approx(math.sqrt(3.0) * 5e-3, rel=0.05)


def test_a_phase_of_a_delta_has_limits_of_its_own():
    """7 % low in one phase of a delta moves its own line reading by 4.7 %."""
    delta = replace(
        QUERN,
        pins=QUERN.pins[:3],
        branches=tuple(winding(f"phase {a}{b}", a, b, 0.9, 0.04, 100) for a, b in ("UV", "VW", "WU")),
        steps=(),
        balances=(),
    )
    low = {"phase UV": 0.9 * 0.93}
    found = closures(PairTable(delta), measured(delta, LINES, four_wire=True, ohms=low), Purpose.FINAL)
    assert {each.where: each.outcome for each in found}["phase UV"] is Outcome.FAIL
    assert all(each.ohm == pytest.approx(0.9, rel=2e-3) for each in found if each.where != "phase UV")


def test_a_strap_beside_a_winding_does_not_hide_it():
    """5-6 of the Plover is lighting and strap: the pair judges it, whatever a bad joint does elsewhere."""
    pairs = [step.pair for step in PLOVER.steps]
    found = closures(PairTable(PLOVER), measured(PLOVER, pairs, joints={"2": 12.0}), Purpose.FINAL)
    assert [each.where for each in found] == ["2"]


def test_windings_that_pairs_show_alone_are_not_judged_twice():
    """The pairs' own limits judge them; open pairs say nothing."""
    readings = measured(FATHOM, (Pair("1", "2"), Pair("3", "4")))
    assert closures(PairTable(FATHOM), readings, Purpose.FINAL) == ()
    assert closures(PairTable(PLOVER), [PairReading(Pair("1", "2"), math.inf, 0.0)], Purpose.FINAL) == ()
