"""The end of a unit: closed relations and temperature decide with the steps, and the record says so."""

import math
from dataclasses import dataclass, field, replace

import numpy as np
import pytest

from acquire.choices import FAILING
from acquire.physics.cooling import Look
from acquire.records import Circumstances, Ending, FindingKind, Outcome, Pair, Purpose, Term, UnitStarted
from acquire.steps.estimate import estimate
from acquire.steps.pairs import PairTable
from acquire.verdict.close import SIGNIFICANT, close_unit
from acquire.words.units import cause_of
from acquire.words.verdicts import closure
from tests.known_sheets import PLOVER
from tests.true_units import MOTOR, PER_KELVIN, Cooling, Errors, measured, worked

STARTED = UnitStarted("left", "P-1", PLOVER.name, "plover", Purpose.FINAL, "", "", utc_s=0.0)


@dataclass
class Measured:
    """A unit whose steps are done."""

    table: PairTable
    judged: list = field(default_factory=list)
    outcome: Outcome | None = Outcome.PASS
    serial: str = "P-1"
    passed: int = 0
    total: int = 0
    continuous: tuple = ()
    left_out: tuple = ()

    @property
    def ended(self):
        return [(step, None) for step in self.left_out]

    def readings(self):
        return [reading for _, reading in self.judged]


def closed(unit, looks=(), **started):
    place = Circumstances("left", Purpose.FINAL, unit.table.sheet, "m", "bench-50000", "", "", "")
    return close_unit(unit, replace(STARTED, **started), place, utc_s=60.0, looks=looks)


def read_as(sheet, joints=None, more_ohm=None, outcome=Outcome.PASS):
    """A unit whose steps all passed, some with more ohms than it has."""
    steps = sheet.steps
    readings = measured(sheet, [Pair(*step.pair) for step in steps], joints=joints)
    readings = [r._replace(ohm=r.ohm + (more_ohm or {}).get(tuple(r.pair), 0.0)) for r in readings]
    return Measured(PairTable(sheet), list(zip(steps, readings, strict=True)), outcome)


def test_a_good_unit_passes_with_its_joint_on_record():
    result = closed(read_as(PLOVER), rested_s=7200.0)
    assert (result.outcome, result.ending, result.wait_s, result.found) == (
        Outcome.PASS,
        Ending.DONE,
        None,
        (),
    )
    (joint,) = result.closures
    assert (joint.where, joint.outcome) == ("2", Outcome.PASS)
    assert joint.ohm == pytest.approx(0.0, abs=joint.expanded_ohm)


def test_a_bad_joint_fails_a_unit_whose_pairs_all_pass():
    """2 ohm in pin 2: told with value, U and limit, and explained."""
    result = closed(read_as(PLOVER, joints={"2": 2.0}), rested_s=7200.0)
    assert result.outcome is Outcome.FAIL
    assert closure(result.closures[0]).startswith("joint at pin 2: 2.000 Ω ± 0.02")
    assert closure(result.closures[0]).endswith("limit 0.3 Ω.")
    assert [(found.kind, found.name) for found in result.found] == [(FindingKind.CLOSURE, "2")]
    assert result.hypotheses[0].fault == "bad_joint"


@pytest.mark.parametrize(
    ("joint", "u_ohm", "outcome"),
    [
        (0.57, 0.18, Outcome.CANNOT_JUDGE),  # 96 % beyond 0.3 ohm: it passed, since U is above the limit
        (0.0, 0.18, Outcome.PASS),
        (0.35, 0.18, Outcome.PASS),  # so much a sound joint may read now and then
    ],
)
def test_a_joint_that_no_sound_one_reads_as_does_not_pass_however_wide_its_u(joint, u_ohm, outcome):
    unit = read_as(PLOVER, joints={"2": joint})
    unit.judged = [
        (step, r._replace(u_ohm=math.hypot(r.u_ohm, u_ohm), terms=(*r.terms, Term("leftover drift", u_ohm))))
        for step, r in unit.judged
    ]
    result = closed(unit, rested_s=7200.0)
    assert (result.closures[0].outcome, result.outcome) == (Outcome.CANNOT_JUDGE, outcome)
    assert [(found.kind, found.name) for found in result.found] == (
        [] if outcome is Outcome.PASS else [(FindingKind.CLOSURE, "2")]
    )


