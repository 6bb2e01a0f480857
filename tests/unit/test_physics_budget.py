"""Root sum of squares, degrees of freedom and the coverage factor of the dominating law."""

import math

import numpy as np
import pytest

from acquire.errors import InputImpossible
from acquire.physics.budget import combine, effective_degrees_of_freedom, root_sum_of_squares
from acquire.records import Shape, Term
from tests.later import stats


def test_one_normal_term_is_covered_by_1_96():
    whole = combine([Term("scatter", 2.0)])
    assert whole.standard_uncertainty == 2.0
    assert whole.coverage_factor == pytest.approx(1.959964, abs=1e-6)
    assert whole.expanded == pytest.approx(3.919928, abs=1e-6)


def test_few_readings_are_covered_by_students_t():
    whole = combine([Term("scatter", 1.0, degrees_of_freedom=4)])
    assert whole.coverage_factor == pytest.approx(2.776445, abs=1e-6)


def test_one_rectangle_alone_is_covered_by_1_65():
    whole = combine([Term("display resolution", 0.1, Shape.RECTANGULAR)])
    assert whole.coverage_factor == pytest.approx(0.95 * math.sqrt(3), rel=1e-9)
    assert round(whole.coverage_factor, 2) == 1.65


@pytest.mark.parametrize("share", [0.05, 0.3, 0.7, 1.0, 3.0])
def test_between_the_two_the_factor_covers_95_percent_of_simulated_errors(share):
    dice = np.random.default_rng(7)
    n = 400_000
    errors = dice.uniform(-1, 1, n) * math.sqrt(3) + dice.normal(0, share, n)
    whole = combine([Term("display", 1.0, Shape.RECTANGULAR), Term("noise", share)])
    covered = np.mean(np.abs(errors) <= whole.expanded)
    assert covered == pytest.approx(0.95, abs=4 * math.sqrt(0.95 * 0.05 / n))


def test_two_equal_rectangles_are_covered_within_a_percent_of_the_exact_factor():
    """The second rectangle is lumped with the normal part; exact is the triangle's 1.902."""
    two = [Term("a", 1.0, Shape.RECTANGULAR), Term("b", 1.0, Shape.RECTANGULAR)]
    exact = math.sqrt(6) * (1 - math.sqrt(0.05))
    assert combine(two).coverage_factor == pytest.approx(exact, rel=0.01)


def test_other_coverages_are_possible():
    assert combine([Term("a", 1.0)], coverage=0.9973).coverage_factor == pytest.approx(3.0, abs=1e-3)


def test_terms_of_nothing_give_a_budget_of_nothing():
    whole = combine([Term("a", 0.0), Term("b", 0.0, Shape.RECTANGULAR)])
    assert (whole.standard_uncertainty, whole.expanded) == (0.0, 0.0)
    assert whole.coverage_factor == pytest.approx(1.96, abs=1e-2)


def test_root_sum_of_squares_and_freedom_of_one_term_are_its_own():
    assert root_sum_of_squares([Term("a", 3.0), Term("b", 4.0)]) == 5.0
    assert effective_degrees_of_freedom(
        [Term("a", 3.0, degrees_of_freedom=7), Term("b", 0.0)]
    ) == pytest.approx(7.0)


def test_exactness_against_scipy_for_a_normal_budget_with_few_readings():
    terms = [Term("a", 1.0, degrees_of_freedom=3), Term("b", 2.0)]
    nu = 5.0**2 / (1.0 / 3)
    assert effective_degrees_of_freedom(terms) == pytest.approx(nu)
    assert combine(terms).coverage_factor == pytest.approx(stats.t.ppf(0.975, nu), rel=1e-9)


@pytest.mark.parametrize(
    "terms",
    [
        [],
        [Term("a", -1.0)],
        [Term("a", float("nan"))],
        [Term("a", float("inf"))],
        [Term("a", 1.0, degrees_of_freedom=0)],
        [Term("a", 1.0, degrees_of_freedom=float("nan"))],
    ],
)
def test_an_impossible_budget_is_refused(terms):
    with pytest.raises(InputImpossible) as caught:
        combine(terms)
    assert caught.value.what
    assert caught.value.hint


def test_coverage_must_be_a_probability():
    with pytest.raises(InputImpossible, match="coverage"):
        combine([Term("a", 1.0)], coverage=95)


def test_the_same_line_twice_counts_twice():
    line = Term("display", 1.0, Shape.RECTANGULAR)
    assert combine([line, line]).standard_uncertainty == pytest.approx(math.sqrt(2))
    assert combine([line, line]).coverage_factor > 1.8


def test_few_readings_beside_a_rectangle_cover_at_least_95_percent_in_simulation():
    """Five readings, scatter of the mean as large as the rectangle: the factor may not fall short."""
    dice = np.random.default_rng(11)
    readings = dice.normal(0.0, math.sqrt(5), (4000, 5))
    errors = readings.mean(axis=1) + dice.uniform(-1, 1, 4000) * math.sqrt(3)
    spread = readings.std(axis=1, ddof=1) / math.sqrt(5)
    within = [
        abs(error)
        <= combine(
            [Term("scatter", s, degrees_of_freedom=4), Term("display", 1.0, Shape.RECTANGULAR)]
        ).expanded
        for error, s in zip(errors, spread, strict=True)
    ]
    assert 0.945 < np.mean(within) < 0.975
