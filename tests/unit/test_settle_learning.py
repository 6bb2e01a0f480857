"""A bench learns its own contacts: widths that hold what they state, caution after wrong reports, holds."""

from __future__ import annotations

import dataclasses
import math
import random

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from acquire.records.settled import Approach, Hindrance, Hold, Learned, LiftOff, Settled
from acquire.settle import Expectation, SettleFilter, SettleSettings
from acquire.settle.contact import Holding
from acquire.settle.learning import WANTED_MISSES, After, Statement, caution, taught
from drivers.reading import Kind, Quantity, Reading

HOUR_S = 3600.0


def lesson(learned, off, half=1.0, chance=0.001, sigma=1e-6, hidden=False, **look):
    """One contact whose report was off by so much."""
    stated = Statement(2.0, 0.0, 3.0, half, chance)
    first = Statement(1.0, 0.0, 3.0, **look)
    end = After(off, sigma, 1.0)
    return taught(learned, first, stated, end=end, end_stated=end, crept_s=0.0, hidden=hidden)


@given(st.lists(st.floats(0.0, 12.0), min_size=200, max_size=400))
@settings(max_examples=30, deadline=None)
def test_misses_become_the_wanted_share_whatever_the_contacts_do(errors):
    """Gibbs and Candès 2021, proposition 4.1: the mean miss is held to a bound that falls with 1 / n.

    Errors of up to twelve times the plain width; the width may take them all in, so the bound holds.
    """
    learned, misses = Learned(contacts=100), 0
    for off in errors:
        misses += off > learned.widening * 2.0
        learned = lesson(learned, off, half=learned.widening * 2.0)

    reach = math.log(8.0 / 0.8) + 0.2
    assert misses / len(errors) - WANTED_MISSES <= reach / (0.1 * len(errors))


@pytest.mark.parametrize("scale", [0.85, 1.0, 1.6, 2.5])
def test_forty_contacts_teach_the_width_a_bench_needs(scale):
    """Normal errors of another size than the family's: in the mean of many benches 95 % are covered."""
    dice, covered = random.Random(3), []
    for _ in range(60):
        learned = Learned()
        for k in range(80):
            off, half = abs(dice.gauss(0.0, scale)), 1.96 * learned.widening
            covered += [off <= half] if k >= 40 else []
            learned = lesson(learned, off, half=half)

    assert sum(covered) / len(covered) == pytest.approx(0.95, abs=0.015)


def test_wrong_reports_make_a_bench_wary_and_right_ones_never_bold():
    wary = easy = Learned()
    for _ in range(3):
        wary = lesson(wary, off=9.0)
    for _ in range(60):
        easy = lesson(easy, off=0.1, chance=0.005)

    assert caution(wary) > 5.0
    assert caution(Learned()) == 1.0
    assert caution(easy) == 1.0


def test_where_the_display_hides_creep_a_plain_move_inside_the_band_makes_wary():
    """Two reports that moved by a sixth and by half of the band, on a fine display and on a coarse one."""
    fine = lesson(lesson(Learned(), off=1.5), off=0.5)
    coarse = lesson(lesson(Learned(), off=1.5, hidden=True), off=0.5, hidden=True)

    assert caution(fine) == pytest.approx(1.0, abs=0.01)
    assert caution(coarse) > 5.0


def test_a_move_inside_its_own_uncertainty_makes_nobody_wary():
    assert caution(lesson(Learned(), off=1.5, sigma=0.4, hidden=True)) == 1.0


def test_another_pin_teaches_nothing_of_the_contact():
    assert lesson(Learned(), off=200.0) == Learned()


def reading(k, value, interval_s=0.4, start_s=0.0):
    t = start_s + k * interval_s
    kind = Kind.OVERLOAD if value is None else Kind.VALUE
    return Reading("m", Quantity.RESISTANCE, kind, value, t, 1e9 + t, round(t * 1000), 200.0, 0.1)


class Bench:
    """Contacts of one bench on one filter, one after the other."""

    def __init__(self, limits=None, learned=None, expectation=None):
        self.filter = SettleFilter(limits or SettleSettings(noise_counts=0.45), learned=learned)
        self.filter.expect(expectation)
        self.now_s, self.events = 0.0, []

    def contact(self, values, interval_s=0.4):
        for k, v in enumerate([None, None, *values, None, None, None]):
            self.events += self.filter.feed(reading(k, v, interval_s, self.now_s))
        self.now_s += (len(values) + 6) * interval_s
        return self

    def of(self, kind):
        return [e for e in self.events if isinstance(e, kind)]


def creeping(seed=0, drop_ohm=1.5, tau_s=6.0, n=40, plateau_ohm=47.3):
    dice = random.Random(seed)
    ohms = (plateau_ohm + drop_ohm * math.exp(-0.4 * k / tau_s) + dice.gauss(0, 0.03) for k in range(n))
    return [round(v, 1) for v in ohms]


def test_a_bench_of_creeping_contacts_is_slower_and_wider_than_a_still_one():
    still, restless = Bench(), Bench()
    for seed in range(45):
        still.contact(creeping(seed, drop_ohm=0.0, n=22))
        restless.contact(creeping(seed))

    assert restless.filter.learned.moved > still.filter.learned.moved
    assert restless.filter.learned.creep_s > 2.0
    new = Bench(learned=restless.filter.learned).contact(creeping(99, drop_ohm=0.0)).of(Settled)[0]
    usual = Bench(learned=still.filter.learned).contact(creeping(99, drop_ohm=0.0)).of(Settled)[0]
    assert new.monotonic_s >= usual.monotonic_s
    assert new.expanded_si > usual.expanded_si


