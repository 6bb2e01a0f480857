"""Gauge studies, control charts and capability against textbooks, handbooks, statsmodels and scipy.

statsmodels is slow to import, and every worker of a test run imports every module: so only where it is used.
"""

import csv
from pathlib import Path

import numpy as np
import pytest

from acquire.physics.check_standard import D2_OF_TWO, D4_OF_TWO
from acquire.stats.capability import CapabilityLimits, capability, normality, share_of
from acquire.stats.charts import Plotted, d2_of_groups, factors, individuals, subgroups
from acquire.stats.drift import by_group, drift
from acquire.stats.gauge import Method, StudyTrial, VarianceSource, gauge_study, ranges_study
from tests.later import stats

DATA = Path(__file__).parents[1] / "data" / "published"


def rows(file):
    with (DATA / file).open(encoding="utf-8") as opened:
        return list(csv.DictReader(opened))


def trials(file):
    return [StudyTrial(r["part"], r["appraiser"], float(r["value"])) for r in rows(file)]


def column(file, name):
    return [float(row[name]) for row in rows(file)]


def rings():
    """The first 25 samples, from which the textbook takes its limits."""
    return [float(r["diameter_mm"]) for r in rows("montgomery_piston_rings.csv") if r["phase1"] == "TRUE"]


# ------------------------------------------------------------------------------------------- gauge studies
def test_gauge_study_of_paper_helicopters():
    """Cano, Moguerza and Redchuk, Six Sigma with R (2012), chapter 5: sums of squares 1.2007 0.0529 0.0834
    0.3854 1.7225 (5e-5), F 28.797 1.270 0.974 (5e-4), p 0.00422 0.37415 0.44619 (5e-6); reduced model: GRR
    0.14792656, repeatability 0.14597518, operator 0.02394813, part 0.25365123, total 0.29363449 (1e-8);
    25.38 % contribution (5e-3), 50.38 % of the study, ndc 2."""
    study = gauge_study(trials("grr_helicopter_3x3x3.csv"))
    assert [row.square for row in study.table] == pytest.approx(
        [1.2007, 0.0529, 0.0834, 0.3854, 1.7225], abs=5e-5
    )
    assert [row.f for row in study.table[:3]] == pytest.approx([28.797, 1.270, 0.974], abs=5e-4)
    assert [row.p for row in study.table[:3]] == pytest.approx([0.00422, 0.37415, 0.44619], abs=5e-6)
    assert study.method is Method.WITHOUT_INTERACTION
    assert [row.freedom for row in study.pooled] == [2, 2, 22, 26]
    sigma = {source: part.sigma for source, part in study.components.items()}
    assert sigma[VarianceSource.GAUGE] == pytest.approx(0.14792656, abs=1e-8)
    assert sigma[VarianceSource.REPEATABILITY] == pytest.approx(0.14597518, abs=1e-8)
    assert sigma[VarianceSource.REPRODUCIBILITY] == pytest.approx(0.02394813, abs=1e-8)
    assert sigma[VarianceSource.PART] == pytest.approx(0.25365123, abs=1e-8)
    assert sigma[VarianceSource.TOTAL] == pytest.approx(0.29363449, abs=1e-8)
    assert 100 * study.gauge.contribution == pytest.approx(25.38, abs=5e-3)
    assert 100 * study.gauge.study == pytest.approx(50.38, abs=5e-3)
    assert study.distinct == 2


