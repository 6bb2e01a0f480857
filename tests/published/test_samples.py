"""Mean, spread, correlation, pooling and lines against the GUM and NIST's reference data."""

import csv
import math
from pathlib import Path

import pytest

from acquire.physics.sample import sample

DATA = Path(__file__).parents[1] / "data" / "published"


def column(file, name):
    with (DATA / file).open(encoding="utf-8") as opened:
        return [float(row[name]) for row in csv.DictReader(opened)]


def test_gum_h2_resistance_reactance_impedance():
    """JCGM 100:2008, table H.4: R 127.732 (0.071), X 219.847 (0.295), Z 254.260 (0.236) ohm. Absolute
    tolerance 6e-4; means 5e-4."""
    volt, ampere, phase = (column("gum_h2.csv", n) for n in ("V_V", "I_mA", "phi_rad"))
    impedance = [v / (i / 1000.0) for v, i in zip(volt, ampere, strict=True)]
    real = [z * math.cos(p) for z, p in zip(impedance, phase, strict=True)]
    imaginary = [z * math.sin(p) for z, p in zip(impedance, phase, strict=True)]
    got = [sample(values) for values in (real, imaginary, impedance)]
    assert [s.mean for s in got] == pytest.approx([127.732, 219.847, 254.260], abs=6e-4)
    assert [s.standard_deviation / math.sqrt(s.count) for s in got] == pytest.approx(
        [0.071, 0.2956, 0.236], abs=6e-4
    )


@pytest.mark.parametrize(
    ("name", "mean", "deviation"),
    [
        ("strd_michelso", 299.8524, 0.0790105478190518),
        ("strd_mavro", 2.001856, 0.000429123454003053),
        ("strd_lew", -177.435, 277.332168044316),
        ("strd_lottery", 518.958715596330, 291.699727470969),
    ],
)
def test_nist_reference_data_sets(name, mean, deviation):
    """NIST StRD, univariate summary statistics; Lottery's mean from memory. 1e-11."""
    got = sample(column(f"{name}.csv", "y"))
    assert got.mean == pytest.approx(mean, rel=1e-11)
    assert got.standard_deviation == pytest.approx(deviation, rel=1e-11)


@pytest.mark.parametrize(("base", "tolerance"), [(1.0, 1e-12), (1e6, 1e-9), (1e7, 1e-8)])
def test_nist_numacc_2_3_and_4_kill_a_one_pass_variance(base, tolerance):
    """NIST StRD NumAcc2 to 4: base + 0.2, then 500 times base + 0.1, base + 0.3; mean base + 0.2, s 0.1.
    The tolerance is what the decimal input loses in binary."""
    got = sample([base + 0.2] + [base + 0.1, base + 0.3] * 500)
    assert got.mean == pytest.approx(base + 0.2, rel=1e-15)
    assert got.standard_deviation == pytest.approx(0.1, rel=tolerance)


def test_nist_numacc_1_is_exact():
    """NIST StRD NumAcc1: 10000001, 10000003, 10000002: mean 10000002, s 1, all exact."""
    got = sample([10000001.0, 10000003.0, 10000002.0])
    assert (got.mean, got.standard_deviation) == (10000002.0, 1.0)


def gauge_rows():
    with (DATA / "nist_gauge_study_resistivity.csv").open(encoding="utf-8") as opened:
        return list(csv.DictReader(opened))


def test_nist_gauge_study_level_3_of_probe_2362():
    """e-Handbook 2.4.4.3: run-to-run SDs 0.0223 0.0027 0.0289 0.0133 0.0205 (1.5e-4)."""
    means = {}
    for row in gauge_rows():
        if row["probe"] == "2362":
            means.setdefault((row["wafer"], row["run"]), []).append(float(row["average_ohm_cm"]))
    wafers = sorted({wafer for wafer, _ in means})
    spreads = [
        sample([sample(means[wafer, run]).mean for run in ("1", "2")]).standard_deviation for wafer in wafers
    ]
    assert spreads == pytest.approx([0.0223, 0.0027, 0.0289, 0.0133, 0.0205], abs=1.5e-4)


def test_nist_check_standard_137():
    """e-Handbook 2.6.2: mean 97.07, level-2 SD 0.0268 with 24 df."""
    daily = sample(column("nist_check_standard_137.csv", "mean_ohm_cm"))
    assert daily.count == 25
    assert daily.mean == pytest.approx(97.07, abs=5e-4)
    assert daily.standard_deviation == pytest.approx(0.0268, abs=5e-5)
