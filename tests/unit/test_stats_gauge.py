"""Gauge studies: pooling, tolerance, one operator, no spread, and variances below zero."""

from dataclasses import replace

import pytest

from acquire.errors import InputImpossible
from acquire.stats.capability import CapabilityLimits
from acquire.stats.gauge import Method, StudyTrial, VarianceSource, gauge_study, ranges_study

CALM = [
    StudyTrial(part, operator, level + step)
    for part, level in (("a", 100.0), ("b", 102.0), ("c", 104.0))
    for operator, step in (("ann", 0.0), ("ann", 0.2), ("bo", 0.1), ("bo", 0.3))
]


def test_a_third_of_the_tolerance_is_a_third():
    study = gauge_study(CALM, CapabilityLimits(90.0, 110.0))
    assert study.gauge.tolerance == pytest.approx(6.0 * study.gauge.sigma / 20.0)
    assert gauge_study(CALM).gauge.tolerance is None


def test_one_limit_is_compared_with_half_the_spread():
    study = gauge_study(CALM, CapabilityLimits(None, 112.0))
    assert study.gauge.tolerance == pytest.approx(3.0 * study.gauge.sigma / (112.0 - study.mean))
    low = gauge_study(CALM, CapabilityLimits(92.0, None))
    assert low.gauge.tolerance == pytest.approx(3.0 * low.gauge.sigma / (low.mean - 92.0))


def test_a_mean_beyond_the_only_limit_leaves_no_tolerance():
    study = gauge_study(CALM, CapabilityLimits(None, 95.0))
    assert study.gauge.tolerance is None
    assert any("beyond the only limit" in remark for remark in study.remarks)


def test_pooling_can_be_forbidden():
    pooled = gauge_study(CALM)
    assert pooled.method is Method.WITHOUT_INTERACTION
    assert VarianceSource.INTERACTION not in pooled.components
    kept = gauge_study(CALM, pool_above=1.0)
    assert (kept.method, kept.pooled) == (Method.CROSSED, ())


def test_a_variance_below_zero_is_set_to_zero_and_said():
    kept = gauge_study(CALM, pool_above=1.0)
    assert kept.components[VarianceSource.INTERACTION].variance == 0.0
    assert any("operator with part came out below zero" in remark for remark in kept.remarks)


def test_operators_apart_by_less_than_their_repeats_are_set_to_zero_and_said():
    """By averages and ranges (AIAG): AV squared less EV squared over nr is below zero, or well above."""
    alike, apart = (
        ranges_study([replace(t, value=t.value + more * (t.operator == "bo")) for t in CALM])
        for more in (-0.1, 5.0)
    )
    said = [[r for r in study.remarks if "operator came out below zero" in r] for study in (alike, apart)]
    assert (len(said[0]), said[1]) == (1, [])
    assert alike.components[VarianceSource.OPERATOR].variance == 0.0
    assert apart.components[VarianceSource.OPERATOR].variance > 1.0


def test_one_operator_is_enough_for_repeatability():
    for method in (gauge_study, ranges_study):
        study = method([trial for trial in CALM if trial.operator == "ann"])
        assert VarianceSource.REPRODUCIBILITY not in study.components
        assert study.gauge.variance == study.components[VarianceSource.REPEATABILITY].variance
        assert any(remark.startswith("One operator only") for remark in study.remarks)
    assert gauge_study([t for t in CALM if t.operator == "bo"]).method is Method.ONE_OPERATOR


def test_repeats_all_alike_leave_no_kinds_to_count():
    stuck = [StudyTrial(part, "ann", value) for part, value in (("a", 1.0), ("b", 2.0)) for _ in range(3)]
    study = gauge_study(stuck)
    assert study.distinct is None
    assert study.gauge.sigma == 0.0
    assert study.table[0].p is None


def test_everything_alike_is_no_division_by_nothing():
    study = gauge_study(
        [StudyTrial(p, o, 5.0) for p in "ab" for o in "xy" for _ in range(2)], CapabilityLimits(4.0, 6.0)
    )
    assert all(part.contribution == part.study == 0.0 for part in study.components.values())


def test_contributions_add_up_and_the_interval_holds_the_gauge():
    study = gauge_study(CALM)
    assert study.gauge.contribution + study.components[VarianceSource.PART].contribution == pytest.approx(1.0)
    assert study.gauge_low <= study.gauge.sigma <= study.gauge_high


def test_what_cannot_be_is_refused():
    with pytest.raises(InputImpossible):
        gauge_study(CALM, pool_above=-0.1)
    with pytest.raises(InputImpossible, match="at most 25"):
        ranges_study([StudyTrial(f"p{i}", "ann", float(i + j)) for i in range(26) for j in range(2)])
