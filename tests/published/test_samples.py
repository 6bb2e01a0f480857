"""Mean, spread, correlation, pooling and lines against the GUM and NIST's reference data."""

import csv
import math
from pathlib import Path

import pytest

from acquire.physics.sample import correlation, line, pooled, sample

DATA = Path(__file__).parents[1] / "data" / "published"


def column(file, name):
    with (DATA / file).open(encoding="utf-8") as opened:
        return [float(row[name]) for row in csv.DictReader(opened)]


def test_gum_h2_resistance_reactance_impedance():
    """JCGM 100:2008, table H.4: R 127.732 (0.071), X 219.847 (0.295), Z 254.260 (0.236) ohm; r -0.588,
    -0.485, 0.993 (three-digit r from memory). Absolute tolerance 6e-4; means 5e-4."""
    volt, ampere, phase = (column("gum_h2.csv", n) for n in ("V_V", "I_mA", "phi_rad"))
    impedance = [v / (i / 1000.0) for v, i in zip(volt, ampere, strict=True)]
    real = [z * math.cos(p) for z, p in zip(impedance, phase, strict=True)]
    imaginary = [z * math.sin(p) for z, p in zip(impedance, phase, strict=True)]
    got = [sample(values) for values in (real, imaginary, impedance)]
    assert [s.mean for s in got] == pytest.approx([127.732, 219.847, 254.260], abs=6e-4)
    assert [s.u_of_mean for s in got] == pytest.approx([0.071, 0.2956, 0.236], abs=6e-4)
    assert correlation(real, imaginary) == pytest.approx(-0.588, abs=6e-4)
    assert correlation(real, impedance) == pytest.approx(-0.485, abs=6e-4)
    assert correlation(imaginary, impedance) == pytest.approx(0.993, abs=6e-4)


def test_gum_h3_calibration_line():
    """JCGM 100:2008, H.3: intercept -0.1712 (0.0029), slope 0.00218 (0.00067), r -0.930; at 30 °C -0.1494
    (0.0041)."""
    celsius, correction = column("gum_h3.csv", "t_C"), column("gum_h3.csv", "b_C")
    fit = line(celsius, correction, origin=20.0)
    assert fit.intercept == pytest.approx(-0.17120379013135, rel=1e-9)
    assert fit.slope == pytest.approx(0.00218269773988729, rel=1e-9)
    assert fit.u_slope == pytest.approx(0.00066793877322783, rel=1e-9)
    assert fit.u_intercept == pytest.approx(0.0029, abs=5e-5)
    assert fit.correlation == pytest.approx(-0.930, abs=5e-4)
    assert fit.at(30.0) == pytest.approx((-0.1494, 0.0041), abs=5e-5)


def test_gum_h3_agrees_with_statsmodels():
    """Second opinion: ordinary least squares of statsmodels."""
    import statsmodels.api as sm  # slow to import, and every worker imports this module

    celsius, correction = column("gum_h3.csv", "t_C"), column("gum_h3.csv", "b_C")
    theirs = sm.OLS(correction, sm.add_constant([c - 20.0 for c in celsius])).fit()
    fit = line(celsius, correction, origin=20.0)
    assert [fit.intercept, fit.slope] == pytest.approx(list(theirs.params), rel=1e-9)
    assert [fit.u_intercept, fit.u_slope] == pytest.approx(list(theirs.bse), rel=1e-9)


@pytest.mark.parametrize(
    ("name", "mean", "deviation", "lag_1"),
    [
        ("strd_michelso", 299.8524, 0.0790105478190518, 0.535199668621283),
        ("strd_mavro", 2.001856, 0.000429123454003053, 0.937989183438248),
        ("strd_lew", -177.435, 277.332168044316, -0.307304800605679),
        ("strd_lottery", 518.958715596330, 291.699727470969, -0.120948622967393),
    ],
)
def test_nist_reference_data_sets(name, mean, deviation, lag_1):
    """NIST StRD, univariate summary statistics; lag-1 of the last three and Lottery's mean from memory.
    1e-11."""
    got = sample(column(f"{name}.csv", "y"))
    assert got.mean == pytest.approx(mean, rel=1e-11)
    assert got.standard_deviation == pytest.approx(deviation, rel=1e-11)
    assert got.lag_1 == pytest.approx(lag_1, rel=1e-10)


