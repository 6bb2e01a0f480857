"""A reference at the start of the shift: asked for, kept, used on its own range, and again when it is old.

The peer is the obedient person of `tests.hand_bench`, with a meter of 2000 counts that reads 0.7 % and two
counts high.
"""

from __future__ import annotations

from dataclasses import replace

import pytest

from acquire.bench.daemon import recorded
from acquire.physics.check_standard import Resistor
from acquire.physics.substitution import Comparing
from acquire.records import Ask, CheckStandard, Code, Judged, Notice, Outcome, Why
from acquire.steps.checking import CheckDuty
from acquire.words.prompts import asked
from acquire.words.verdicts import reason
from tests.hand_bench import Bench

SHEET = """
[sheet]
name = "Teal 5"

[connector]
rows = [["1", "2", "3"]]

[[winding]]
name = "charge"
between = ["1", "2"]
resistance = "450 ohm"
acceptance = "1 %"

[[winding]]
name = "trigger"
between = ["2", "3"]
resistance = "120 ohm"
acceptance = "15 %"
"""
HIGH = {("1", "2"): 450.0, ("2", "3"): 120.0}
R470 = Resistor("R470", 470.0, 0.47)
HOUR_S = 3600.0


class HighBench(Bench):
    """The meter reads 0.7 % and two counts of its range too much."""

    def reading(self, ohm):
        high = None if ohm is None else 1.007 * ohm + 2.0 * self.dial / 2000.0
        return super().reading(high)

    def obey(self, values):
        if self.prompt.ask is Ask.CHECK_RESISTOR:
            self.turn(self.prompt.facts)
            self.hold(values["reference"], 8)
            self.turn(self.prompt.facts)
            self.hold(values["reference"], 8)
            self.hold(None, 2)
            return
        super().obey(values)


@pytest.fixture
def bench(sheet_from):
    """Of a given shift, with the resistor and the dial on its lowest range."""

    def with_checks(*checks):
        made = HighBench(sheet_from(SHEET), 200.0)
        made.heart.duties.checks = checks or (CheckDuty(R470, comparing=Comparing(), every_s=4 * HOUR_S),)
        return made

    return with_checks


def charge(bench):
    """Verdicts of the winding of 450 ohm."""
    return [j.verdict for j in bench.of(Judged) if j.verdict.step == "charge"]


def test_a_reference_lets_a_poor_meter_judge_one_percent(bench):
    """It is asked for before the first unit, on its range, and the verdict says what it was compared with."""
    shift = bench()
    shift.measure({**HIGH, "reference": 470.0})
    (look,) = shift.of(CheckStandard)
    assert (look.substitutes, look.in_control, look.range_full_scale_ohm) == (True, True, 2000.0)
    (verdict,) = charge(shift)
    assert (verdict.outcome, verdict.against) == (Outcome.PASS, "R470")
    assert verdict.expanded_ohm <= 1.5
    assert abs(verdict.reference_ohm - 450.0) <= verdict.expanded_ohm
    assert verdict.off_ohm == pytest.approx(470 * 0.007 + 2.0, abs=1.0)
    assert "Compared with R470" in reason(verdict)
    (other,) = [j.verdict for j in shift.of(Judged) if j.verdict.step == "trigger"]
    assert other.against == ""  # of another range


def test_the_prompt_names_the_reference_and_its_range(bench):
    """The dial first."""
    shift = bench()
    shift.events += shift.heart.tick(shift.now_s, shift.now_s)
    shift.hold(0.0, 5)
    shift.hold(None, 2)
    assert (shift.prompt.ask, shift.prompt.why) == (Ask.CHECK_RESISTOR, Why.REFERENCE)
    assert asked(shift.prompt) == "Turn the dial to 2 kΩ. Hold the probes on the reference R470."


def test_without_it_the_same_value_cannot_be_judged(bench):
    """6.4 ohm are more than 4.5."""
    shift = bench(CheckDuty(R470, every_s=4 * HOUR_S))
    shift.measure({**HIGH, "reference": 470.0})
    (verdict,) = charge(shift)
    assert (verdict.outcome, verdict.against) == (Outcome.CANNOT_JUDGE, "")


def test_a_bad_unit_is_told_from_a_good_one(bench):
    """455 ohm where 441 are good: 3 % apart, on a meter of 0.8 % and 3 counts."""
    shift = bench()
    shift.measure({**HIGH, "reference": 470.0})
    shift.measure({**HIGH, ("1", "2"): 458.0}, "A2")
    assert charge(shift)[-1].outcome is Outcome.FAIL


def test_an_old_reference_is_asked_for_again_and_one_under_way_is_used_to_the_end(bench):
    """After the stated time, before the next unit."""
    shift = bench()
    shift.measure({**HIGH, "reference": 470.0})
    shift.now_s += 4.5 * HOUR_S
    assert shift.heart.conditions.references["R470"].good_for_s == 5 * HOUR_S
    shift.hold(None, 1)
    shift.measure({**HIGH, "reference": 470.0}, "A2")
    assert len(shift.of(CheckStandard)) == 2


def test_a_reference_that_reads_like_no_such_meter_stops_the_bench(bench):
    """490 ohm where 470 are known and the meter states 6.8: another resistor, or a bad meter. Nothing is
    compared with it."""
    shift = bench()
    shift.events += shift.heart.tick(shift.now_s, shift.now_s)
    for _ in range(3):
        shift.obey({"reference": 490.0})
    assert not shift.of(CheckStandard)[-1].in_control
    assert Code.CHECK_OUT_OF_CONTROL in [n.code for n in shift.of(Notice)]
    assert shift.heart.conditions.references == {}
    assert shift.prompt.why is Why.BLOCKED


def test_a_restart_knows_what_the_reference_read(bench):
    """From the record."""
    before, after = bench(), bench()
    before.measure({**HIGH, "reference": 470.0})
    records = [record for record, _ in recorded(before.events)]
    after.heart.duties.recall(r for r in records if isinstance(r, CheckStandard))
    assert after.heart.conditions.references == before.heart.conditions.references
    assert not after.heart.duties.check.due(before.now_s)
    other = bench(CheckDuty(replace(R470, certificate_ohm=469.9), comparing=Comparing()))
    other.heart.duties.recall(r for r in records if isinstance(r, CheckStandard))
    assert other.heart.conditions.references == {}


def test_a_golden_unit_serves_as_a_reference(bench):
    """Warm air: copper beside copper."""
    golden = CheckDuty(Resistor("G7", 445.0, 0.45), comparing=Comparing(material="copper"))
    shift = bench(golden)
    warm = (234.5 + 29.0) / 254.5
    shift.heart.conditions.temperature = replace(shift.heart.conditions.temperature, celsius=29.0)
    shift.measure({pair: ohm * warm for pair, ohm in HIGH.items()} | {"reference": 445.0 * warm})
    (verdict,) = charge(shift)
    assert (verdict.outcome, verdict.against) == (Outcome.PASS, "G7")
    assert abs(verdict.reference_ohm - 450.0) < 1.5
