"""Counts, shares and yields."""

import pytest

from acquire.errors import InputImpossible
from acquire.stats.capability import pareto, share_of


def test_the_most_frequent_comes_first_and_shares_add_up():
    bars = pareto({"bad joint": 2, "wrong turns": 5, "warm": 0, "open": 2, "shorted": 1})
    assert [bar.kind for bar in bars] == ["wrong turns", "bad joint", "open", "shorted"]
    assert [bar.cumulative for bar in bars] == pytest.approx([0.5, 0.7, 0.9, 1.0])
    assert sum(bar.share for bar in bars) == pytest.approx(1.0)


def test_nothing_counted_makes_no_bars():
    assert pareto({}) == ()
    assert pareto({"open": 0}) == ()


def test_all_passed_is_not_certainty():
    """10 of 10: the true yield may be 72 % (Wilson)."""
    got = share_of(10, 10)
    assert got.share == 1.0
    assert got.high == 1.0
    assert got.low == pytest.approx(0.7225, abs=1e-4)


def test_no_trials_tell_nothing():
    got = share_of(0, 0)
    assert (got.share, got.low, got.high) == (0.0, 0.0, 1.0)


@pytest.mark.parametrize(("count", "of"), [(-1, 3), (4, 3), (1, -1)])
def test_shares_that_cannot_be_are_refused(count, of):
    with pytest.raises(InputImpossible):
        share_of(count, of)


def test_negative_counts_are_refused():
    with pytest.raises(InputImpossible):
        pareto({"open": -1})
