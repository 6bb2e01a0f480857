"""What touches tell of a temperature: slopes, losses between touches, waits."""

import math
from dataclasses import replace
from itertools import pairwise

import numpy as np
import pytest

from acquire.errors import InputImpossible
from acquire.physics.cooling import Look, Shift, look, tau_of_mass, warmth

PER_KELVIN = 1.0 / 254.5


def cooling(kelvin, *, slow_s=1800.0, fast_s=200.0, share=0.3):
    """Kelvin above the room at times, as two exponentials."""
    return lambda t: kelvin * ((1.0 - share) * math.exp(-t / slow_s) + share * math.exp(-t / fast_s))


def seen(excess, times, *, ohm=200.0, u_ohm=0.002, name="1-2"):
    """Touches of one pair by a meter that knows no error."""
    return [Look(name, at_s, ohm * (1.0 + PER_KELVIN * excess(at_s)), u_ohm) for at_s in times]


def told(looks, **more):
    return warmth(looks, per_kelvin=PER_KELVIN, limit_kelvin=1.0, **more)


def test_a_heavier_part_cools_as_volume_over_surface():
    """0.3 kg in 18 min; eight times the mass has twice the volume for its surface."""
    assert tau_of_mass(0.3) == pytest.approx(1080.0)
    assert tau_of_mass(2.4) == pytest.approx(2160.0)
    with pytest.raises(InputImpossible):
        tau_of_mass(0.0)


def test_a_touch_tells_its_slope_as_least_squares_does():
    """numpy's polyfit of the same readings; uncertainty by JCGM 100:2008, H.3, with Student's variance."""
    dice = np.random.default_rng(5)
    seconds = np.arange(12) * 0.25
    ohms = 100.0 - 0.004 * seconds + 1e-4 * dice.standard_normal(12)
    found = look("1-2", 9.0, 100.0, 0.002, tuple(zip(seconds, ohms, strict=True)))
    slope, _ = np.polyfit(seconds, ohms, 1)
    left = ohms - np.polyval(np.polyfit(seconds, ohms, 1), seconds)
    square = ((seconds - seconds.mean()) ** 2).sum()
    correlated = max(0.0, float((left[1:] * left[:-1]).sum() / (left**2).sum()))
    variance = (left**2).sum() / 8.0 * (1.0 + correlated) / (1.0 - correlated)
    assert found.rate_per_s == pytest.approx(slope / 100.0)
    assert found.u_rate_per_s == pytest.approx(math.sqrt(variance / square) / 100.0)
    assert (found.name, found.at_s, found.ohm, found.u_ohm) == ("1-2", 9.0, 100.0, 0.002)


@pytest.mark.parametrize("count", [4, 5, 6, 9, 20])
def test_however_few_its_readings_a_slope_is_as_sure_as_it_says(count):
    """Of 2000 traces of a steady value 95 in 100 have no slope within twice what they say, give or take 4."""
    dice, seconds = np.random.default_rng(count), 0.3 * np.arange(count)
    traces = 100.0 + 1e-3 * dice.standard_normal((2000, count))
    seen = [look("1-2", 0.0, 100.0, 0.01, list(zip(seconds, ohms, strict=True))) for ohms in traces]
    within = np.mean([abs(each.rate_per_s) < 1.96 * each.u_rate_per_s for each in seen])
    assert 0.91 < within < 0.99


def test_rounding_creeping_contacts_and_settling_widen_a_slope():
    """A count of c hides c/sqrt(12) a reading; a contact creeps by a tenth of its uncertainty in a trace."""
    flat = tuple((0.5 * k, 50.0) for k in range(5))
    square = 0.25 * 10.0
    exact = look("a", 0.0, 50.0, 0.0, flat, count_ohm=0.1)
    assert exact.u_rate_per_s == pytest.approx(0.1 / math.sqrt(12.0 * square) / 50.0)
    contact = look("a", 0.0, 50.0, 0.0, flat, contact_ohm=0.01)
    assert contact.u_rate_per_s == pytest.approx(0.001 / 2.0 / 50.0)
    settling = look("a", 0.0, 50.0, 0.0, flat, settling_ohm=0.01)
    assert settling.u_rate_per_s == pytest.approx(0.01 / 2.0 / 50.0)


@pytest.mark.parametrize(
    "trace", [(), ((0.0, 5.0), (1.0, 5.0), (2.0, 5.0)), tuple((1.0, 5.0) for _ in range(6))]
)
def test_few_readings_or_all_at_one_time_tell_no_slope(trace):
    found = look("a", 3.0, 5.0, 0.1, trace)
    assert math.isinf(found.u_rate_per_s)
    assert math.isinf(look("a", 3.0, -0.1, 0.1, tuple((k, 5.0) for k in range(8))).u_rate_per_s)


