"""Units through sim's hands, probes, meter and the whole heart, in simulated time; hands get much wrong."""

from __future__ import annotations

import contextlib
import random

import pytest

from acquire.choices import FAILING
from acquire.records import Outcome
from acquire.records.codes import Order
from sim.faults import Fault
from tests.benchmarks.diagnosis_bench import Bench
from tests.benchmarks.diagnosis_scene import ISOLATED, Planted, draw, faulty, good_unit, kinds_of
from tests.benchmarks.simulated_time import steady
from tests.known_units import FATHOM_7, PLOVER_80, QUERN_12, UNIT_TYPES

PASSING = (Outcome.PASS, Outcome.CONDITIONAL_PASS)


def run(kind, planted, *, seed="scene", slips=0.0, order=Order.GUIDED, units=1, meter="bench"):
    """What came of units with the same fault."""
    dice = random.Random(seed)
    with contextlib.closing(Bench(kind, meter, seed, slips=slips, order=order)) as bench:
        return [bench.run(faulty(kind, good_unit(kind, dice), planted), planted) for _ in range(units)]


@pytest.mark.parametrize("kind", [PLOVER_80, QUERN_12, FATHOM_7], ids=lambda kind: kind.key)
@pytest.mark.parametrize("order", list(Order))
def test_hands_that_often_slip_fail_no_good_unit(kind, order):
    """One touch of five on a wrong pair; none is failed, and readings that contradict each other are said."""
    stories = run(kind, Planted("healthy", ()), slips=0.2, order=order, units=4)
    assert sum(story.wrong for story in stories) > 0
    assert all(story.outcome not in FAILING for story in stories)
    assert sum(story.outcome in PASSING for story in stories) >= 3


def test_a_short_that_a_look_alike_would_hide_is_found():
    """Phase V lost 12 %; hands that often touch U-N for V-N do not pass it."""
    planted = Planted("shorted_turns", ("phase V",), (Fault("shorted", "phase V", 0.12),))
    for story in run(QUERN_12, planted, slips=0.2, units=2):
        assert story.outcome not in PASSING


def test_a_pin_that_lies_on_the_core_comes_to_an_end():
    """Swapped with the earth pin it reads like the strap: the unit fails, and nobody is sent in circles."""
    planted = Planted("swapped_pins", ("2", "6"), (Fault("swapped", "2/6"),))
    (story,) = run(PLOVER_80, planted)
    assert story.outcome is Outcome.FAIL
    assert story.seconds < 300.0


def test_a_ground_of_some_kilohms_is_no_open_pair():
    """On the range of the windings it would read overload."""
    planted = Planted("grounded", ("slow charge",), (Fault("grounded", "slow charge", 0.4, extra=5000.0),))
    (story,) = run(PLOVER_80, planted)
    assert story.outcome is Outcome.FAIL
    assert story.findings[0].case.fault == "grounded"


@pytest.mark.parametrize("key", UNIT_TYPES)
def test_the_quick_unit_reads_what_sims_own_reads(key):
    """At any temperature, every kind of fault, to a millionth."""
    kind, dice = UNIT_TYPES[key], random.Random(key)
    for name in kinds_of(kind):
        planted = draw(name, kind, dice)
        unit = faulty(kind, good_unit(kind, dice), planted)
        quick = steady(unit, 0.0)
        for pair in (*kind.steps, *ISOLATED[kind.key]):
            celsius, t_s = dice.uniform(5.0, 100.0), dice.uniform(0.0, 50.0)
            assert quick.ohm(*pair, celsius, t_s) == pytest.approx(unit.ohm(*pair, celsius, t_s), rel=3e-6), (
                name
            )


def test_the_same_seed_gives_the_same_story():
    """Simulated time waits for nothing and throws no dice of its own."""
    planted = Planted("healthy", ())
    first, second = (run(PLOVER_80, planted, slips=0.1, units=2) for _ in range(2))
    assert [s.steps for s in first] == [s.steps for s in second]
    assert [s.seconds for s in first] == [s.seconds for s in second]
