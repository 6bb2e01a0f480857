"""How the meter is set for a step: two or four wires, which range, how well is well enough."""

from __future__ import annotations

import math
from dataclasses import replace
from pathlib import Path

import pytest

from acquire.physics.leads import CONTACT_OHM
from acquire.records import Pair, Purpose, Step
from acquire.sheets import load_sheet
from acquire.steps.pairs import PairTable
from acquire.steps.setup_choice import (
    CLOSE_ENOUGH,
    METER_SHARE,
    Wanted,
    close_enough_ohm,
    expected_ohm,
    open_above_ohm,
    quantity_for,
)
from drivers.models import load_model
from drivers.reading import Quantity
from tests.known_sheets import PLOVER_OPEN

CONFIGS = Path(__file__).resolve().parents[2] / "configs"
BENCH = load_model(CONFIGS / "meters" / "bench-6-digit.toml")
HAND = load_model(CONFIGS / "meters" / "hand-2000.toml")
TABLE = PairTable(PLOVER_OPEN)
TWO, FOUR = Quantity.RESISTANCE, Quantity.RESISTANCE_4W
STEP = {step.name: step for step in PLOVER_OPEN.steps}


@pytest.mark.parametrize(
    ("nominal", "below", "insists", "expected"),
    [
        (0.4, None, None, TWO),
        (0.4, None, True, TWO),  # a meter with two wires has no choice
        (0.4, 10.0, None, FOUR),
        (10.0, 10.0, None, TWO),
        (0.4, 10.0, False, TWO),
        (400.0, 10.0, True, FOUR),
    ],
)
def test_two_or_four_wires(nominal, below, insists, expected):
    """The step insists, else the bench decides by the nominal."""
    step = Step("x", Pair("1", "2"), four_wire=insists)
    assert quantity_for(step, nominal, below) is expected


def test_another_quantity_stays_what_it_is():
    """A diode step is no question of wires."""
    step = Step("x", Pair("1", "2"), quantity=Quantity.DIODE)
    assert quantity_for(step, 0.1, 10.0) is Quantity.DIODE


def test_a_good_meter_gets_a_range_that_holds_every_pair():
    """So that a wrong pair is recognised instead of reading as overload."""
    largest = max(o for o in map(TABLE.nominal_ohm, TABLE.pairs()) if math.isfinite(o))
    for name in ("slow charge", "fast charge"):
        assert expected_ohm(TABLE, STEP[name], Purpose.FINAL, TWO, BENCH) > largest


def test_a_coarse_meter_gets_the_range_that_just_holds_the_pair():
    """On 2000 ohm its count would eat the tolerance of 46 ohm up."""
    asked = expected_ohm(TABLE, STEP["fast charge"], Purpose.FINAL, TWO, HAND)
    assert 46.17 < asked < 200.0


def test_a_range_that_is_noisy_for_a_small_winding_is_not_waited_on():
    """A secondary of 1.65 ohm beside primaries of 270: on 1 kΩ its noise would cost nine conversions."""
    fathom = PairTable(load_sheet(CONFIGS / "sheets" / "fathom-7.toml"))
    step = {step.name: step for step in fathom.sheet.steps}
    assert expected_ohm(fathom, step["S1"], Purpose.FINAL, FOUR, BENCH) < 100.0
    assert expected_ohm(fathom, step["P1"], Purpose.FINAL, TWO, BENCH) > 270.0


def test_an_open_step_lets_the_meter_range_by_itself():
    """A ground of 5 kΩ reads overload on 1 kΩ, and would pass as open."""
    asked = expected_ohm(TABLE, STEP["charge to core"], Purpose.FINAL, TWO, BENCH)
    assert math.isinf(asked)
    assert Wanted(TWO, asked).expected_ohm is None


def well_enough(step, meter=BENCH, function=TWO, table=TABLE):
    asked = expected_ohm(table, step, Purpose.FINAL, function, meter)
    return close_enough_ohm(table, step, Purpose.FINAL, meter, (function, asked))


def test_well_enough_is_a_small_part_of_the_tolerance():
    """Zero where there is none, so that the display alone decides."""
    limits = TABLE.limits_for(STEP["slow charge"], Purpose.FINAL)
    half = (limits.upper_ohm - limits.lower_ohm) / 2
    assert well_enough(STEP["slow charge"]) == pytest.approx(CLOSE_ENOUGH * half, rel=0.02)
    assert well_enough(replace(STEP["slow charge"], pair=Pair("1", "core"))) == 0.0


def test_well_enough_is_a_small_part_of_what_the_meter_may_err_by():
    """A phase of 0.45 ohm on a range of 100: limits of 4 milliohm allow for noise of 0.6 a conversion."""
    quern = PairTable(load_sheet(CONFIGS / "sheets" / "quern-12.toml"))
    step = {step.name: step for step in quern.sheet.steps}["U to neutral"]
    offset, gain = 4e-5 * 100.0, 1e-4 * 0.451  # of the range and of the reading, as the file states them
    assert well_enough(step, function=FOUR, table=quern) == pytest.approx(
        METER_SHARE * (offset + gain), rel=0.05
    )


def test_a_ground_need_be_known_no_better_than_the_contact():
    """On a fine range a pin on the core would wander by more than three counts for ever."""
    assert well_enough(STEP["charge to core"]) == CONTACT_OHM


def test_what_an_open_pair_must_exceed():
    """An open step's own limit; of a winding its upper limit, below which good ones read overload."""
    assert open_above_ohm(TABLE, STEP["charge to core"], Purpose.INCOMING) == 1e6
    slow = next(step for step in PLOVER_OPEN.steps if step.pair == Pair("1", "2"))
    assert (
        open_above_ohm(TABLE, slow, Purpose.INCOMING) == TABLE.limits(slow.pair, Purpose.INCOMING).upper_ohm
    )
    assert open_above_ohm(TABLE, Step("trigger to charge", Pair("1", "4")), Purpose.INCOMING) == 0.0
