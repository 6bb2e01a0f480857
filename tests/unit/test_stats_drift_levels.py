"""Changes of level: found where they are, named by their cause, and rarely made up."""

import math

import numpy as np
import pytest

from acquire.errors import InputImpossible
from acquire.stats.drift import SHORTEST, causes_of, change_sentence, level_changes
from tests.later import stats


def two_spools(seed=1, first=22, count=40, step=-0.036):
    """243.09 ohm, spool A 1.2 % above, spool B 2.4 % below, 0.4 % spread within."""
    rng = np.random.default_rng(seed)
    level = np.where(np.arange(count) < first, 1.012, 1.012 + step)
    return (243.09 * level * (1.0 + rng.normal(0.0, 0.004, count))).tolist()


def test_a_new_spool_is_found_at_its_first_unit():
    (change,) = level_changes(two_spools())
    assert change.at == 22
    assert change.low < change.shift < change.high < 0.0
    assert change.shift / change.before == pytest.approx(-0.0356, abs=0.003)
    assert change.p < 1e-9
    values = two_spools()
    test = stats.ttest_ind(values[22:], values[:22])
    assert change.p == pytest.approx(test.pvalue * (40 - 2 * SHORTEST + 1))  # Bonferroni, over all places
    between = test.confidence_interval(0.95)
    assert (change.low, change.high) == pytest.approx((between.low, between.high))


def test_its_cause_is_named():
    (change,) = level_changes(two_spools())
    serials = [f"F7-{i + 1:03}" for i in range(40)]
    spools, days = ["A"] * 22 + ["B"] * 18, ["Monday"] * 10 + ["Tuesday"] * 30
    causes = causes_of(change, {"spool": spools, "day": days})
    told = change_sentence(serials[change.at], f"it is {change.way}", causes)
    assert told == "From F7-023 on it is lower: there the spool changes from A to B."


def test_a_change_nearby_is_taken_for_the_cause_and_one_far_away_is_not():
    (change,) = level_changes(two_spools())
    assert causes_of(change, {"spool": ["A"] * 23 + ["B"] * 17})[0].at == 23
    assert causes_of(change, {"spool": ["A"] * 26 + ["B"] * 14}) == ()
    assert causes_of(change, {"spool": [""] * 22 + ["B"] * 18}) == ()


def test_without_a_cause_the_change_is_told_alone():
    assert change_sentence("F7-023", "it is lower", ()) == "From F7-023 on it is lower."


def test_several_levels_are_found_in_order():
    rng = np.random.default_rng(3)
    values = np.repeat([10.0, 11.0, 9.0], 15) + rng.normal(0.0, 0.1, 45)
    assert [change.at for change in level_changes(values.tolist())] == [15, 30]


def test_a_step_without_noise_is_found():
    (change,) = level_changes([1.0] * 10 + [2.0] * 10)
    assert (change.at, change.before, change.after, change.p) == (10, 1.0, 2.0, 0.0)


def test_a_single_wild_value_is_no_level():
    rng = np.random.default_rng(4)
    values = rng.normal(100.0, 0.1, 40)
    values[20] = 105.0
    assert level_changes(values.tolist()) == ()


@pytest.mark.parametrize(
    "values", [[], [1.0], [1.0] * 7, [3.3] * 50, [1e9 / 3] * 50, [1e6] * 9 + [np.nextafter(1e6, 2e6)] * 9]
)
def test_nothing_is_found_where_nothing_is(values):
    """Nor where nothing but the last bit of a float changes."""
    assert level_changes(values) == ()


def test_chance_alone_is_told_less_often_than_promised():
    rng = np.random.default_rng(9)
    false = sum(bool(level_changes(rng.normal(size=40).tolist())) for _ in range(2000))
    assert false <= 0.001 * 2000


def test_what_cannot_be_is_refused():
    with pytest.raises(InputImpossible):
        level_changes([1.0, math.nan] * 10)