def test_a_slip_in_mid_contact_is_no_wrong_report():
    """The value jumps by two bands: that is another touch, and the report before it was right."""
    bench = Bench()
    for _ in range(10):
        bench.contact([47.3] * 14 + [47.9] * 14)

    assert bench.filter.learned.wrong < 0.1


def test_a_contact_that_betters_itself_at_once_had_been_read_wrong():
    """A resistance that falls by two bands under held probes: the contact lost what it had too much."""
    bench = Bench()
    for _ in range(10):
        bench.contact([47.9] * 14 + [47.3] * 14)

    assert bench.filter.learned.wrong > 3.0


def test_a_value_that_creeps_off_is_held_against_the_end_of_its_contact():
    """Not against the place where it was seen to leave: that is always near."""
    bench = Bench()
    falling = [round(47.6 - 0.04 * k, 1) for k in range(20)]
    bench.contact([47.6] * 9 + falling + [46.8] * 10)

    assert bench.of(Settled)[0].value_si > 47.5
    assert bench.filter.learned.wrong > 0.9


def doubtful(until_s, times=60):
    """Values that a doubt of 3 % does not let pass, held for so long and lifted."""
    run, events = SettleFilter(SettleSettings(noise_counts=0.45), lambda _: (0.03, 0.2, 1.6)), []
    for k in range(times):
        open_probes = k < 2 or 0.4 * k > until_s
        events += run.feed(reading(k, None if open_probes else 47.3))
    return [e for e in events if isinstance(e, Settled | LiftOff)]


def test_a_contact_that_stayed_in_doubt_tells_at_lift_off_what_it_came_to():
    """With the width of those that turn out wrong, and marked; the probes have left after it."""
    said, lifted = doubtful(until_s=8.0)

    assert isinstance(lifted, LiftOff)
    assert said.in_doubt
    assert not said.final
    assert said.hold is None
    assert said.value_si == pytest.approx(47.3)
    assert said.expanded_si >= 0.7 * 1.6 * 0.3


def test_a_pin_touched_in_passing_tells_nothing_at_lift_off():
    assert [type(e) for e in doubtful(until_s=2.4)] == [LiftOff]


def test_the_same_readings_teach_the_same_bit_for_bit():
    first, second = Bench(), Bench()
    for bench in (first, second):
        for seed in range(12):
            bench.contact(creeping(seed))

    assert first.events == second.events
    assert repr(first.filter.learned) == repr(second.filter.learned)
    assert first.filter.learned.version >= 10


def test_what_was_learnt_is_taken_up_again_and_stands_on_every_report():
    bench = Bench()
    for seed in range(5):
        bench.contact(creeping(seed, drop_ohm=0.0))
    kept = Learned(**dataclasses.asdict(bench.filter.learned))

    later = Bench(learned=kept).contact([47.3] * 12)

    assert later.of(Settled)[0].learned == kept.version > 0


def test_other_leads_mean_that_all_is_forgotten():
    bench = Bench()
    for seed in range(5):
        bench.contact(creeping(seed))
    before = bench.filter.learned

    bench.filter.forget()

    assert bench.filter.learned == Learned(version=before.version + 1)


def test_a_contact_that_creeps_says_so():
    bench = Bench().contact(creeping(drop_ohm=1.2, tau_s=8.0))

    assert Hindrance.CREEPS in {e.hindrance for e in bench.of(Approach)}


@pytest.mark.parametrize(
    ("values", "expectation"),
    [
        ([47.3] * 30, None),
        (creeping(drop_ohm=60.0, tau_s=1.0), None),  # a winding's current, not a film
        (creeping(drop_ohm=1.2, tau_s=8.0), Expectation(slow_winding=True)),
    ],
)
def test_what_is_no_creeping_contact_is_not_called_one(values, expectation):
    bench = Bench(expectation=expectation).contact(values)

    assert not any(e.hindrance for e in bench.of(Approach))


def test_longer_holds_are_asked_for_at_first_and_then_one_in_thirty():
    holding = Holding()
    asked = [holding.asked(1e9 + 20.0 * k) for k in range(70)]

    assert asked[:4] == [Hold.FIRST_OF_SHIFT] * 3 + [None]
    assert asked.count(Hold.SAMPLE) == 2
    assert holding.asked(1e9 + 12 * HOUR_S) is Hold.FIRST_OF_SHIFT


def test_no_longer_hold_is_asked_for_while_contacts_are_long_enough():
    holding = Holding()
    asked = []
    for k in range(100):
        asked.append(holding.asked(1e9 + 20.0 * k))
        holding.told()

    assert Hold.SAMPLE not in asked


def test_longer_holds_can_be_switched_off():
    limits = SettleSettings(noise_counts=0.45, longer_holds=False)
    quiet = Bench(limits).contact([47.3] * 12).of(Settled)[0]
    usual = Bench().contact([47.3] * 12).of(Settled)[0]

    assert quiet.hold is None
    assert usual.hold is Hold.FIRST_OF_SHIFT
    assert usual.hold_s >= 3.0
