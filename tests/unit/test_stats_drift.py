"""Means by group and the trend of a batch."""

import math

import numpy as np
import pytest

from acquire.errors import InputImpossible
from acquire.stats.drift import MOST_POINTS, by_group, drift, groups_sentence
from tests.later import stats


def noise(sigma, count, seed=11):
    return np.random.default_rng(seed).normal(0.0, sigma, count)


def test_two_spools_differ_and_are_named():
    values = [*(100.0 + noise(0.5, 20)), *(97.0 + noise(0.5, 20, seed=12))]
    by = by_group(values, ["A"] * 20 + ["B"] * 20)
    assert by.p < 1e-12
    assert by.between_s == pytest.approx(3.0 / math.sqrt(2.0), rel=0.15)
    assert by.within_s == pytest.approx(0.5, rel=0.3)
    told = groups_sentence(by, "spool")
    assert told.startswith("By spool the means differ (p < 0.001")
    means = [math.fsum(values[:20]) / 20.0, math.fsum(values[20:]) / 20.0]
    apart, share = f"{means[0] - means[1]:.4g}", f"{100.0 * by.share:.0f}"
    assert f"A reads highest, B lowest, {apart} apart; this makes {share} % of the variance." in told


def test_groups_that_are_alike_are_said_to_be():
    by = by_group((100.0 + noise(0.5, 30)).tolist(), ["Mon", "Tue", "Wed"] * 10)
    assert "no difference that chance would not make" in groups_sentence(by, "day")


def test_one_group_or_single_values_cannot_be_compared():
    assert by_group([1.0, 2.0], ["A", "A"]).p is None
    assert groups_sentence(by_group([1.0, 2.0], ["A", "A"]), "meter") == "Only one meter: nothing to compare."
    lone = by_group([1.0, 2.0], ["A", "B"])
    assert lone.p is None
    assert lone.groups[0].low == -math.inf
    assert groups_sentence(lone, "meter").startswith("Too few values for each meter")


def test_groups_without_spread_within_have_no_f():
    by = by_group([1.0, 1.0, 2.0, 2.0], list("AABB"))
    assert (by.f, by.share) == (None, 1.0)


def test_a_slow_drift_is_found():
    got = drift([100.0 + 0.02 * i + e for i, e in enumerate(noise(0.05, 50))])
    assert got.slope == pytest.approx(0.02, rel=0.1)
    assert got.p < 1e-6


def test_long_rows_are_averaged_and_keep_their_slope():
    values = [5.0 + 1e-4 * i for i in range(5000)]
    got = drift(values)
    assert got.points == 385
    assert got.slope == pytest.approx(1e-4, rel=1e-6)


def test_long_rows_are_averaged_block_by_block():
    """The slope is Sen's of the blocks' means, by scipy; blocks of one length and of two."""
    for count in (2 * MOST_POINTS, 2 * MOST_POINTS - 3):
        values = 1e3 + 1e-3 * np.arange(count) + noise(0.2, count)
        got = drift(values.tolist())
        edges = np.linspace(0, count, MOST_POINTS + 1 - (count < 2 * MOST_POINTS)).astype(int)
        means = [block.mean() for block in np.split(values, edges[1:-1])]
        places = [block.mean() for block in np.split(np.arange(count), edges[1:-1])]
        assert got.points == len(means)
        assert got.slope == pytest.approx(stats.theilslopes(means, places).slope, rel=1e-9)


def test_times_may_be_given():
    assert drift([1.0, 2.0, 4.0, 5.0], [0.0, 10.0, 30.0, 40.0]).slope == pytest.approx(0.1)


def test_what_cannot_be_is_refused():
    for values, names in (([], []), ([1.0], ["A"]), ([1.0, 2.0], ["A"]), ([1.0, math.nan], ["A", "A"])):
        with pytest.raises(InputImpossible):
            by_group(values, names)
    with pytest.raises(InputImpossible):
        drift([1.0, 2.0])
    with pytest.raises(InputImpossible):
        drift([1.0, 2.0, 3.0], [0.0, 1.0])
    with pytest.raises(InputImpossible):
        drift([1.0, 2.0, 3.0], [0.0, 1.0, 1.0])