def test_gauge_study_of_the_reference_manual():
    """AIAG, Measurement Systems Analysis, 4th ed. (2010), 10 parts, 3 appraisers, 3 trials; the numbers are
    the manual's. Sums of squares 88.3619 3.1673 0.3590 2.7589 94.6471 (5e-5), F 0.434 and p 0.974 of the
    interaction; pooled 0.03997 with 78 degrees; variances 0.09143 0.03997 0.05146 (1e-5) 1.08647 (1e-4);
    contribution 7.76 3.39 4.37 92.24, study 27.86 18.42 20.90 96.04 (0.01); ndc 4."""
    study = gauge_study(trials("grr_aiag_10x3x3.csv"))
    assert [row.square for row in study.table] == pytest.approx(
        [88.3619, 3.1673, 0.3590, 2.7589, 94.6471], abs=5e-5
    )
    crossed = study.table[2]
    assert (crossed.f, crossed.p) == pytest.approx((0.434, 0.974), abs=5e-4)
    repeat = study.pooled[2]
    assert (repeat.mean_square, repeat.freedom) == (pytest.approx(0.03997, abs=1e-5), 78)
    order = (
        VarianceSource.GAUGE,
        VarianceSource.REPEATABILITY,
        VarianceSource.REPRODUCIBILITY,
        VarianceSource.PART,
    )
    parts = [study.components[source] for source in order]
    assert [p.variance for p in parts[:3]] == pytest.approx([0.09143, 0.03997, 0.05146], abs=1e-5)
    assert parts[3].variance == pytest.approx(1.08647, abs=1e-4)
    assert [100 * p.contribution for p in parts] == pytest.approx([7.76, 3.39, 4.37, 92.24], abs=0.01)
    assert [100 * p.study for p in parts] == pytest.approx([27.86, 18.42, 20.90, 96.04], abs=0.01)
    assert study.distinct == 4


def test_averages_and_ranges_of_the_reference_manual():
    """The same data by averages and ranges (results from memory): EV 0.20188 AV 0.22963 GRR 0.30575 PV
    1.10456 TV 1.14610 (3e-4 of each: the manual rounds factors to four digits and means to five), 26.68 %
    (0.01), ndc 5: one more than by analysis of variance, and both are right."""
    study = ranges_study(trials("grr_aiag_10x3x3.csv"))
    sigma = {source: part.sigma for source, part in study.components.items()}
    assert sigma[VarianceSource.REPEATABILITY] == pytest.approx(0.20188, rel=3e-4)
    assert sigma[VarianceSource.REPRODUCIBILITY] == pytest.approx(0.22963, rel=3e-4)
    assert sigma[VarianceSource.GAUGE] == pytest.approx(0.30575, rel=3e-4)
    assert sigma[VarianceSource.PART] == pytest.approx(1.10456, rel=3e-4)
    assert sigma[VarianceSource.TOTAL] == pytest.approx(1.14610, rel=3e-4)
    assert 100 * study.gauge.study == pytest.approx(26.68, abs=0.01)
    assert study.distinct == 5


def test_factors_of_averages_and_ranges():
    """K1 0.5908 (3 trials), K2 0.5231 and 0.7071 (3 and 2 operators), K3 0.3146 (10 parts) of the manual."""
    assert 1 / factors(3).d2 == pytest.approx(0.5908, abs=5e-5)
    assert [1 / d2_of_groups(n, 1) for n in (3, 2, 10)] == pytest.approx([0.5231, 0.7071, 0.3146], abs=5e-5)


@pytest.mark.parametrize("file", ["grr_helicopter_3x3x3.csv", "grr_aiag_10x3x3.csv"])
def test_tables_of_variance_agree_with_statsmodels(file):
    """Second opinion: anova_lm of an ordinary fit with and without interaction; 1e-9."""
    import pandas as pd
    import statsmodels.api as sm
    from statsmodels.formula.api import ols

    frame = pd.DataFrame(rows(file)).astype({"value": float})
    full = sm.stats.anova_lm(ols("value ~ C(part) * C(appraiser)", frame).fit())
    study = gauge_study(trials(file))
    assert [row.square for row in study.table[:4]] == pytest.approx(list(full["sum_sq"]), rel=1e-9)
    assert [row.freedom for row in study.table[:4]] == list(full["df"])
    assert (study.table[2].f, study.table[2].p) == pytest.approx(
        (full["F"].iloc[2], full["PR(>F)"].iloc[2]), rel=1e-9
    )
    plain = sm.stats.anova_lm(ols("value ~ C(part) + C(appraiser)", frame).fit())
    assert [row.f for row in study.pooled[:2]] == pytest.approx(list(plain["F"].iloc[:2]), rel=1e-9)
    assert [row.p for row in study.pooled[:2]] == pytest.approx(list(plain["PR(>F)"].iloc[:2]), rel=1e-9)


