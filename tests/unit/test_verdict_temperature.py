"""The temperature of a unit as an unknown: nothing passes that a likely temperature would fail."""

import math
from collections import Counter
from dataclasses import replace

import numpy as np
import pytest

from acquire.choices import FAILING, PASSING
from acquire.physics.common import PairReading
from acquire.records import Outcome
from acquire.steps.pairs import PairTable
from acquire.verdict.temperature import Standing, excess, of_temperature, shared_shift
from tests.known_sheets import PLOVER
from tests.later import multivariate_normal
from tests.true_units import HAND, MOTOR, Cooling, Errors, worked

UNITS = 10


def ruled(sheet, kelvin, *, ohms=None, rested_s=None, units=UNITS, spread=True, touches=None, **errors):
    """How the results of units stand: (standing, outcome) -> how many."""
    dice = np.random.default_rng(7)
    found = Counter()
    for _ in range(units):
        unit = worked(
            sheet, Errors.drawn(dice, **errors), Cooling.drawn(dice, kelvin), ohms=ohms, spread=spread
        )
        told = of_temperature(unit.table, unit.judged, unit.looks[:touches], rested_s=rested_s)
        found[told.standing, told.outcome if told.standing is Standing.STANDS else None] += 1
    return found


def passed(found):
    """Units whose result stands as a pass."""
    return sum(found[Standing.STANDS, outcome] for outcome in PASSING)


def failed(found):
    """Units whose result stands as a fail."""
    return sum(found[Standing.STANDS, outcome] for outcome in FAILING)


def test_a_cold_good_unit_passes():
    """A motor with 5 % limits and a plate with 6 %, at rest, by a bench meter."""
    assert passed(ruled(MOTOR, 0.0)) >= 0.85 * UNITS
    assert passed(ruled(PLOVER, 0.0)) >= 0.95 * UNITS


def test_a_start_winding_too_short_never_passes_warm():
    """8 % short and 9 K warm reads 4.7 % low, inside 5 %."""
    assert passed(ruled(MOTOR, 9.0, ohms={"start": 94.0 * 0.92, "run": 48.0})) == 0


@pytest.mark.parametrize("kelvin", [5.0, 8.0])
def test_all_windings_too_low_never_pass_warm(kelvin):
    """6.5 % low in all windings and some kelvin warm: no ratio shows it, only a cooling of 3 to 40 sigma."""
    assert passed(ruled(MOTOR, kelvin, ohms={"start": 94.0 * 0.935, "run": 48.0 * 0.935})) == 0


@pytest.mark.long
def test_of_a_thousand_warm_bad_units_none_passes():
    """As above at 8 K, where the two cancel; the slowest to cool look most like cold good ones."""
    low = {"start": 94.0 * 0.935, "run": 48.0 * 0.935}
    assert passed(ruled(MOTOR, 8.0, ohms=low, units=1000)) == 0


def test_a_unit_too_slow_to_be_seen_cooling_is_asked_about():
    """8 K over an hour and a half: 0.1 K between the touches, and every pair well inside its limits."""
    low, slow = {"start": 94.0 * 0.935, "run": 48.0 * 0.935}, Cooling(8.0, slow_s=5720.0, share=0.0)
    for seed in range(10):
        unit = worked(MOTOR, Errors.drawn(np.random.default_rng(seed)), slow, ohms=low)
        assert of_temperature(unit.table, unit.judged, unit.looks).standing is Standing.ASK


def test_what_passes_as_it_reads_and_fails_as_it_is_rests_first():
    """6.5 % low and 5 K warm, seen to cool: no verdict before it is cold."""
    found = ruled(MOTOR, 5.0, ohms={"start": 94.0 * 0.935, "run": 48.0 * 0.935})
    assert {standing for standing, _ in found} <= {Standing.HELD, Standing.ASK}


@pytest.mark.parametrize("kelvin", [0.0, 30.0])
@pytest.mark.parametrize("start_ohm", [900.0, 2.0, math.inf])
def test_what_no_temperature_explains_fails_at_once(start_ohm, kelvin):
    """A joint of 800 ohm, nearly all turns shorted, a break: nothing more is seen of a unit that cools."""
    found = ruled(MOTOR, kelvin, ohms={"start": start_ohm, "run": 48.0}, spread=False)
    assert {standing for standing, _ in found} == {Standing.STANDS}
    assert not passed(found)


def test_a_warm_good_unit_never_fails():
    """9 and 30 K: held or asked about."""
    for kelvin in (9.0, 30.0):
        assert failed(ruled(MOTOR, kelvin)) == 0
        assert failed(ruled(PLOVER, kelvin)) == 0


def test_a_cold_bad_unit_fails():
    """8 % short in one winding; the other is good and does not move."""
    assert failed(ruled(MOTOR, 0.0, ohms={"start": 94.0 * 0.92, "run": 48.0})) >= 0.7 * UNITS


def test_one_winding_by_a_hand_meter_is_asked_about_and_a_stated_rest_decides():
    """Nothing shows the temperature of a single winding in counts of 0.1 ohm."""
    single = replace(MOTOR, branches=MOTOR.branches[1:], steps=MOTOR.steps[1:2])
    coarse = {"accuracy": replace(HAND, counts=2.0, fraction_of_reading=2e-3), "noise": 1e-4, "touches": 1}
    asked = ruled(single, 0.0, spread=False, **coarse)
    assert asked == {(Standing.ASK, None): UNITS}
    told = ruled(single, 0.0, rested_s=2.0 * 3600.0, spread=False, **coarse)
    assert passed(told) == UNITS


