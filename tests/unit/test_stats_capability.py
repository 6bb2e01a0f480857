"""Capability: one limit, few units, no spread, the meter's part, and intervals that hold their promise."""

import math

import numpy as np
import pytest

from acquire.errors import InputImpossible
from acquire.stats.capability import CapabilityLimits, capability


def batch(count=50, seed=1, mean=100.0, sigma=1.0):
    return np.random.default_rng(seed).normal(mean, sigma, count).tolist()


def test_one_limit_gives_cpk_but_no_cp():
    got = capability(batch(), CapabilityLimits(None, 104.0))
    assert got.cp is None
    assert got.pp is None
    assert got.ppk.value == pytest.approx((104.0 - got.mean) / (3.0 * got.sigma_overall))
    assert got.outside.below == 0.0
    low = capability(batch(), CapabilityLimits(96.0, None))
    assert low.ppk.value == pytest.approx((low.mean - 96.0) / (3.0 * low.sigma_overall))


def test_a_mean_beyond_its_limit_has_a_negative_cpk():
    got = capability(batch(mean=105.0), CapabilityLimits(96.0, 104.0))
    assert got.ppk.value < 0.0
    assert got.outside.above > 0.5
    assert got.outside.parts_per_million == pytest.approx((got.outside.below + got.outside.above) * 1_000_000)
    assert got.outside.counted > 25


def test_few_units_are_said_to_be_few():
    got = capability(batch(5), CapabilityLimits(96.0, 104.0))
    assert got.remarks[0].startswith("Only 5 units: the 95 % interval of Ppk is ")
    assert any(r.startswith("Too few values to test for the normal distribution") for r in got.remarks)
    assert got.normality is None


def test_a_full_calm_batch_needs_no_remark():
    assert capability(batch(60), CapabilityLimits(96.0, 104.0)).remarks == ()


def test_values_all_alike_have_no_index():
    got = capability([100.0] * 20, CapabilityLimits(96.0, 104.0))
    assert (got.cp, got.cpk, got.pp, got.ppk, got.outside) == (None,) * 5
    assert got.remarks == ("All values are alike: the meter resolves too little to show the spread.",)


def test_a_step_in_the_batch_shows_between_overall_and_within():
    values = batch(20) + batch(20, seed=2, mean=104.0)
    got = capability(values, CapabilityLimits(90.0, 110.0))
    assert got.sigma_overall > 1.8 * got.sigma_within
    assert got.ppk.value < got.cpk.value
    assert any("times as wide as neighbours do: the level moves" in remark for remark in got.remarks)


def test_values_off_the_normal_law_are_said():
    skewed = np.random.default_rng(3).exponential(1.0, 60).tolist()
    got = capability(skewed, CapabilityLimits(None, 10.0))
    assert got.normality.doubtful
    assert any(remark.startswith("The values are not normally distributed") for remark in got.remarks)


@pytest.mark.parametrize(
    ("u", "told"),
    [
        (0.1, "which hardly matters"),
        (0.4, "which counts"),
        (0.8, "hides much"),
        (3.0, "as large as the whole"),
    ],
)
def test_the_meters_part_of_the_spread_is_told(u, told):
    got = capability(batch(60), CapabilityLimits(96.0, 104.0), meter_u=u)
    assert told in got.remarks[-1]
    assert got.meter_share == 1.0 or got.remarks[-1].startswith(f"At most {100.0 * got.meter_share:.0f} % of")
    assert got.meter_share == pytest.approx(min(1.0, (u / got.sigma_overall) ** 2))


@pytest.mark.parametrize("values", [[], [1.0], [1.0, math.nan], [1.0, math.inf]])
def test_values_that_show_no_spread_are_refused(values):
    with pytest.raises(InputImpossible):
        capability(values, CapabilityLimits(0.0, 2.0))


@pytest.mark.parametrize("pair", [(None, None), (2.0, 1.0), (1.0, 1.0), (math.nan, 1.0)])
def test_limits_that_cannot_be_are_refused(pair):
    with pytest.raises(InputImpossible):
        CapabilityLimits(*pair)


def test_arguments_that_do_not_go_together_are_refused():
    with pytest.raises(InputImpossible):
        capability(batch(), CapabilityLimits(96.0, 104.0), meter_u=0.0)


@pytest.mark.parametrize(("mean", "truth"), [(100.0, 4.0 / 3.0), (101.5, 2.5 / 3.0)])
def test_intervals_hold_the_true_index_as_often_as_promised(mean, truth):
    """95 % of 600 simulated batches of 30; limits 96 to 104, sigma 1. All four intervals: 92 to 98.5 %."""
    held = np.zeros(4)
    for seed in range(600):
        got = capability(batch(30, seed=seed, mean=mean), CapabilityLimits(96.0, 104.0))
        for i, (index, true) in enumerate(
            zip((got.cp, got.pp, got.cpk, got.ppk), (4 / 3, 4 / 3, truth, truth), strict=True)
        ):
            held[i] += index.low <= true <= index.high
    assert (held / 600 > 0.92).all(), held / 600
    assert (held / 600 < 0.985).all(), held / 600