def test_readings_that_contradict_each_other_do_not_pass():
    """1-3 reads 5 ohm more than 1-2 and 2-3 together: no joint has less than nothing."""
    result = closed(read_as(PLOVER, more_ohm={("1", "3"): 5.0}), rested_s=7200.0)
    assert result.outcome is Outcome.CANNOT_JUDGE
    assert result.closures[0].contradicts
    found = next(each for each in result.found if each.kind is FindingKind.CONTRADICTION)
    assert abs(found.ohm - found.predicted_ohm) >= SIGNIFICANT * found.u_ohm


@pytest.mark.parametrize("seed", range(4))
@pytest.mark.parametrize("kelvin", [12.0, 40.0])
def test_a_unit_that_cools_between_touches_has_no_joint(kelvin, seed):
    """1-2, 2-3, 1-3 are read 18 s apart while a sound plate cools: their relation moves, not its pin."""
    dice = np.random.default_rng(seed)
    unit = worked(PLOVER, Errors.drawn(dice), Cooling(kelvin, share=0.5, fast_s=150.0), every_s=18.0)
    result = closed(*seen(unit))
    (joint,) = result.closures
    assert (joint.outcome, joint.contradicts) in {(Outcome.PASS, False), (Outcome.CONDITIONAL_PASS, False)}
    assert abs(joint.ohm) <= 1.5 * joint.expanded_ohm
    assert result.outcome not in FAILING


def test_a_bad_joint_of_a_unit_that_cools_still_fails():
    """2 ohm in pin 2, 15 K warm: the cooling is known to some milliohms."""
    dice = np.random.default_rng(1)
    cooling = Cooling(15.0, share=0.5, fast_s=150.0)
    unit = worked(PLOVER, Errors.drawn(dice), cooling, every_s=18.0, joints={"2": 2.0})
    (joint,) = closed(*seen(unit)).closures
    assert joint.outcome is Outcome.FAIL
    warm_ohm = 2.0 * (1.0 + PER_KELVIN * float(cooling.at(unit.looks[-1].at_s)))
    assert joint.ohm == pytest.approx(warm_ohm, abs=1.5 * joint.expanded_ohm)


@pytest.mark.parametrize(("sigmas", "odd"), [(3.0, False), (6.0, True)])
def test_readings_contradict_each_other_from_four_sigmas(sigmas, odd):
    """1-3 against what 1-2 and 2-3 predict: the limit of 4 is a rare chance, 6 is none."""
    unit = read_as(PLOVER)
    (place,) = [k for k, (step, _) in enumerate(unit.judged) if step.pair == Pair("1", "3")]
    others = [reading for step, reading in unit.judged if step.pair != Pair("1", "3")]
    step, reading = unit.judged[place]
    foretold_ohm, u_ohm = estimate(unit.table, others).reading(reading)
    unit.judged[place] = step, reading._replace(ohm=foretold_ohm + sigmas * u_ohm)
    kinds = [found.kind for found in closed(unit, rested_s=7200.0).found]
    assert (FindingKind.CONTRADICTION in kinds) == odd


def seen(unit):
    """A unit of `true_units` as its bench has it when its steps are done, and what it looked like."""
    steps, readings = unit.table.sheet.steps, [each.reading for each in unit.judged]
    return Measured(unit.table, list(zip(steps, readings, strict=True))), unit.looks


def of_motor(kelvin, ohms=None, dice_seed=4):
    """A motor warm by so much, and what it looked like."""
    dice = np.random.default_rng(dice_seed)
    return seen(worked(MOTOR, Errors.drawn(dice), Cooling(kelvin), ohms=ohms, spread=False))


def test_a_warm_unit_is_held_and_told_how_long_at_least_and_at_most():
    result = closed(*of_motor(25.0))
    assert (result.outcome, result.ending) == (None, Ending.WARM)
    assert 600.0 < result.wait_least_s < result.wait_s < 6.0 * 3600.0
    assert result.temperature.low_kelvin < 24.0 < result.temperature.high_kelvin
    assert result.temperature.told_by_shift


def test_a_warm_bad_unit_never_passes():
    """Start winding 8 % short and 9 K warm: inside its limits, and still no pass."""
    result = closed(*of_motor(9.0, {"start": 94.0 * 0.92, "run": 48.0}))
    assert result.outcome is not Outcome.PASS


