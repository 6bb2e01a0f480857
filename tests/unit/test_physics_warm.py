"""Warm or bad: the signs, the fit of cooling, and the time to wait."""

import math
import random

import pytest

from acquire.errors import InputImpossible
from acquire.physics.warm import (
    Deviation,
    Sample,
    common_shift,
    fit_cooling,
    judge_warmth,
    settle_time_s,
    wait_for,
)


def cooling(times, *, rest=100.0, excess=0.10, tau=1500.0, u=0.01, dice=None):
    noise = dice.gauss if dice else (lambda _mean, _u: 0.0)
    return [Sample(t, rest * (1 + excess * math.exp(-t / tau)) + noise(0.0, u), u) for t in times]


def true_wait(excess, tau, at, limit):
    return tau * math.log(excess * math.exp(-at / tau) / limit)


def test_a_long_look_finds_rest_time_constant_and_wait():
    fit = fit_cooling(cooling(range(0, 1801, 120)), 0.004)
    assert fit.rest_ohm == pytest.approx(100.0, abs=0.1)
    assert fit.tau_s == pytest.approx(1500.0, rel=0.03)
    assert fit.wait_s == pytest.approx(true_wait(0.10, 1500, 1800, 0.004), rel=0.03)


def test_the_measured_curve_wins_over_what_is_usual():
    small = fit_cooling(cooling(range(0, 1201, 60), tau=500.0), 0.004)
    assert small.tau_s == pytest.approx(500.0, rel=0.05)


def test_two_samples_give_a_first_answer_of_the_right_order():
    fit = fit_cooling(cooling((0, 120)), 0.004)
    assert fit.wait_s == pytest.approx(true_wait(0.10, 1500, 120, 0.004), rel=0.6)
    assert fit.wait_at_most_s > fit.wait_s
    assert fit.tau_s == pytest.approx(1800.0)  # two samples say nothing of it: the usual one stands


def test_the_longest_wait_is_too_short_in_about_one_case_of_ten():
    """Parts with time constants spread as assumed, five looks over eight minutes, seeded."""
    dice = random.Random(5)
    short = 0
    for _ in range(200):
        tau = 1800.0 * math.exp(dice.gauss(0.0, 0.6))
        fit = fit_cooling(cooling((0, 120, 240, 360, 480), tau=tau, excess=0.08, dice=dice), 0.004)
        short += fit.wait_at_most_s < true_wait(0.08, tau, 480, 0.004)
    assert short / 200 < 0.2


def test_a_cold_part_that_warms_up_is_fitted_alike():
    fit = fit_cooling(cooling(range(0, 1801, 120), excess=-0.05), 0.004)
    assert fit.excess_ohm < 0.0
    assert fit.wait_s > 0.0


def test_no_wait_once_it_is_below_the_limit():
    assert fit_cooling(cooling(range(0, 1801, 120), excess=0.001), 0.004).wait_s == 0.0
    assert wait_for(0.003, 0.004) == 0.0
    assert wait_for(0.04, 0.004, 1800.0) == pytest.approx(1800.0 * math.log(10.0))


def test_a_first_pair_that_moved_holds_the_unit_and_says_how_long():
    warmth = judge_warmth(limit_fraction=0.004, samples=cooling((0, 180)))
    assert warmth.held
    assert "moved by -1.0 %" in warmth.reason
    assert warmth.wait_s > 600.0
    assert warmth.kelvin > 5.0


def test_a_first_pair_that_stays_does_not():
    still = [Sample(0.0, 100.0, 0.05), Sample(180.0, 100.2, 0.05)]
    assert not judge_warmth(limit_fraction=0.004, samples=still).held


def test_movement_within_the_scatter_is_no_sign():
    noisy = [Sample(0.0, 100.0, 0.5), Sample(180.0, 99.2, 0.5)]
    assert not judge_warmth(limit_fraction=0.004, samples=noisy).held


def test_all_pairs_off_by_the_same_percentage_are_warm_not_bad():
    shift = common_shift([Deviation(0.055, 0.01), Deviation(0.052, 0.01), Deviation(0.058, 0.012)])
    assert shift.agreement > 0.5
    assert shift.kelvin == pytest.approx(0.0548 * 254.5, abs=0.2)
    warmth = judge_warmth(limit_fraction=0.004, shift=shift)
    assert warmth.held
    assert "14 K warmer" in warmth.reason


def test_a_unit_that_has_rested_is_not_held_for_the_same_shift_again():
    shift = common_shift([Deviation(0.055, 0.01), Deviation(0.052, 0.01)])
    assert not judge_warmth(limit_fraction=0.004, shift=shift, rested=True).held


def test_one_bad_pair_is_no_warmth():
    shift = common_shift([Deviation(0.12, 0.01), Deviation(0.001, 0.01), Deviation(-0.002, 0.01)])
    assert shift.agreement < 0.001
    assert not judge_warmth(limit_fraction=0.004, shift=shift).held


def test_one_pair_alone_cannot_tell():
    assert not common_shift([Deviation(0.12, 0.01)]).stands_out(0.004)


def test_a_shift_within_its_own_uncertainty_does_not_stand_out():
    assert not common_shift([Deviation(0.01, 0.02), Deviation(0.01, 0.02)]).stands_out(0.004)


@pytest.mark.parametrize(
    "call",
    [
        lambda: fit_cooling(cooling((0,)), 0.004),
        lambda: fit_cooling(cooling((0, 60)), 0.0),
        lambda: fit_cooling(cooling((60, 0)), 0.004),
        lambda: fit_cooling([Sample(0, 1.0, 0.0), Sample(1, 1.0, 0.1)], 0.004),
        lambda: common_shift([]),
        lambda: common_shift([Deviation(0.1, 0.0)]),
        lambda: wait_for(0.1, -0.004),
        lambda: settle_time_s(1.0, 0.0),
        lambda: settle_time_s(1.0, 1.0, 1.5),
    ],
)
def test_impossible_input_is_refused(call):
    with pytest.raises(InputImpossible):
        call()
