"""Median of slopes and Kendall's rank correlation."""

import random

import pytest

from acquire.errors import InputImpossible
from acquire.physics.trend import trend
from tests.later import stats


@pytest.mark.parametrize("count", [3, 4, 8, 25, 60])
def test_slope_and_exact_probability_agree_with_scipy(count):
    dice = random.Random(count)
    x, y = list(range(count)), [dice.gauss(0.05 * i, 1.0) for i in range(count)]
    theirs = stats.kendalltau(x, y, method="exact")
    got = trend(x, y)
    assert got.slope == pytest.approx(stats.theilslopes(y, x).slope)
    assert got.tau == pytest.approx(theirs.statistic)
    assert got.p == pytest.approx(theirs.pvalue, rel=1e-9)


def test_many_points_are_judged_by_the_normal_law():
    dice = random.Random(1)
    x, y = list(range(100)), [dice.gauss(0.004 * i, 1.0) for i in range(100)]
    assert trend(x, y).p == pytest.approx(stats.kendalltau(x, y, method="exact").pvalue, rel=0.02)


def test_a_single_wild_reading_does_not_matter():
    calm = [float(i) for i in range(15)]
    wild = [*calm[:-1], -1000.0]
    assert trend(range(15), wild).slope == pytest.approx(1.0)
    assert trend(range(15), wild).p < 0.01


def test_the_order_of_the_points_does_not_matter():
    assert trend([3, 1, 2, 4], [9.0, 1.0, 4.0, 16.0]) == trend([1, 2, 3, 4], [1.0, 4.0, 9.0, 16.0])


def test_no_change_is_no_trend():
    flat = trend([1, 2, 3], [5.0, 5.0, 5.0])
    assert (flat.slope, flat.tau, flat.p) == (0.0, 0.0, 1.0)


def test_too_little_is_refused():
    for x, y in (
        ([1, 2], [1, 2]),
        ([1, 2, 3], [1, 2]),
        ([1, 1, 2], [1, 2, 3]),
        ([1, 2, 3], [1, 2, float("nan")]),
    ):
        with pytest.raises(InputImpossible):
            trend(x, y)
