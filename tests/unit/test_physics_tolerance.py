"""Factors of tolerance intervals, against scipy and simulation."""

import numpy as np
import pytest

from acquire.errors import InputImpossible
from acquire.physics.tolerance import two_sided_k
from tests.later import stats


@pytest.mark.parametrize("count", [3, 5, 10])
def test_two_sided_factor_holds_its_share_as_surely_as_it_says(count):
    dice = np.random.default_rng(count)
    units = dice.normal(0.0, 1.0, (40_000, count))
    mean, spread = units.mean(axis=1), units.std(axis=1, ddof=1)
    k = two_sided_k(count)
    held = stats.norm.cdf(mean + k * spread) - stats.norm.cdf(mean - k * spread)
    assert np.mean(held >= 0.95) == pytest.approx(0.95, abs=4 * np.sqrt(0.95 * 0.05 / 40_000))


def test_more_units_need_less():
    factors = [two_sided_k(n) for n in (2, 5, 30)]
    assert factors == sorted(factors, reverse=True)
    assert factors[-1] > 1.96
    assert two_sided_k(5, share=0.9) < two_sided_k(5)
    assert two_sided_k(5, confidence=0.9) < two_sided_k(5)


def test_impossible_input_is_refused():
    for call in (
        lambda: two_sided_k(1),
        lambda: two_sided_k(5, share=95),
    ):
        with pytest.raises(InputImpossible):
            call()