def test_what_is_unsure_of_the_temperature_is_in_every_budget():
    """U grows by a term of the winding against the thermometer, and the guard band with it."""
    dice = np.random.default_rng(3)
    unit = worked(MOTOR, Errors.drawn(dice), Cooling(0.0), spread=False)
    told = of_temperature(unit.table, unit.judged, unit.looks, rested_s=7200.0)
    assert 0.3 < told.u_kelvin < 0.7
    per_kelvin = 1.0 / 254.5
    for each, step in zip(unit.judged, told.steps, strict=True):
        temperature = 2.0 * told.u_kelvin * per_kelvin * each.reading.ohm
        assert step.expanded_ohm == pytest.approx(np.hypot(2.0 * each.reading.u_ohm, temperature), rel=0.05)


def test_a_shared_shift_is_weighed_as_good_or_bad_or_jointed_or_anything():
    """The mixture of four normal laws by scipy, at three excesses: only its differences count."""
    ohms, reads = np.array([48.0, 94.0, 142.0]), np.array([48.9, 95.1, 144.3])
    readings = [PairReading(step.pair, ohm, 1e-3 * ohm) for step, ohm in zip(MOTOR.steps, reads, strict=True)]
    shares = np.array([[1.0, 0.0], [0.0, 1.0], [1.0, 1.0]])
    parts = shares * ohms[:2]
    own = np.array([branch.spread for branch in MOTOR.branches]) * ohms[:2]
    good = shares @ np.diag(own**2) @ shares.T + np.diag((1e-3 * reads) ** 2)
    bad = np.hstack([parts, ohms[:, None]])
    pins = np.array([[1, 1, 0], [1, 0, 1], [0, 1, 1]]) * 48.0  # R, C, S at C-R, C-S, R-S
    wild = 30.0 * np.diag(ohms)
    laws = [(0.81, good), *((s, good + 0.01 * w @ w.T) for s, w in ((0.15, bad), (0.03, pins), (0.01, wild)))]
    kelvin = np.array([0.0, 4.0, 30.0])
    theirs = [
        math.log(sum(s * multivariate_normal.pdf(off, None, law) for s, law in laws))
        for off in (reads - ohms * (1.0 + k / 254.5) for k in kelvin)
    ]
    ours = shared_shift(PairTable(MOTOR), readings).log_like(np.ones((3, 1)), kelvin)[0]
    assert ours - ours[0] == pytest.approx(np.array(theirs) - theirs[0], abs=1e-6)


def test_a_held_unit_comes_back_by_time_and_steadiness():
    """Scanned at once it is held again and told how long; rested and steady it passes."""
    dice = np.random.default_rng(5)
    cooling = Cooling(25.0)
    errors = Errors.drawn(dice)
    unit = worked(MOTOR, errors, cooling, spread=False)
    held = of_temperature(unit.table, unit.judged, unit.looks)
    assert held.standing is Standing.HELD
    wait_s = held.warmth.at_most_s
    assert 0.0 < held.warmth.at_least_s < wait_s
    at_once = of_temperature(unit.table, unit.judged, unit.looks, rested_s=60.0)
    assert at_once.standing is Standing.HELD
    rested = Cooling(float(cooling.at(wait_s)))
    later = worked(MOTOR, errors, rested, spread=False)
    passes = of_temperature(later.table, later.judged, later.looks, rested_s=wait_s)
    assert passes.standing is Standing.STANDS
    assert passes.outcome is Outcome.PASS


@pytest.mark.parametrize("stated", [False, True])
def test_after_the_upper_end_of_the_wait_a_unit_is_within_a_kelvin(stated):
    """Parts of 3 min to 4 h as two exponentials, their mass known to a third or not at all.

    The binomial law leaves 2 % of spread to 80 units that are right 96 times of 100.
    """
    dice = np.random.default_rng(11)
    within = longer = held = 0
    for _ in range(80):
        slow_s = math.exp(dice.uniform(math.log(180.0), math.log(14400.0)))
        thought_s = slow_s * math.exp(dice.normal(0.0, 0.35))
        sheet = replace(MOTOR, mass_kg=0.3 * (thought_s / 1080.0) ** 3 if stated else None)
        cooling = Cooling(
            dice.uniform(4.0, 50.0), slow_s, slow_s * dice.uniform(0.04, 0.3), dice.uniform(0.0, 0.6)
        )
        unit = worked(sheet, Errors.drawn(dice), cooling)
        told = of_temperature(unit.table, unit.judged, unit.looks)
        end_s = unit.looks[-1].at_s
        if told.standing is Standing.HELD and cooling.at(end_s) > 1.0:
            held += 1
            within += cooling.at(end_s + told.warmth.at_most_s) <= 1.0 + 1e-9
            longer += cooling.at(end_s + told.warmth.at_least_s) >= 1.0 - 1e-9
    assert held >= 65
    assert within >= 0.93 * held
    assert longer >= 0.85 * held


def test_the_mass_of_a_unit_narrows_its_wait():
    """30 g of trigger coil cool in minutes, 4 kg of stator in an hour."""
    dice = np.random.default_rng(2)
    waits = []
    for mass_kg in (0.03, 4.0):
        sheet = replace(MOTOR, mass_kg=mass_kg)
        unit = worked(sheet, Errors.drawn(dice), Cooling(20.0, slow_s=1e9, share=0.0), spread=False)
        waits.append(excess(unit.table, []).at_most_s)
    assert waits[0] < 0.4 * waits[1]