def test_without_any_touch_three_of_four_units_are_cold():
    """The prior alone: 76 % within 0.3 K as a standard deviation, 20 % warmer by 1.5 to 90 K, 4 % colder."""
    found = told([])
    assert found.kelvin == pytest.approx(0.07, abs=0.1)
    assert found.moving == pytest.approx(0.24, abs=0.01)
    assert 40.0 < found.high_kelvin < 80.0
    assert found.excess.weight[-1].sum() == pytest.approx(0.01, rel=0.02)  # stays so for good
    assert -6.0 < found.low_kelvin < -1.5


def test_a_stated_rest_counts_by_the_time_constant():
    """0.3 K, and what is left of 20 K after so many time constants of 1800 s; -30 K at the least."""
    assert told([], rested_s=0.0).high_kelvin == pytest.approx(1.96 * math.hypot(0.3, 20.0), rel=0.1)
    found = told([], rested_s=3600.0)
    assert found.high_kelvin == pytest.approx(1.96 * math.hypot(0.3, 20.0 * math.exp(-2.0)), rel=0.05)
    assert found.low_kelvin == pytest.approx(-found.high_kelvin, rel=0.05)
    longest = told([], rested_s=1e6)
    assert longest.high_kelvin == pytest.approx(0.588, rel=0.05)
    assert (longest.moving, longest.at_least_s < longest.at_most_s) == (pytest.approx(9e-4, abs=6e-4), True)


@pytest.mark.parametrize("kelvin", [8.0, 30.0])
def test_a_unit_seen_to_cool_for_minutes_is_known(kelvin):
    """Six touches over ten minutes, known to 10 ppm: excess and losses are within their own intervals."""
    excess, times = cooling(kelvin), (0.0, 60.0, 150.0, 300.0, 450.0, 600.0)
    found = told(seen(excess, times))
    assert found.low_kelvin < excess(600.0) < found.high_kelvin
    assert found.moving > 0.5
    mean, covariance = found.excess.since(times)
    lost = [(excess(t) - excess(600.0)) / (1.0 + PER_KELVIN * excess(600.0)) for t in times]
    assert np.all(np.abs(mean - lost) <= 2.0 * np.sqrt(np.diag(covariance)) + 1e-9)
    assert mean[-1] == 0.0
    assert covariance[-1] == pytest.approx(np.zeros(6), abs=1e-12)
    assert np.linalg.eigvalsh(covariance).min() > -1e-9
    assert math.sqrt(covariance[0, 0]) < 0.2 * max(lost)


def test_slopes_inside_touches_tell_as_much_as_falls_between_them():
    """One touch of each of two pairs whose own slopes are known: warm, unless it cools in minutes."""
    excess = cooling(20.0, share=0.0)
    rate = -PER_KELVIN * 20.0 / 1800.0
    touches = [
        replace(each, rate_per_s=rate * math.exp(-each.at_s / 1800.0), u_rate_per_s=abs(rate) / 50.0)
        for each in (*seen(excess, [0.0]), *seen(excess, [10.0], ohm=50.0, name="2-3"))
    ]
    assert told(touches).moving > 0.95
    assert told(touches, tau_log_u=0.35).moving > 0.98
    assert told([replace(each, u_rate_per_s=math.inf) for each in touches]).moving < 0.3


def drifting(rates, u=6e-4):
    """One touch of one pair after the other, each with its drift."""
    return [Look(f"{n}", 5.0 * n, 12.0, 0.02, rate, u) for n, rate in enumerate(rates)]


def test_drifts_that_agree_far_better_than_each_is_known_are_a_unit_that_cools():
    """Four contacts of three pairs, each of which may creep by as much as it drifts; 31 K warm in truth."""
    alike = told(drifting([-7.0e-4, -6.3e-4, -5.6e-4, -5.1e-4])).moving
    apart = told(drifting([-1.9e-3, -0.4e-4, 0.3e-3, -0.5e-3])).moving
    assert alike > 2.0 * apart


@pytest.mark.parametrize("rates", [[0.0] * 4, [-1.0e-3, 0.0, 0.0, 0.0], [-6e-4, -6e-4]])
def test_a_coarse_display_or_a_contact_that_creeps_or_two_that_agree_prove_nothing(rates):
    """A display of whole ohms drifts by nothing at all, warm unit or cold."""
    nothing = told([]).moving
    assert 0.5 * nothing < told(drifting(rates)).moving < 1.5 * nothing


@pytest.mark.parametrize("ohms", [(0.889, 0.446), (0.446, 0.889, 0.446)])
def test_values_of_two_pairs_under_one_name_are_no_unit_that_cools(ohms):
    """A line and a phase of a star: no unit is 250 K warm, so a probe was elsewhere, and nothing is known."""
    looks = [Look("U-V", 40.0 * number, ohm, 3e-4) for number, ohm in enumerate(ohms)]
    found, unknown = told(looks), told(looks[-1:])
    assert (found.low_kelvin, found.kelvin, found.high_kelvin, found.moving) == pytest.approx(
        (unknown.low_kelvin, unknown.kelvin, unknown.high_kelvin, unknown.moving)
    )


