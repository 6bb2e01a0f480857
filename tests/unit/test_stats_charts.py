"""Control charts: what is refused, where limits come from, and what a sigma is worth."""

import math

import numpy as np
import pytest

from acquire.errors import InputImpossible
from acquire.physics.check_standard import chart_of
from acquire.stats.charts import (
    Plotted,
    freedom_of_moving_range,
    freedom_of_variation,
    individuals,
    subgroups,
)

VALUES = [10.0, 12.0, 11.0, 13.0, 9.0, 10.0]


def test_individuals_have_the_limits_of_the_check_standard():
    pair, of = individuals(VALUES), chart_of(VALUES)
    assert (pair.level.centre, pair.level.lower, pair.level.upper) == (
        of.centre_ohm,
        of.lower_ohm,
        of.upper_ohm,
    )
    assert pair.level.sigma == pytest.approx(pair.sigma)


def test_moving_ranges_stand_at_the_later_value():
    spread = individuals(VALUES).spread
    assert spread.plotted is Plotted.MOVING_RANGE
    assert spread.points == (2.0, 1.0, 2.0, 4.0, 1.0)
    assert spread.first == 1


@pytest.mark.parametrize("values", [[], [1.0], [1.0, math.nan], [1.0, math.inf]])
def test_what_makes_no_chart_is_refused(values):
    with pytest.raises(InputImpossible):
        individuals(values)


def test_neighbours_make_subgroups_and_the_rest_is_left_out():
    assert subgroups(range(7), 3).level.points == (1.0, 4.0)
    assert [subgroups(range(60), n).spread.plotted for n in (10, 11)] == [Plotted.RANGE, Plotted.DEVIATION]
    for values, size in (([1.0], 2), ([1.0, 2.0], 1), ([1.0, math.nan, 1.0, 2.0], 2)):
        with pytest.raises(InputImpossible):
            subgroups(values, size)


def test_three_ways_to_sigma_agree_on_normal_values():
    values = np.random.default_rng(6).normal(100.0, 2.0, 2000).tolist()
    sigmas = [subgroups(values, 5, by).sigma for by in (Plotted.RANGE, Plotted.DEVIATION)]
    assert [*sigmas, individuals(values).sigma] == pytest.approx([2.0, 2.0, 2.0], rel=0.04)


@pytest.mark.parametrize("count", [3, 6, 20])
def test_freedom_of_a_moving_range_is_what_simulation_finds(count):
    """Twice the squared inverse of the coefficient of variation of the mean moving range."""
    rng = np.random.default_rng(2)
    means = np.abs(np.diff(rng.normal(size=(60_000, count)), axis=1)).mean(axis=1)
    found = freedom_of_variation(means.std() / means.mean())
    assert freedom_of_moving_range(count) == pytest.approx(found, rel=0.02)


def test_freedom_of_a_standard_deviation_is_given_back():
    """s of n values has n - 1."""
    for nu in (1, 2, 5, 20, 100):
        c4 = math.sqrt(2.0 / nu) * math.exp(math.lgamma((nu + 1) / 2) - math.lgamma(nu / 2))
        assert freedom_of_variation(math.sqrt(1.0 - c4**2) / c4) == pytest.approx(nu, rel=0.02, abs=0.15)