# ---------------------------------------------------------------------------------- charts and capability
def test_individuals_chart_of_a_flow_rate():
    """NIST/SEMATECH e-Handbook, 6.3.2.2: limits 55.8041 and 45.8159 (1e-4), moving range 1.8778, its limit
    6.1349 (3e-4: 3.267 times 1.8778 is 6.1347), with the tabled factors 1.128 and 3.267."""
    pair = individuals(column("nist_imr_flowrate.csv", "y"))
    assert pair.level.centre == pytest.approx(50.81, abs=1e-4)
    assert (pair.level.upper, pair.level.lower) == pytest.approx((55.8041, 45.8159), abs=1e-4)
    assert pair.spread.centre == pytest.approx(1.8778, abs=1e-4)
    assert pair.spread.upper == pytest.approx(6.1349, abs=3e-4)


def test_means_and_ranges_of_piston_rings():
    """Montgomery, Introduction to Statistical Quality Control, 2nd ed. (1991), 25 samples of 5: grand mean
    74.00118, mean range 0.02276, limits 73.98805 and 74.0143, ranges up to 0.0481; 1e-5, the last
    5e-5."""
    pair = subgroups(rings(), 5)
    assert len(pair.level.points) == 25
    assert pair.level.centre == pytest.approx(74.00118, abs=1e-5)
    assert pair.spread.centre == pytest.approx(0.02276, abs=1e-5)
    assert (pair.level.lower, pair.level.upper) == pytest.approx((73.98805, 74.01430), abs=1e-5)
    assert pair.spread.upper == pytest.approx(0.0481, abs=5e-5)
    assert pair.spread.lower == 0.0


def test_means_and_deviations_of_piston_rings():
    """The same rings by standard deviations, reckoned by numpy with the textbook's c4 of five,
    0.9400; 1e-5."""
    pair = subgroups(rings(), 5, Plotted.DEVIATION)
    mean_s = np.reshape(rings(), (25, 5)).std(axis=1, ddof=1).mean()
    half = 3.0 * mean_s / 0.94 / np.sqrt(5.0)
    assert pair.spread.centre == pytest.approx(mean_s, rel=1e-12)
    assert (pair.level.upper, pair.level.lower) == pytest.approx(
        (np.mean(rings()) + half, np.mean(rings()) - half), abs=1e-5
    )
    assert pair.spread.upper == pytest.approx(mean_s * (1.0 + 3.0 * np.sqrt(1.0 - 0.94**2) / 0.94), abs=1e-5)
    assert pair.spread.lower == 0.0


def test_sigma_by_ranges_of_piston_rings():
    """The same book, limits 73.95 and 74.05: Cp 1.70, Cpk 1.66; unrounded 1.7032 and 1.6632 (1e-3)."""
    of, (lower, upper) = subgroups(rings(), 5), (73.95, 74.05)
    assert (upper - lower) / 6.0 / of.sigma == pytest.approx(1.703, abs=1e-3)
    assert (upper - of.level.centre) / 3.0 / of.sigma == pytest.approx(1.663, abs=1e-3)


def test_capability_of_the_e_handbook():
    """e-Handbook, 6.1.6 (from memory): limits 8 and 20, mean 16, s 2: Cp 1.0, Cpk 0.6667; and 16 ± 0.2 with
    mean 15.9 and s 0.1: Cpk 0.33 (a university's lecture)."""
    wide = capability([14.0, 16.0, 18.0], CapabilityLimits(8.0, 20.0))
    assert (wide.mean, wide.sigma_overall) == (16.0, 2.0)
    assert wide.pp.value == pytest.approx(1.0, abs=1e-12)
    assert wide.ppk.value == pytest.approx(0.6667, abs=5e-5)
    narrow = capability([15.8, 15.9, 16.0], CapabilityLimits(15.8, 16.2))
    assert narrow.ppk.value == pytest.approx(0.33, abs=5e-3)


def test_interval_of_cp_by_scipy():
    """Second opinion: the chi-square interval of a standard deviation by scipy; 1e-9."""
    values = column("nist_imr_flowrate.csv", "y")
    got = capability(values, CapabilityLimits(40.0, 60.0))
    low, high = np.sqrt(stats.chi2.ppf([0.025, 0.975], 9) / 9) * 20.0 / 6.0 / np.std(values, ddof=1)
    assert (got.pp.low, got.pp.high) == pytest.approx((low, high), rel=1e-9)


