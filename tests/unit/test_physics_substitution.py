"""Comparison with a known resistance on the same meter and range: what cancels, what stays; by simulation."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest

from acquire.physics.copper import CONDUCTORS, to_reference
from acquire.physics.correct import correct
from acquire.physics.substitution import Substitute, substitution_terms
from acquire.records import LeadZero, Limits, Outcome, Rule, Settled
from acquire.verdict.guard import decide_corrected
from drivers.accuracy import RangeAccuracy
from drivers.reading import Quantity

COUNT = 1.0
METER = RangeAccuracy(0.008, COUNT, counts=3, range_full_scale_si=2000.0, limit_per_kelvin=0.1)
"""0.8 % + 3 counts on 2 kilohm: the usual 2000-count hand meter."""
LEAD = LeadZero("b", "m", 0.2, 0.05, 0.0)
COPPER = CONDUCTORS["copper"]


def settled(ohm, quantisation=None):
    """A value at rest, eight conversions."""
    rest = COUNT / math.sqrt(12.0) if quantisation is None else quantisation
    at = (2000.0, COUNT, 0.0, 0.0, 0.0)
    return Settled("m", Quantity.RESISTANCE, ohm, 0.1, 7.0, 0.0, rest, 2 * COUNT, 8, *at)


def reference(read_ohm, ohm=470.0, u_ohm=0.235, **more):
    """A resistor of 0.1 %, read on the same range."""
    how = (Quantity.RESISTANCE, 2000.0, COUNT, 0.0)
    return Substitute(
        "R470",
        ohm,
        u_ohm,
        read_ohm,
        math.hypot(0.1, 0.289, 0.01),
        *how,
        **{"celsius": 20.0, "lead_utc_s": 0.0} | more,
    )


def value(ohm, against, *, celsius=20.0, u_kelvin=0.2, lead=LEAD, quantisation=None):
    """A two-wire winding, corrected."""
    return correct(
        settled(ohm, quantisation),
        four_wire=False,
        lead=lead,
        now_utc_s=0.0,
        winding_celsius=celsius,
        winding_u_kelvin=u_kelvin,
        reference_celsius=20.0,
        conductor=COPPER,
        accuracy=METER,
        ambient_celsius=celsius,
        against=against,
    )


def test_gain_and_offset_of_the_meter_cancel():
    """A meter 0.7 % and 2 ohm high reads both high."""
    found = value(450.0 * 1.007 + 2.2, reference(470.0 * 1.007 + 2.0))
    assert found.reference_ohm == pytest.approx(450.0 * 1.007 + 2.0 - (470.0 * 0.007 + 2.0))
    assert abs(found.reference_ohm - 450.0) < 0.15
    assert (found.against, found.off_ohm) == ("R470", pytest.approx(470.0 * 0.007 + 2.0))
    assert not {"meter accuracy", "lead zero"} & {term.name for term in found.terms}


def test_450_ohm_are_known_to_one_and_a_half():
    """The meter alone knows them to 6.4 ohm; U is 1.5 at most, with a thermometer of half a kelvin too."""
    alone = value(450.2, None)
    beside = value(450.2, reference(470.0))
    assert alone.expanded_ohm > 6.0
    assert beside.expanded_ohm <= 1.35
    assert value(450.2, reference(470.0), u_kelvin=0.5 / math.sqrt(3.0)).expanded_ohm <= 1.5
    limits = Limits(450.0 * 0.99, 450.0 * 1.01)
    assert decide_corrected(alone, limits, Rule.NON_BINARY).outcome is Outcome.CANNOT_JUDGE
    assert decide_corrected(beside, limits, Rule.NON_BINARY).outcome is Outcome.PASS


def simulated(dice, true_ohm, number):
    """(reading of the resistor, its value as stated, reading of the unit, degrees) for so many meters."""
    gain = 1.0 + dice.uniform(-0.008, 0.008, number)
    offset = dice.uniform(-3.0, 3.0, number)
    bow = dice.uniform(-1.0, 1.0, number)  # counts in the middle of the range, a parabola
    stated = 470.0
    resistor = stated * (1.0 + 0.001 * dice.normal(0.0, 0.5, number))
    warmed = dice.uniform(-0.33, 0.33, number)

    def shown(ohm):
        ideal = (ohm + 0.2) * gain + offset + 4.0 * bow * (ohm / 2000.0) * (1.0 - ohm / 2000.0)
        noisy = ideal[:, None] + dice.normal(0.0, 0.3 * COUNT, (number, 8))
        return np.round(noisy / COUNT).mean(axis=1) * COUNT

    kelvin = dice.normal(0.0, 0.2, number)  # of the winding off the thermometer
    winding = true_ohm / to_reference(1.0, 20.0, 20.0, COPPER) * (1.0 + 0.00393 * kelvin)
    return shown(resistor), shown(winding) + warmed


def test_by_monte_carlo_u_covers_and_441_is_told_from_455():
    """JCGM 101, 1000 meters drawn from their limits, seeded: U covers 95 %; against a limit between them 441
    passes and 455 fails in 999 of 1000."""
    dice = np.random.default_rng(17)
    refs, reads = simulated(dice, 450.0, 1000)
    found = [value(read, reference(ref - 0.2)) for ref, read in zip(refs, reads, strict=True)]
    inside = np.mean([abs(each.reference_ohm - 450.0) <= each.expanded_ohm for each in found])
    assert 0.95 <= inside <= 0.999
    assert max(each.expanded_ohm for each in found) <= 1.5
    between = Limits(434.0, 448.0)
    for true_ohm, outcome in ((441.0, Outcome.PASS), (455.0, Outcome.FAIL)):
        refs, reads = simulated(dice, true_ohm, 1000)
        got = [
            decide_corrected(value(read, reference(ref - 0.2)), between, Rule.NON_BINARY).outcome
            for ref, read in zip(refs, reads, strict=True)
        ]
        assert np.mean([each is outcome for each in got]) >= 0.999


def test_the_further_the_reference_the_less_it_helps():
    """100 ohm say little of 450 ohm: the gain in between is not known."""
    near, far = value(450.2, reference(470.0)), value(450.2, reference(100.0, ohm=100.0, u_ohm=0.05))
    assert far.expanded_ohm > 1.5 * near.expanded_ohm


def test_leads_zeroed_once_for_both_cancel_and_others_do_not():
    """With the same zero, or with none, whatever the leads have is in both readings."""
    other = LeadZero("b", "m", 0.2, 0.05, 60.0)
    names = [
        {term.name for term in value(450.2, reference(470.0), lead=lead).terms} for lead in (LEAD, other)
    ]
    assert "lead zero" not in names[0]
    assert "lead zero" in names[1]
    none = value(450.2, reference(470.2, lead_utc_s=None), lead=None)
    assert none.reference_ohm == pytest.approx(450.0)
    assert not {"lead zero", "lead zero missing"} & {term.name for term in none.terms}


def test_a_golden_unit_takes_the_temperature_with_it():
    """Copper beside copper in one air: whatever the thermometer is off by cancels."""
    golden = reference(445.0 * 1.0393, ohm=445.0, material="copper", celsius=30.0)
    found = value(441.0 * 1.0393 + 0.2, golden, celsius=30.0, u_kelvin=2.0)
    assert found.reference_ohm == pytest.approx(441.0, abs=0.02)
    assert found.part_ohm(frozenset({"winding temperature"})) < 0.05
    resistor = value(441.0 * 1.0393 + 0.2, reference(470.0, celsius=30.0), celsius=30.0, u_kelvin=2.0)
    assert resistor.part_ohm(frozenset({"winding temperature"})) > 3.0


def test_what_has_changed_since_is_in_it():
    """Ten kelvin later, or a stated drift."""
    then, later = value(450.2, reference(470.0)), value(450.2, reference(470.0, celsius=10.0))
    name = frozenset({"drift since reference"})
    assert later.part_ohm(name) > 15.0 * then.part_ohm(name)
    half_kelvin = 0.5 * 0.1 * (0.008 * 450.0 + 3.0)  # a tenth of the limits a kelvin, as stated
    assert then.part_ohm(name) == pytest.approx(half_kelvin / math.sqrt(3.0), rel=1e-2)
    assert value(450.2, reference(470.0, drift=0.0)).part_ohm(name) == 0.0
    stated = value(450.2, reference(470.0, drift=2e-4)).part_ohm(name)
    assert stated == pytest.approx(2e-4 * 450.0 / math.sqrt(3.0), rel=1e-3)  # a rectangle: JCGM 100, 4.3.7


def test_a_meter_that_states_no_drift_per_kelvin_has_a_tenth_of_its_limits():
    """As hand meters commonly state; common practice, no source."""
    drifts = [
        next(
            t for t in substitution_terms(meter, 450.0, reference(470.0)) if t.name == "drift since reference"
        )
        for meter in (replace(METER, limit_per_kelvin=0.0), METER, replace(METER, limit_per_kelvin=0.2))
    ]
    silent, tenth, fifth = [each.standard_uncertainty_ohm for each in drifts]
    assert (silent, 2.0 * silent) == (pytest.approx(tenth), pytest.approx(fifth))


@pytest.mark.parametrize(
    ("full", "count", "quantity", "serves"),
    [
        (2000.0, 1.0, Quantity.RESISTANCE, True),
        (200.0, 0.1, Quantity.RESISTANCE, False),
        (2100.0, 1.0, Quantity.RESISTANCE, False),
        (2000.0, 1.0, Quantity.RESISTANCE_4W, False),
    ],
)
def test_a_reference_serves_its_own_range_alone(full, count, quantity, serves):
    """Each range has a gain of its own."""
    statement = RangeAccuracy(0.008, count, counts=3, range_full_scale_si=full)
    assert reference(470.0).serves(quantity, statement) is serves
