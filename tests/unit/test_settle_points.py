"""Running sums against numpy's least squares and plain statistics, also after trimming and after hours."""

from __future__ import annotations

import numpy as np
import pytest

from acquire.settle.noise import Noise, RangeNoise, learn
from acquire.settle.points import MOST_POINTS, Points
from drivers.reading import Quantity

NOISE = RangeNoise(0.2, 4.0)


def filled(times_s, values_si, count_si=0.1):
    points = Points(count_si, NOISE)
    for t, v in zip(times_s, values_si, strict=True):
        points.add(t, v, 1)
    return points


@pytest.fixture
def dice():
    return np.random.default_rng(5)


@pytest.mark.parametrize("start_s", [0.0, 1e4, 1e6])
@pytest.mark.parametrize("level", [0.3, 150.0, 1.7e6])
def test_a_line_agrees_with_numpy_polyfit(dice, start_s, level):
    t = start_s + np.cumsum(dice.uniform(0.05, 0.2, 30))
    v = level + 0.7 * (t - start_s) + dice.normal(0, 0.5, 30)
    line = filled(t, v).line(20)

    slope, at_newest = np.polyfit(t[-20:] - t[-1], (v[-20:] - v[-1]) / 0.1, 1)
    assert line.slope == pytest.approx(slope, rel=1e-5)
    assert line.mean - line.slope * line.mean_s == pytest.approx(at_newest, rel=1e-4, abs=1e-4)
    left = (v[-20:] - v[-1]) / 0.1 - (at_newest + slope * (t[-20:] - t[-1]))
    assert line.squares == pytest.approx(float(left @ left), rel=1e-3)


def test_memory_is_bounded_and_the_sums_stay_right_after_hours(dice):
    points = Points(1e-4, NOISE)
    t = np.arange(40_000) * 0.1
    v = 12.0 + 1e-3 * dice.normal(size=t.size)
    for a, b in zip(t.tolist(), v.tolist(), strict=True):
        points.add(a, b, 1)
        points.trim(12.0)

    assert len(points.times_s) == len(points.values) == MOST_POINTS
    slope = np.polyfit(t[-50:] - t[-1], v[-50:] / 1e-4, 1)[0]
    assert points.line(50).slope == pytest.approx(slope, rel=1e-6)


def test_scatter_tells_neighbours_from_the_whole(dice):
    t = np.arange(30) * 0.1
    v = np.sin(t) * 5 + 20
    jump, spread = filled(t, v, 1.0).scatter(10, 10.0)

    assert jump == pytest.approx(np.sqrt(np.mean(np.diff(v) ** 2) / 2), rel=1e-6)
    assert spread == pytest.approx(v.std(), rel=1e-6)


def test_the_start_of_the_window_is_remembered():
    points = filled(range(8), [5.0, 6.0, 7.0, 1.0, 1.0, 1.0, 1.0, 1.0], 1.0)

    assert points.start() == pytest.approx(5.0)


def test_keeping_the_newest_points_keeps_their_line(dice):
    t, v = np.arange(20) * 0.3, 100 + dice.normal(0, 1, 20)
    points = filled(t, v)
    before = points.line(6)
    points.keep_newest(6)

    assert points.line(6).slope == pytest.approx(before.slope)
    assert points.value_si(0.0) == pytest.approx(v[-1])


def test_a_block_is_averaged_to_one_point():
    points = Points(0.1, NOISE)
    points.block += [(1.0, 10.0), (1.1, 10.4)]

    assert points.close_block() == pytest.approx(10.2)
    assert points.times_s == [pytest.approx(1.05)]
    assert points.conversions == [2]


def test_noise_from_the_meters_file_is_the_first_belief_in_every_range():
    noise = Noise(0.6)

    assert noise.of(Quantity.RESISTANCE, 200.0, 0.1).variance == pytest.approx(0.36)
    assert noise.of(Quantity.RESISTANCE, 200.0, 0.1) is noise.of(Quantity.RESISTANCE, 200.0, 0.1)
    assert noise.of(Quantity.RESISTANCE, 2000.0, 1.0) is not noise.of(Quantity.RESISTANCE, 200.0, 0.1)


def left_over(values):
    """What learning takes of a stretch of points: count, squares, lag-1 autocorrelation."""
    points = Points(1.0, NOISE)
    for k, v in enumerate(values):
        points.add(0.4 * k, float(v), 1)
    line = points.line(len(values))
    return line.points, line.squares, points.lag(line)


def test_the_lag_of_residuals_against_their_direct_sum(dice):
    """Steps give the same lag-1 autocorrelation as the residuals of numpy's polyfit one by one."""
    values = np.convolve(dice.normal(size=34), np.ones(3) / 3, "valid") + 0.3 * np.arange(32)
    times_s = 0.4 * np.arange(32)
    rest = values - np.polyval(np.polyfit(times_s, values, 1), times_s)

    _, squares, lag = left_over(values)

    assert squares == pytest.approx(float(rest @ rest))
    assert lag == pytest.approx(float(rest[1:] @ rest[:-1] / (rest @ rest)))


def test_unknown_noise_is_learnt_within_a_factor_of_one_and_a_half(dice):
    noise = Noise(None).of(Quantity.RESISTANCE, 100.0, 1e-4)
    for _ in range(8):
        learn(noise, *left_over(dice.normal(0, 40, 20)), scatter=True)

    assert 40 / 1.5 < noise.variance**0.5 < 40 * 1.5


def test_correlation_of_an_averaging_meter_is_learnt(dice):
    noise = Noise(1.0).of(Quantity.RESISTANCE, 100.0, 1e-4)
    white = dice.normal(size=400)
    for k in range(10):
        row = np.convolve(white[40 * k : 40 * k + 40], np.ones(4) / 4, "valid")
        learn(noise, *left_over(row), scatter=False)

    assert noise.rho > 0.5
    assert noise.variance == 1.0
