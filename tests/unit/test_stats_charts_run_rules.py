"""Run rules: each calls where it should, once, and rarely by chance."""

import numpy as np
import pytest

from acquire.stats.charts import Chart, Plotted, RunRule, Signal, individuals, signals


def chart(points, plotted=Plotted.VALUE, first=0):
    """Centre 0, sigma 1."""
    return Chart(plotted, tuple(float(p) for p in points), first, 0.0, -3.0, 3.0)


def called(points, rule):
    """Places and sides; the same wherever the centre lies and however wide a sigma is."""
    found = signals(chart(points), [rule])
    moved = Chart(Plotted.VALUE, tuple(192.0 + 4.0 * p for p in points), 0, 192.0, 180.0, 204.0)
    assert signals(moved, [rule]) == found
    return [(s.start, s.end, s.side) for s in found]


def test_a_point_beyond_its_limit_is_called():
    assert called([0, 3.1, 0, -3.1], RunRule.BEYOND) == [(1, 1, 1), (3, 3, -1)]
    assert called([3.0, -3.0], RunRule.BEYOND) == []


def test_nine_in_a_row_are_called_once_with_all_that_follow():
    assert called([0.1] * 8, RunRule.RUN) == []
    assert called([-0.1, *[0.1] * 12, -0.1], RunRule.RUN) == [(1, 12, 1)]


def test_a_point_on_the_centre_breaks_a_run():
    assert called([0.1] * 5 + [0.0] + [0.1] * 5, RunRule.RUN) == []


def test_two_of_three_must_lie_on_one_side():
    assert called([0, 2.1, 0, 2.1, 0], RunRule.TWO_OF_THREE) == [(1, 3, 1)]
    assert called([0, 2.1, 0, -2.1, 0], RunRule.TWO_OF_THREE) == []
    assert called([2.1, 0, 0, 2.1], RunRule.TWO_OF_THREE) == []


def test_four_of_five_beyond_one_sigma():
    assert called([1.1, 1.1, 0, 1.1, 1.1], RunRule.FOUR_OF_FIVE) == [(0, 4, 1)]
    assert called([1.1, 1.1, 0, 0, 1.1, 1.1], RunRule.FOUR_OF_FIVE) == []


def test_on_ranges_only_limits_count():
    """Their law is skewed and neighbours share a value."""
    ranges = chart([0.1] * 20 + [3.5], Plotted.MOVING_RANGE, first=1)
    assert signals(ranges, tuple(RunRule)) == (Signal(RunRule.BEYOND, 21, 21, 1),)


def test_values_that_never_move_call_nothing():
    assert signals(individuals([5.0] * 30).level, tuple(RunRule)) == ()


@pytest.mark.parametrize("rule", list(RunRule))
def test_every_rule_says_a_plain_sentence(rule):
    told = Signal(rule, 2, 10, 1).sentence([f"F7-{i:03}" for i in range(20)])
    assert told.startswith("F7-002")
    assert told.endswith(".")
    assert "{" not in told


def test_a_single_point_is_named_alone():
    assert Signal(RunRule.BEYOND, 2, 2, -1).sentence("abc") == "c lies below its limit."


@pytest.mark.parametrize(("rules", "between"), [((RunRule.BEYOND,), (300, 450)), (tuple(RunRule), (85, 140))])
def test_chance_calls_as_rarely_as_told(rules, between):
    """Mean number of points to the first call with known limits: 370 for the limits alone; 91.75 for the four
    zone rules with a run of eight (Champ and Woodall, Technometrics 29 (1987) 393, from memory): longer with
    nine."""
    rng = np.random.default_rng(7)
    lengths = []
    for _ in range(150):
        points = rng.normal(size=2000).tolist()
        calls = []
        for size in (100, 400, 2000):
            calls = signals(chart(points[:size]), rules)
            if calls:
                break
        lengths.append(min(s.end for s in calls) + 1 if calls else 2000)
    assert between[0] < np.mean(lengths) < between[1]
