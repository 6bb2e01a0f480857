"""Normality: silent where it cannot tell, steady in the far tail, right as often as promised."""

import numpy as np

from acquire.stats.normality import normality


def test_few_values_or_none_that_vary_tell_nothing():
    assert normality([1.0, 2.0, 3.0, 2.0, 1.0, 2.0, 3.0]) is None
    assert normality([5.0] * 40) is None


def test_one_value_far_out_is_no_trouble():
    got = normality([0.0] * 5000 + [1.0])
    assert got.p == 0.0
    assert got.doubtful


def test_normal_values_are_doubted_as_often_as_chance_has_it():
    rng = np.random.default_rng(6)
    doubted = sum(normality(rng.normal(size=40).tolist()).doubtful for _ in range(1000))
    assert 25 <= doubted <= 80