@pytest.mark.parametrize(("base", "tolerance"), [(1.0, 1e-12), (1e6, 1e-9), (1e7, 1e-8)])
def test_nist_numacc_2_3_and_4_kill_a_one_pass_variance(base, tolerance):
    """NIST StRD NumAcc2 to 4: base + 0.2, then 500 times base + 0.1, base + 0.3; mean base + 0.2, s 0.1, r
    -0.999. The tolerance is what the decimal input loses in binary."""
    got = sample([base + 0.2] + [base + 0.1, base + 0.3] * 500)
    assert got.mean == pytest.approx(base + 0.2, rel=1e-15)
    assert got.standard_deviation == pytest.approx(0.1, rel=tolerance)
    assert got.lag_1 == pytest.approx(-0.999, abs=max(tolerance, 1e-10))


def test_nist_numacc_1_is_exact():
    """NIST StRD NumAcc1: 10000001, 10000003, 10000002: mean 10000002, s 1, r -0.5, all exact."""
    got = sample([10000001.0, 10000003.0, 10000002.0])
    assert (got.mean, got.standard_deviation, got.lag_1) == (10000002.0, 1.0, -0.5)


def gauge_rows():
    with (DATA / "nist_gauge_study_resistivity.csv").open(encoding="utf-8") as opened:
        return list(csv.DictReader(opened))


def test_nist_gauge_study_level_3_of_probe_2362():
    """e-Handbook 2.4.4.3: run-to-run SDs 0.0223 0.0027 0.0289 0.0133 0.0205 (1.5e-4), pooled 0.0197 (1e-4), 5
    df."""
    means = {}
    for row in gauge_rows():
        if row["probe"] == "2362":
            means.setdefault((row["wafer"], row["run"]), []).append(float(row["average_ohm_cm"]))
    wafers = sorted({wafer for wafer, _ in means})
    spreads = [
        sample([sample(means[wafer, run]).mean for run in ("1", "2")]).standard_deviation for wafer in wafers
    ]
    assert spreads == pytest.approx([0.0223, 0.0027, 0.0289, 0.0133, 0.0205], abs=1.5e-4)
    assert pooled([(s, 1) for s in spreads]) == pytest.approx((0.0197, 5), abs=1e-4)


def test_nist_gauge_study_levels_1_and_2_of_probe_2362():
    """e-Handbook 2.4.4: level-1 0.0729 with 300 df, level-2 0.0362 with 50 df (both from memory). 1e-4."""
    rows = [row for row in gauge_rows() if row["probe"] == "2362"]
    level_1 = pooled([(float(row["stddev_ohm_cm"]), 5) for row in rows])
    assert level_1 == pytest.approx((0.0729, 300), abs=1e-4)
    days = {}
    for row in rows:
        days.setdefault((row["wafer"], row["run"]), []).append(float(row["average_ohm_cm"]))
    level_2 = pooled([(sample(day).standard_deviation, len(day) - 1) for day in days.values()])
    assert level_2 == pytest.approx((0.0362, 50), abs=1e-4)


def test_nist_pooling_arithmetic():
    """e-Handbook 2.4.4.4: five sums of squares with 60 df each, 3.17635 in all, pool to 0.10290 with 300
    df."""
    sums = (0.48115, 0.69209, 0.48483, 1.21752, 0.30076)
    assert pooled([(math.sqrt(s / 60), 60) for s in sums]) == pytest.approx((0.10290, 300), abs=1e-5)


def test_nist_check_standard_137():
    """e-Handbook 2.6.2: mean 97.07, level-2 SD 0.0268 with 24 df, level-1 0.0614 with 125 df (the last from
    memory)."""
    daily = sample(column("nist_check_standard_137.csv", "mean_ohm_cm"))
    assert daily.count == 25
    assert daily.mean == pytest.approx(97.07, abs=5e-4)
    assert daily.standard_deviation == pytest.approx(0.0268, abs=5e-5)
    within = pooled([(s, 5) for s in column("nist_check_standard_137.csv", "sd6_ohm_cm")])
    assert within == pytest.approx((0.0614, 125), abs=5e-5)
