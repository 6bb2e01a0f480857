"""The simulated meter: ranges, errors within its limits, noise, quantising, overload, time."""

from __future__ import annotations

import math
import random
import statistics

import pytest

from sim.clock import BenchClock
from sim.meter import Meter, meter_class
from sim.probes import Ambient, ContactHabit, Probes, new_touch
from sim.winding import Branch, WoundUnit

CLEAN = ContactHabit(film_chance=0, creep_chance=0, bounces=0, pressure_ohm=(1e-9, 2e-9), thermal_uv=0.0)


METERS = ("bench-6-digit", "bench-50000", "hand-2000", "hand-4000", "hand-6000", "hand-20000")


def meter_on(ohm, name="bench-6-digit", seed=1):
    """A meter whose probes hold a resistor of no temperature coefficient."""
    probes = Probes(Ambient(random.Random(1), 20.0))
    probes.place(WoundUnit("r", (Branch("r", "1", "2", ohm, copper=False),)))
    probes.touch(new_touch(random.Random(2), CLEAN, ("1", "2"), -100.0))
    meter = Meter(meter_class(name), probes, BenchClock(100.0), random.Random(seed))
    meter.auto = True  # a dial is tried in test_sim_hands
    meter.four_wire = meter_class(name).four_wire
    return meter


def readings(meter, number):
    """That many conversions, one after the other, without waiting."""
    found, t_s = [], 0.0
    while len(found) < number:
        t_s += max(meter.conversion_s(), 0.1)
        shown = meter.take(t_s)
        if shown is not None:
            found.append(shown)
    return found


@pytest.mark.parametrize("name", METERS)
@pytest.mark.parametrize("ohm", [20.0, 462.0, 4700.0])
def test_a_reading_is_within_the_meters_own_limits(name, ohm):
    """Half-width of gain and offset, and four times the noise; leads count with two wires."""
    meter = meter_on(ohm, name)
    last = readings(meter, 60)[-20:]
    allowed = meter.range.gain * ohm + meter.range.offset_ohm + 4 * 4 * meter.range.count_ohm
    leads = 0.0 if meter.four_wire else 0.14
    for shown in last:
        assert ohm - allowed <= shown.ohm <= ohm + leads + allowed


@pytest.mark.parametrize("name", METERS)
def test_a_reading_is_a_whole_number_of_counts(name):
    """Quantised in the range it was taken in."""
    for shown in readings(meter_on(153.3, name), 20):
        assert shown.ohm / shown.range.count_ohm == pytest.approx(
            round(shown.ohm / shown.range.count_ohm), abs=1e-6
        )


def test_twenty_ohm_shows_as_twenty_one_on_the_two_kilohm_range_of_a_hand_meter():
    """Common practice, no source: a 20.6 ohm winding rounds to 21 where one count is an ohm."""
    meter = meter_on(20.6, "hand-2000")
    meter.turn(2000)
    meter._errors = ((0.0, 0.0),) * 6  # a meter without errors of its own: only the rounding is looked at
    seen = [shown.ohm for shown in readings(meter, 30)]
    assert statistics.mode(seen) == 21.0
    assert set(seen) <= {20.0, 21.0, 22.0}


def test_a_range_that_a_meter_does_not_have_is_refused():
    """200 Mohm on a hand meter that ends at 20."""
    with pytest.raises(ValueError, match="no range"):
        meter_on(1.0, "hand-2000").turn(2e8)


def test_auto_range_of_a_bench_meter_goes_straight_to_the_range_and_of_a_hand_meter_step_by_step():
    """Seen on the display as time."""
    bench, hand = meter_on(20.0), meter_on(20.0, "hand-2000")
    bench.range_index = hand.range_index = 5
    assert (bench.take(1.0), bench.range_index) == (None, 0)
    assert (hand.take(1.0), hand.range_index) == (None, 4)


def test_probes_in_the_air_are_overload_in_the_highest_range():
    """And the display knows since when it has shown no value."""
    meter = meter_on(20.0)
    value = readings(meter, 3)[-1]
    meter.probes.lift(10.0)
    over = [meter.take(t / 10) for t in range(110, 130)]
    assert over[-1].overload
    assert math.isinf(over[-1].ohm)
    assert meter.last_value_s == value.end_s
    assert meter.range_index == len(meter_class("bench-6-digit").ranges) - 1


def test_a_longer_integration_is_quieter_by_its_square_root():
    """1 against 100 power-line cycles: ten times, apart from the slow part."""
    spread = {}
    for nplc in (0.02, 1.0):
        meter = meter_on(462.0)
        meter.turn(1000)
        meter.nplc = nplc
        spread[nplc] = statistics.stdev(s.ohm for s in readings(meter, 200))
    assert spread[0.02] / spread[1.0] == pytest.approx(math.sqrt(50), rel=0.3)


def test_each_meter_has_errors_of_its_own_and_keeps_them():
    """Same dice, same meter."""
    first, same, other = (readings(meter_on(462.0, "hand-6000", seed), 10)[-1].ohm for seed in (1, 1, 2))
    assert first == same
    assert meter_on(1, seed=1)._errors != meter_on(1, seed=2)._errors
    assert other > 0


def test_a_bounce_makes_a_wrong_reading_or_overload():
    """Half of an integration open: overload; less: too high."""
    meter = meter_on(100.0)
    meter.turn(1000)
    meter.nplc = 1.0
    touch = meter.probes.held
    touch.gaps = [(0.980, 0.996)]
    assert meter.take(1.0).overload
    touch.gaps = [(1.9955, 2.0)]
    assert meter.take(2.0).ohm > 101.0


def test_conversion_times_follow_the_settings():
    """20 ms a power-line cycle at 50 Hz, twice for the meter's own zero, twice again for compensation."""
    meter = meter_on(20.0)
    meter.nplc = 10.0
    assert meter.conversion_s() == pytest.approx(0.4, abs=0.01)
    meter.offset_compensation = True
    assert meter.conversion_s() == pytest.approx(0.8, abs=0.01)


def test_a_thermal_voltage_counts_as_ohms_unless_the_meter_compensates():
    """10 µV at 1 mA are 10 milliohms; a tenth of that current makes ten times as many."""
    meter = meter_on(0.4)
    meter._errors = ((0.0, 0.0),) * 7
    meter.nplc = 100.0
    meter.probes.held.thermal_uv = 10.0
    assert readings(meter, 3)[-1].ohm == pytest.approx(0.410, abs=0.002)
    meter.offset_compensation = True
    assert readings(meter, 3)[-1].ohm == pytest.approx(0.400, abs=0.002)
    assert [r.current_a for r in meter_class("bench-6-digit").ranges[:3]] == [1e-3, 1e-3, 1e-4]


def test_a_warm_unit_makes_more_thermal_voltage():
    """Hot part, cold probe."""
    meter = meter_on(0.4)
    meter.probes.held.thermal_uv_per_kelvin = 0.1
    assert meter.probes.thermal_v(1.0) == 0.0
    meter.probes.unit.excess_kelvin = 40.0
    assert meter.probes.thermal_v(1.0) == pytest.approx(4e-6, rel=0.01)
    meter.probes.lift(2.0)
    assert meter.probes.thermal_v(3.0) == 0.0