@pytest.mark.parametrize("n", range(2, 11))
def test_chart_factors_agree_with_a_textbook(n):
    """Factors for control charts, textbook table: 6e-4, D4 1.1e-3 (older tables round it up)."""
    printed = next(row for row in rows("shewhart_constants.csv") if int(row["n"]) == n)
    ours = factors(n)
    pair = subgroups([float(i % n) for i in range(2 * n)], n)
    assert pair.spread.upper / pair.spread.centre == pytest.approx(float(printed["D4"]), abs=1.1e-3)
    a2 = (pair.level.upper - pair.level.centre) / pair.spread.centre
    d3 = pair.spread.lower / pair.spread.centre
    assert [a2, ours.c4, ours.d2, ours.d3, d3] == pytest.approx(
        [float(printed[name]) for name in ("A2", "c4", "d2", "d3", "D3")], abs=6e-4
    )


@pytest.mark.parametrize("n", [2, 3, 5, 10, 25])
def test_chart_factors_agree_with_scipy(n):
    """Second opinion: mean and variance of the studentized range with infinite degrees of freedom;
    3e-5, what the trapezoids leave."""
    grid = np.linspace(0.0, 16.0, 4001)
    exceeds = 1.0 - stats.studentized_range.cdf(grid[1:], n, np.inf)
    exceeds = np.concatenate([[1.0], exceeds])
    mean = np.trapezoid(exceeds, grid)
    square = np.trapezoid(2.0 * grid * exceeds, grid)
    assert factors(n).d2 == pytest.approx(mean, abs=3e-5)
    assert factors(n).d3 == pytest.approx(np.sqrt(square - mean**2), abs=3e-5)


def test_tabled_factors_of_two_are_the_exact_ones_rounded():
    """One source for the check standard's chart and the batch's."""
    of = factors(2)
    assert (round(of.d2, 3), round(1.0 + 3.0 * of.d3 / of.d2, 3)) == (D2_OF_TWO, D4_OF_TWO)


# ------------------------------------------------------------------------------------ tests and intervals
@pytest.mark.parametrize("seed", range(6))
def test_normality_agrees_with_statsmodels(seed):
    """Second opinion: normal_ad; 1e-9. Normal, uniform and skewed values."""
    from statsmodels.stats.diagnostic import normal_ad

    rng = np.random.default_rng(seed)
    values = [rng.normal(100, 2, 40), rng.uniform(0, 1, 60), rng.exponential(1, 30)][seed % 3]
    theirs = normal_ad(values)
    ours = normality(values.tolist())
    assert (ours.a_square, ours.p) == pytest.approx(theirs, rel=1e-9)
    assert ours.a_square == pytest.approx(stats.anderson(values, method="interpolate").statistic, rel=1e-9)


@pytest.mark.parametrize(("count", "of"), [(0, 10), (1, 10), (37, 40), (40, 40), (999, 1000)])
def test_wilson_intervals_agree_with_statsmodels(count, of):
    """Second opinion: proportion_confint; 1e-9."""
    from statsmodels.stats.proportion import proportion_confint

    got = share_of(count, of)
    assert (got.low, got.high) == pytest.approx(proportion_confint(count, of, method="wilson"), abs=1e-9)


def test_one_way_analysis_agrees_with_scipy():
    """Second opinion: f_oneway on the flow rates in three unequal groups; 1e-9."""
    values = column("nist_imr_flowrate.csv", "y")
    names = list("AAABBBBCCC")
    got = by_group(values, names)
    theirs = stats.f_oneway(values[:3], values[3:7], values[7:])
    assert (got.f, got.p) == pytest.approx((theirs.statistic, theirs.pvalue), rel=1e-9)


def test_trend_agrees_with_scipy():
    """Second opinion: theilslopes on the flow rates; 1e-9."""
    values = column("nist_imr_flowrate.csv", "y")
    assert drift(values).slope == pytest.approx(stats.theilslopes(values).slope, rel=1e-9)
