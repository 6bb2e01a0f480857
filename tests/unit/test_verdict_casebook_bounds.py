"""Normal laws with ends, against scipy."""

from __future__ import annotations

import numpy as np
import pytest

from acquire.verdict.casebook import log_below, log_between, mean_between
from tests.later import norm, truncnorm


def laws():
    """Laws of all widths about, above and below an interval; half of the intervals have no upper end."""
    dice = np.random.default_rng(1)
    mean, sd = dice.normal(0.0, 5.0, 3000), np.exp(dice.normal(0.0, 1.0, 3000))
    return mean, sd, np.zeros(3000), np.where(dice.random(3000) < 0.5, 1.0, np.inf)


def test_the_normal_law_and_its_tail():
    """Within a quarter of a per cent of probability, also where that has a hundred zeros."""
    x = np.linspace(-25.0, 8.0, 5000)
    assert log_below(x) == pytest.approx(norm.logcdf(x), abs=2.5e-3)


def test_the_share_of_an_interval():
    """Wherever scipy's difference of two probabilities is still a number."""
    mean, sd, low, high = laws()
    below, above = (low - mean) / sd, (high - mean) / sd
    share = np.where(below > 0.0, norm.sf(below) - norm.sf(above), norm.cdf(above) - norm.cdf(below))
    known = share > 1e-200
    assert known.mean() > 0.9
    assert log_between(mean, sd, low, high)[known] == pytest.approx(np.log(share[known]), abs=4e-3)


def test_the_mean_of_what_is_left():
    """Inside the interval, and scipy's."""
    mean, sd, low, high = laws()
    ours = mean_between(mean, sd, low, high)
    assert ((ours >= low) & (ours <= high)).all()
    near = np.abs(mean / sd) < 20.0
    theirs = truncnorm.mean((low - mean) / sd, (high - mean) / sd, loc=mean, scale=sd)
    assert (ours / sd)[near] == pytest.approx((theirs / sd)[near], abs=0.01)


def test_a_size_that_is_not_unsure_is_left_alone():
    """A lost contact has infinite ohms; nothing is taken off and nothing becomes no number."""
    mean, sd = np.array([np.inf, 0.0, 3.0]), np.zeros(3)
    low, high = np.zeros(3), np.full(3, np.inf)
    assert log_between(mean, sd, low, high).tolist() == [0.0, 0.0, 0.0]
    assert mean_between(mean, sd, low, high).tolist() == mean.tolist()
