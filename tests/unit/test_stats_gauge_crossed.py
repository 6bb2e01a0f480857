"""A crossed layout: what is missing is named, and the interval of the gauge holds what it promises."""

import math

import numpy as np
import pytest

from acquire.errors import InputImpossible
from acquire.stats.gauge import (
    StudyTrial,
    VarianceSource,
    gauge_interval,
    layout_of,
    pooled_table,
    table_of,
    variances_of,
)


def study(seed, sigmas, shape=(10, 3, 3)):
    """Trials from true standard deviations of part, operator, interaction and repeatability."""
    rng = np.random.default_rng(seed)
    parts, operators, trials = shape
    part, operator, mixed, repeat = sigmas
    values = (
        100.0
        + rng.normal(0, part, parts)[:, None, None]
        + rng.normal(0, operator, operators)[None, :, None]
        + rng.normal(0, mixed, (parts, operators))[:, :, None]
        + rng.normal(0, repeat, shape)
    )
    return [
        StudyTrial(f"P{p}", f"O{o}", values[p, o, t])
        for p in range(parts)
        for o in range(operators)
        for t in range(trials)
    ]


def test_the_missing_cell_is_named():
    trials = study(1, (1.0, 0.1, 0.1, 0.1))
    short = [t for i, t in enumerate(trials) if i != 40]
    with pytest.raises(InputImpossible, match=r"Part P4 by O1 was measured 2 of 3 times\."):
        layout_of(short)


def test_a_cell_without_any_measurement_is_named():
    trials = [t for t in study(1, (1.0, 0.1, 0.1, 0.1)) if (t.part, t.operator) != ("P2", "O2")]
    with pytest.raises(InputImpossible, match="Part P2 by O2 was measured 0 of 3 times"):
        layout_of(trials)


def test_one_part_or_one_trial_is_refused():
    with pytest.raises(InputImpossible, match="two parts"):
        layout_of([StudyTrial("a", "x", 1.0), StudyTrial("a", "x", 2.0)])
    with pytest.raises(InputImpossible, match="twice or more"):
        layout_of([StudyTrial("a", "x", 1.0), StudyTrial("b", "x", 2.0)])
    with pytest.raises(InputImpossible):
        layout_of([StudyTrial("a", "x", 1.0), StudyTrial("b", "x", math.nan)])
    with pytest.raises(InputImpossible):
        layout_of([])


def test_components_come_back_on_average():
    """Mean over 300 studies of the variances, from 1, 0.3, 0.2 and 0.4 squared, within 8 %."""
    sums = dict.fromkeys(
        (
            VarianceSource.PART,
            VarianceSource.OPERATOR,
            VarianceSource.INTERACTION,
            VarianceSource.REPEATABILITY,
        ),
        0.0,
    )
    truth = {s: v**2 for s, v in zip(sums, (1.0, 0.3, 0.2, 0.4), strict=True)}
    for seed in range(300):
        layout = layout_of(study(seed, (1.0, 0.3, 0.2, 0.4)))
        found, _ = variances_of(table_of(layout), layout)
        for source in sums:
            sums[source] += found[source] / 300
    assert sums[VarianceSource.REPEATABILITY] == pytest.approx(truth[VarianceSource.REPEATABILITY], rel=0.03)
    assert sums[VarianceSource.INTERACTION] == pytest.approx(truth[VarianceSource.INTERACTION], rel=0.15)
    assert sums[VarianceSource.OPERATOR] == pytest.approx(truth[VarianceSource.OPERATOR], rel=0.2)
    assert sums[VarianceSource.PART] == pytest.approx(truth[VarianceSource.PART], rel=0.1)


@pytest.mark.parametrize(
    ("sigmas", "shape", "pool"),
    [
        ((1.0, 0.3, 0.2, 0.4), (10, 3, 3), False),
        ((1.0, 0.2, 0.0, 0.4), (10, 3, 3), True),
        ((1, 0, 0, 0.4), (8, 1, 3), False),
    ],
)
def test_the_interval_holds_the_gauge_as_often_as_promised(sigmas, shape, pool):
    """95 % of 600 studies; Graybill and Wang's bounds are known to be close, a little wide."""
    truth = sum(s * s for s in sigmas[1:])
    held = 0
    for seed in range(600):
        layout = layout_of(study(seed, sigmas, shape))
        table = table_of(layout)
        low, high = gauge_interval(pooled_table(table) if pool else table, layout)
        held += low <= truth <= high
    assert 0.93 <= held / 600 <= 0.99


def test_one_operator_makes_a_one_way_table():
    layout = layout_of(study(1, (1.0, 0.0, 0.0, 0.1), (5, 1, 3)))
    assert [row.source for row in table_of(layout)] == [
        VarianceSource.PART,
        VarianceSource.REPEATABILITY,
        VarianceSource.TOTAL,
    ]
