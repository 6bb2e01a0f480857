"""Probability laws, each held against scipy as a second opinion."""

import math
import subprocess
import sys
from pathlib import Path

import numpy as np
import pytest

from acquire.errors import InputImpossible
from acquire.physics import laws
from acquire.physics.laws import (
    Law,
    chi_square_cdf,
    chi_square_quantile,
    fisher_tail,
    normal_cdf,
    normal_quantile,
    student_cdf,
    student_density,
    student_quantile,
)
from tests.later import stats


@pytest.mark.parametrize("z", [-38.0, -8.0, -1.0, 0.0, 0.3, 5.0])
def test_normal_cdf_agrees_with_scipy_far_into_the_tail(z):
    assert normal_cdf(z) == pytest.approx(stats.norm.cdf(z), rel=1e-12)


@pytest.mark.parametrize("nu", [0.8, 1.0, 2.0, 4.5, 16.76, 120.0, 999.0, 1001.0, 1e6])
def test_student_agrees_with_scipy(nu):
    for t in (-30.0, -2.0, 0.0, 0.5, 3.0):
        assert student_cdf(t, nu) == pytest.approx(stats.t.cdf(t, nu), rel=1e-8, abs=1e-15)
        assert student_density(t, nu) == pytest.approx(stats.t.pdf(t, nu), rel=1e-8, abs=1e-15)
    for p in (0.02, 0.5, 0.6, 0.95, 0.975, 0.995, 0.9999):
        assert student_quantile(p, nu) == pytest.approx(stats.t.ppf(p, nu), rel=1e-9, abs=1e-9)


def test_student_with_endless_freedom_is_normal():
    assert student_quantile(0.975, math.inf) == normal_quantile(0.975)
    assert student_cdf(1.3, math.inf) == normal_cdf(1.3)


@pytest.mark.parametrize("nu", [0.5, 1.0, 2.5, 10.0, 42.0, 500.0])
def test_chi_square_agrees_with_scipy(nu):
    for x in (0.0, 0.1, nu, 3 * nu):
        assert chi_square_cdf(x, nu) == pytest.approx(stats.chi2.cdf(x, nu), rel=1e-10)
    for p in (1e-9, 0.01, 0.5, 0.95, 0.999):
        assert chi_square_quantile(p, nu) == pytest.approx(stats.chi2.ppf(p, nu), rel=1e-9)


@pytest.mark.parametrize("blur", [0.0, 1e-12, 0.03, 0.2, 1.0, 5.0, 1e3])
def test_a_blurred_law_agrees_with_numerical_convolution(blur):
    """Second opinion: average of the normal cdf over 20 000 quantiles of the rectangle."""
    law = Law(2.0, 2.0 * blur)
    centres = 2.0 * stats.uniform(-1, 2).ppf((np.arange(20_000) + 0.5) / 20_000)
    for x in (-2.4, -1.0, 0.0, 0.7, 1.9, 3.0):
        expected = np.mean(stats.norm.cdf((x - centres) / (2.0 * blur)) if blur else centres <= x)
        assert law.cdf(x) == pytest.approx(expected, abs=5e-5)


@pytest.mark.parametrize("width", [0.0, 3e-7, 1e-6, 3e-6, 1e-4])
def test_a_very_wide_normal_part_swallows_the_rectangle(width):
    """Against the normal law alone, whose cdf a rectangle changes by a sixth of its square at the most."""
    for x in (-30.0, -1.0, 0.4, 2.0, 30.0):
        assert Law(width, 1.0).cdf(x) == pytest.approx(stats.norm.cdf(x), abs=width**2 / 6.0 + 2e-10)
    assert Law(width, 1.0).quantile(0.975) == pytest.approx(stats.norm.ppf(0.975), abs=1e-8)


@pytest.mark.parametrize("law", [Law(1.0, 0.3), Law(0.0, 0.3), Law(1.0, 0.0), Law(2.0, 1e-5), Law(1e-3, 5.0)])
def test_quantile_undoes_cdf(law):
    """In both tails and in the middle, whichever part is the wider."""
    for p in (1e-6, 0.001, 0.3, 0.5, 0.975, 0.9999):
        assert law.cdf(law.quantile(p)) == pytest.approx(p, abs=1e-9)


@pytest.mark.parametrize(
    ("p", "normal_u", "most"), [(0.6, 0.3, 4), (0.975, 0.3, 7), (0.9999, 0.3, 13), (0.975, 3.0, 8)]
)
def test_a_quantile_takes_few_steps(monkeypatch, p, normal_u, most):
    """Four normal cdfs each, as the right slope makes it: a unit has some hundred budgets."""
    asked = []
    monkeypatch.setattr(laws, "normal_cdf", lambda z: asked.append(z) or normal_cdf(z))
    Law(1.0, normal_u).quantile(p)
    assert len(asked) <= 4 * most


def test_nothing_lies_below_minus_infinity_and_all_below_infinity():
    law = Law(1.0, 0.3)
    assert (law.cdf(-math.inf), law.cdf(math.inf)) == (0.0, 1.0)
    assert law.between(-math.inf, 0.0) == pytest.approx(0.5)


def test_a_value_known_exactly_is_a_step():
    assert (Law(0.0, 0.0).cdf(-1e-9), Law(0.0, 0.0).cdf(0.0)) == (0.0, 1.0)


def test_probability_between_bounds_keeps_its_digits_in_the_tail():
    law = Law(0.0, 1.0)
    assert law.between(9.0, math.inf) == pytest.approx(stats.norm.sf(9.0), rel=1e-10)
    assert law.between(-math.inf, math.inf) == 1.0
    assert law.between(1.0, -1.0) == 0.0


@pytest.mark.parametrize("p", [0.0, 1.0, -0.1, 2.0, float("nan")])
def test_a_probability_outside_0_to_1_is_refused(p):
    for function in (normal_quantile, lambda q: student_quantile(q, 5), lambda q: chi_square_quantile(q, 5)):
        with pytest.raises(InputImpossible):
            function(p)
    with pytest.raises(InputImpossible):
        student_cdf(1.0, 0.0)


def test_no_statistics_library_is_loaded_at_run_time():
    """Loading scipy.stats costs most of a second; the whole way from budget to verdict does without."""
    modules = (
        "acquire.physics.correct, acquire.physics.tolerance, acquire.physics.cooling, acquire.verdict.guard"
    )
    code = (
        f"import sys, {modules}; print(*(m for m in ('scipy', 'statsmodels', 'pandas') if m in sys.modules))"
    )
    root = Path(__file__).parents[2]
    done = subprocess.run([sys.executable, "-c", code], cwd=root, capture_output=True, text=True, check=True)
    assert done.stdout.strip() == ""


def test_the_tail_of_a_variance_ratio():
    """Against scipy, from its ends to far out."""
    for f, between, within in ((0.0, 3, 10), (0.434, 18, 60), (2.5, 1, 7), (40.0, 9, 78), (500.0, 2, 4)):
        assert fisher_tail(f, between, within) == pytest.approx(stats.f.sf(f, between, within), rel=1e-10)
    assert fisher_tail(math.inf, 3, 10) == 0.0
    assert fisher_tail(2.5**2, 1, 7) == pytest.approx(2.0 * student_cdf(-2.5, 7), rel=1e-12)


@pytest.mark.parametrize("arguments", [(-1.0, 3, 10), (math.nan, 3, 10), (1.0, 0, 10), (1.0, 3, 0)])
def test_a_variance_ratio_that_cannot_be_is_refused(arguments):
    """With a sentence."""
    with pytest.raises(InputImpossible):
        fisher_tail(*arguments)
