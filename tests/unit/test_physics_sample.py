"""Repeated readings: the refusals and corner cases; the figures are held against NIST in tests/published."""

import math

import pytest

from acquire.errors import InputImpossible
from acquire.physics.sample import correlation, line, pooled, sample


def test_a_single_reading_has_a_mean_and_no_spread():
    one = sample([5.0])
    assert (one.mean, one.standard_deviation, one.lag_1, one.u_of_mean) == (5.0, 0.0, 0.0, 0.0)


def test_readings_that_follow_each_other_are_worth_less():
    smooth = sample([0.0, 1.0, 2.0, 3.0, 4.0, 3.0, 2.0, 1.0, 0.0])
    assert smooth.lag_1 > 0.5
    assert smooth.u_of_mean_correlated == pytest.approx(
        smooth.u_of_mean * math.sqrt((1 + smooth.lag_1) / (1 - smooth.lag_1))
    )


def test_readings_that_alternate_are_not_worth_more():
    zigzag = sample([0.0, 1.0] * 10)
    assert zigzag.lag_1 < 0.0
    assert zigzag.u_of_mean_correlated == zigzag.u_of_mean


def test_equal_readings_have_no_lag():
    assert sample([1.0, 1.0, 1.0]).lag_1 == 0.0


def test_a_perfect_line_is_found_without_scatter():
    fit = line([0.0, 1.0, 2.0], [1.0, 3.0, 5.0])
    assert (fit.intercept, fit.slope, fit.scatter) == pytest.approx((1.0, 2.0, 0.0), abs=1e-12)
    assert fit.at(10.0)[0] == pytest.approx(21.0)


def test_pooling_weighs_by_freedom():
    assert pooled([(1.0, 1), (2.0, 3)]) == (pytest.approx(math.sqrt(13 / 4)), 4)


@pytest.mark.parametrize(
    "call",
    [
        lambda: sample([]),
        lambda: sample([1.0, float("nan")]),
        lambda: correlation([1.0], [1.0]),
        lambda: correlation([1.0, 2.0], [1.0, 1.0]),
        lambda: correlation([1.0, 2.0], [1.0]),
        lambda: pooled([]),
        lambda: line([1.0, 2.0], [1.0, 2.0]),
        lambda: line([1.0, 1.0, 1.0], [1.0, 2.0, 3.0]),
    ],
)
def test_too_little_is_refused_with_a_sentence(call):
    with pytest.raises(InputImpossible) as caught:
        call()
    assert caught.value.hint