def test_what_the_shift_says_counts_at_each_value_s_own_time():
    """A shift that knows the temperature of an earlier value to 0.1 K: the later one has lost some since."""
    asked = []

    def log_like(left, kelvin):
        asked.append(left)
        return -0.5 * ((left[0][:, None] * kelvin - 12.0) / 0.1) ** 2

    looks = seen(cooling(0.0), [0.0, 900.0], u_ohm=50.0)
    found = told(looks, shift=Shift([0.0], log_like))
    assert asked[0].shape[0] == 1
    assert 1.0 < found.kelvin < 11.5
    assert found.excess.grown([0.0])[0] * found.kelvin > found.kelvin
    assert found.excess.grown([900.0]) == pytest.approx([1.0])
    assert found.excess.left([900.0]) == pytest.approx(np.ones((1, found.excess.weight.shape[0])))


def test_a_unit_that_is_surely_cold_need_not_wait():
    """Three touches over an hour, alike to a part in a billion: no weight at all is left beyond the limit."""
    still = [Look("1-2", at_s, 200.0, 2e-7) for at_s in (0.0, 1800.0, 3600.0)]
    found = told(still, rested_s=36000.0)
    assert (found.moving, found.at_least_s, found.at_most_s) == (0.0, 0.0, 0.0)


def test_a_wait_holds_until_the_limit_is_reached():
    """One slow exponential of known mass: from 16 K to 1 K in 2.77 time constants."""
    excess = cooling(16.0, slow_s=1080.0, share=0.0)
    looks = seen(excess, [0.0, 60.0, 180.0, 360.0, 600.0], u_ohm=1e-4)
    found = told(looks, tau_s=1080.0, tau_log_u=0.35)
    truly_s = 1080.0 * math.log(excess(600.0))
    assert found.at_least_s <= truly_s * 1.05
    assert truly_s * 0.95 <= found.at_most_s < 3.0 * truly_s


def test_the_chance_of_a_condition_is_its_weight():
    found = told(seen(cooling(10.0), [0.0, 100.0, 300.0]))
    law = found.excess
    whole = np.ones(law.weight.shape, dtype=bool)
    assert law.chance(whole) == pytest.approx(1.0)
    assert law.chance(~whole) == 0.0
    warmer = np.broadcast_to(law.kelvin > 1.0, law.weight.shape)
    colder = np.broadcast_to(law.kelvin < -1.0, law.weight.shape)
    assert law.chance(warmer) + law.chance(colder) == pytest.approx(found.moving)
    assert all(b > a for a, b in pairwise(law.shown))
    assert law.shown == pytest.approx(law.kelvin / (1.0 + PER_KELVIN * law.kelvin))


def test_impossible_touches_are_refused():
    later = seen(cooling(5.0), [100.0, 0.0])
    for looks in (later, [Look("a", 0.0, math.nan, 0.1)], [Look("a", 0.0, 5.0, -0.1)]):
        with pytest.raises(InputImpossible):
            told(looks)
    for wrong in ({"limit_kelvin": 0.0}, {"per_kelvin": -1.0}, {"tau_s": 0.0}):
        with pytest.raises(InputImpossible):
            warmth([], **{"per_kelvin": PER_KELVIN, "limit_kelvin": 1.0} | wrong)


def test_a_trace_that_wanders_tells_less_of_its_slope():
    """Neighbours correlate by 0.6: slopes scatter by 1.4 of what they say; without a word for it by 2."""
    dice, seconds = np.random.default_rng(8), np.arange(0.0, 8.0, 0.2)
    ratios = []
    for _ in range(400):
        wander = [dice.normal()]
        for each in dice.normal(0.0, 0.8, len(seconds) - 1):
            wander.append(0.6 * wander[-1] + each)
        seen = look("1-2", 0.0, 100.0, 0.01, list(zip(seconds, 100.0 + 1e-3 * np.array(wander), strict=True)))
        ratios.append(seen.rate_per_s / seen.u_rate_per_s)
    assert 0.8 < np.std(ratios) < 1.6


def test_a_unit_that_never_comes_to_rest_is_told_a_day():
    """Off by 20 K and steady for half an hour: it lies on something warm, and nothing says how long."""
    looks = [Look("1-2", at_s, 100.0, 1e-4) for at_s in (0.0, 900.0, 1800.0)]
    shift = Shift((1800.0,), lambda _, kelvin: -0.5 * (kelvin - 20.0) ** 2)
    found = warmth(looks, per_kelvin=PER_KELVIN, limit_kelvin=1.0, shift=shift)
    assert found.low_kelvin > 15.0
    assert found.at_most_s == pytest.approx(86400.0)
