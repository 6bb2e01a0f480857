"""Normality: silent where it cannot tell, steady in the far tail, right as often as promised."""

import numpy as np
import pytest

from acquire.stats.capability import normality
from tests.later import special


def test_few_values_or_none_that_vary_tell_nothing():
    assert normality([1.0, 2.0, 3.0, 2.0, 1.0, 2.0, 3.0]) is None
    assert normality([5.0] * 40) is None


def test_one_value_far_out_is_no_trouble():
    got = normality([0.0] * 5000 + [1.0])
    assert got.p == 0.0
    assert got.doubtful


def test_a_statistic_from_the_far_tail_is_that_of_scipy():
    """One of 2000 values 44 deviations off, where a normal distribution is no longer a number."""
    values = np.append(np.random.default_rng(3).normal(size=1999), -1e6)
    z = np.sort((values - values.mean()) / values.std(ddof=1))
    odd = 2.0 * np.arange(2000) + 1.0
    a_square = -2000.0 - (odd * (special.log_ndtr(z) + special.log_ndtr(-z[::-1]))).sum() / 2000.0
    assert z[0] < -40.0
    assert normality(values.tolist()).a_square == pytest.approx(a_square, rel=1e-7)


def test_the_probability_falls_without_a_jump_from_normal_values_to_skewed_ones():
    """Its four pieces (D'Agostino and Stephens 1986, table 4.9) meet on the way to exponential ones."""
    shares = (np.arange(60) + 0.5) / 60.0
    normal, skewed = special.ndtri(shares), -np.log1p(-shares)
    found = [normality((normal + part * skewed).tolist()).p for part in np.linspace(0.0, 6.0, 1200)]
    steps = np.diff(found)
    assert found[0] > 0.99
    assert found[-1] < 0.01
    assert steps.max() < 5e-3
    assert steps.min() > -0.02


def test_normal_values_are_doubted_as_often_as_chance_has_it():
    rng = np.random.default_rng(6)
    doubted = sum(normality(rng.normal(size=40).tolist()).doubtful for _ in range(1000))
    assert 25 <= doubted <= 80
