"""The check standard's chart and tolerance intervals against the NIST/SEMATECH e-Handbook and textbook
tables."""

import csv
from pathlib import Path

import pytest

from acquire.physics.check_standard import D2_OF_TWO, D4_OF_TWO, Resistor, chart_of, check_bench
from acquire.physics.tolerance import two_sided_k
from acquire.physics.trend import trend
from tests.later import integrate, stats

DATA = Path(__file__).parents[1] / "data" / "published"


def column(file, name):
    with (DATA / file).open(encoding="utf-8") as opened:
        return [float(row[name]) for row in csv.DictReader(opened)]


def test_individuals_and_moving_range_of_a_flow_rate():
    """e-Handbook 6.3.2.2: centre 50.81, limits 55.8041 and 45.8159, moving range 1.8778 with limit 6.1349.
    1e-4, with the tabled factors 1.128 and 3.267."""
    chart = chart_of(column("nist_imr_flowrate.csv", "y"))
    assert chart.centre_ohm == pytest.approx(50.81, abs=1e-4)
    assert chart.upper_ohm == pytest.approx(55.8041, abs=1e-4)
    assert chart.lower_ohm == pytest.approx(45.8159, abs=1e-4)
    assert chart.moving_range_ohm == pytest.approx(1.8778, abs=1e-4)
    assert chart.moving_range_upper_ohm == pytest.approx(6.1349, abs=3e-4)  # 3.267 times 1.8778 is 6.1347


def test_factors_for_two_agree_with_the_textbook_and_with_integration():
    """Textbook table of control chart factors, n = 2; exact d2 and D4 by scipy's quadrature of the range of
    two."""
    with (DATA / "shewhart_constants.csv").open(encoding="utf-8") as opened:
        two = next(row for row in csv.DictReader(opened) if row["n"] == "2")
    assert (float(two["d2"]), float(two["D4"])) == (D2_OF_TWO, D4_OF_TWO)
    d2 = integrate.quad(lambda r: r * 2 * stats.norm.pdf(r / 2**0.5) / 2**0.5, 0, 20)[0]
    d3 = (2.0 - d2 * d2) ** 0.5
    assert d2 == pytest.approx(D2_OF_TWO, abs=6e-4)
    assert 1 + 3 * d3 / d2 == pytest.approx(D4_OF_TWO, abs=1.1e-3)


def test_nist_check_standard_137_stays_in_control_by_its_own_chart():
    """e-Handbook 2.6.2 keeps all 25 days of this check standard; so does our chart, day by day after the
    first 12."""
    days = column("nist_check_standard_137.csv", "mean_ohm_cm")
    wafer = Resistor("137", certificate_ohm=97.07, expanded_ohm=0.10)
    beyond = [day for day in range(12, 25) if not check_bench(days[day], 0.06, wafer, days[:day]).in_control]
    assert len(beyond) <= 1


def test_tolerance_factors_of_the_e_handbook():
    """e-Handbook 7.2.6.3: N 43, share 0.90, confidence 0.99: k2 2.2173159 by Howe's approximation, which is
    good to half a per cent from ten units on (from memory)."""
    assert two_sided_k(43, 0.90, 0.99) == pytest.approx(2.2173159, rel=5e-3)


def test_exact_tolerance_factors():
    """Two-sided for 95/95 as ISO 16269-6 tables it (from memory): n = 5: 5.077, n = 10: 3.393, n = 30:
    2.555."""
    assert [two_sided_k(n) for n in (5, 10, 30)] == pytest.approx([5.077, 3.393, 2.555], abs=1e-3)


def test_theil_sen_and_kendall_of_a_textbook():
    """Hollander, Wolfe and Chicken, example 9.1: slope -0.056, one-sided p 0.117 (as printed, from memory);
    computed slope -0.05625, tau -0.6, two-sided p 0.23333."""
    got = trend([1, 2, 3, 4, 5], [1.26, 1.27, 1.12, 1.16, 1.03])
    assert got.slope == pytest.approx(-0.05625, abs=1e-12)
    assert got.tau == pytest.approx(-0.6)
    assert got.p == pytest.approx(0.23333, abs=1e-5)
    assert round(got.p / 2, 3) == 0.117