def test_what_no_temperature_makes_good_fails_at_once():
    """A trigger 13 % short of a unit that seems to cool: were it warm, it would be shorter still."""
    looks = [Look("1-2", 0.0, 203.2, 0.02), Look("1-2", 18.0, 202.9, 0.02)]
    short = closed(read_as(PLOVER, more_ohm={("4", "core"): -10.5}, outcome=Outcome.FAIL), looks)
    assert short.temperature.moving > 0.5
    assert (short.outcome, short.ending) == (Outcome.FAIL, Ending.DONE)
    long = closed(read_as(PLOVER, more_ohm={("4", "core"): 8.0}, outcome=Outcome.FAIL), looks)
    assert long.ending is Ending.WARM


def test_what_nothing_tells_is_asked():
    """One winding at its nominal, by a meter that shows no drift: or is it 13 K warm and 5 % short?"""
    single = replace(MOTOR, branches=MOTOR.branches[1:], steps=MOTOR.steps[1:2])
    (reading,) = measured(single, [Pair("C", "S")])
    unit = Measured(PairTable(single), [(single.steps[0], reading)])
    asked = closed(unit)
    assert asked.outcome is Outcome.CANNOT_JUDGE
    assert [found.kind for found in asked.found] == [FindingKind.TEMPERATURE]
    assert not asked.temperature.told_by_shift
    told = closed(unit, rested_s=3.0 * 3600.0)
    assert told.outcome is Outcome.PASS


def near_limit(away_ohm, name="trigger", outcome=Outcome.PASS):
    """A unit of which one step lies so far within its upper limit, all else at its nominal."""
    unit = read_as(PLOVER, outcome=outcome)
    (place,) = [k for k, (step, _) in enumerate(unit.judged) if step.name == name]
    step, reading = unit.judged[place]
    upper_ohm = unit.table.limits_for(step, Purpose.FINAL).upper_ohm
    unit.judged[place] = step, reading._replace(ohm=upper_ohm - away_ohm)
    return unit


def test_a_unit_that_its_temperature_brings_near_a_limit_says_which_step():
    """Every step passed as touched; what nobody knows of the temperature makes U of the trigger 0.48 ohm."""
    unit = near_limit(0.4)
    result = closed(unit, rested_s=7200.0)
    assert result.outcome is Outcome.CONDITIONAL_PASS
    (found,) = result.found
    assert (found.kind, found.name, found.outcome) == (FindingKind.STEP, "trigger", Outcome.CONDITIONAL_PASS)
    assert found.ohm == pytest.approx(0.4)
    (touched,) = [reading for step, reading in unit.judged if step.name == "trigger"]
    assert 2.0 * touched.u_ohm < found.ohm < found.expanded_ohm
    assert cause_of(result).startswith("Trigger lies 0.4 Ω within its limit; U = 0.4")
    assert "No fault" not in cause_of(result)


def test_a_unit_just_beyond_a_limit_says_by_how_much():
    """It has rested, so it is not asked to rest: it fails near a limit, and the step is named."""
    result = closed(near_limit(-0.1, outcome=Outcome.CONDITIONAL_FAIL), rested_s=7200.0)
    assert result.outcome is Outcome.CONDITIONAL_FAIL
    assert cause_of(result).startswith("Trigger lies 0.1 Ω beyond its limit; U = 0.4")


def test_a_step_that_cannot_be_judged_or_was_left_out_is_named():
    """The meter's U is more than the tolerance; or nobody has measured the step."""
    unit = read_as(PLOVER, outcome=Outcome.CANNOT_JUDGE)
    step, reading = unit.judged[0]
    unit.judged[0] = step, reading._replace(u_ohm=40.0, terms=())
    blind = closed(unit, rested_s=7200.0)
    assert blind.outcome is Outcome.CANNOT_JUDGE
    assert cause_of(blind).startswith(f"{step.name.capitalize()} cannot be judged: U = 7")
    whole = read_as(PLOVER, outcome=Outcome.CANNOT_JUDGE)
    whole.left_out = (whole.judged.pop()[0],)
    left = closed(whole, rested_s=7200.0)
    assert (left.outcome, cause_of(left)) == (
        Outcome.CANNOT_JUDGE,
        f"{whole.left_out[0].name.capitalize()} was skipped.",
    )


def test_a_plain_result_names_no_step():
    """A pass has nothing to explain, and a fault that stands out is the better explanation."""
    assert not closed(near_limit(3.0), rested_s=7200.0).found
    failed = closed(near_limit(-9.0, outcome=Outcome.FAIL), rested_s=7200.0)
    assert (failed.outcome, failed.found) == (Outcome.FAIL, ())
    assert failed.hypotheses[0].fault != "healthy"
