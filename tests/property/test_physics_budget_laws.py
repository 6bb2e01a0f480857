"""Laws of a budget, for any set of terms."""

import math

from hypothesis import given
from hypothesis import strategies as st

from acquire.physics.budget import combine, effective_degrees_of_freedom
from acquire.records import Shape, Term

terms = st.builds(
    Term,
    name=st.sampled_from(["a", "b", "c"]),
    standard_uncertainty_ohm=st.floats(1e-6, 1e3),
    shape=st.sampled_from(list(Shape)),
    degrees_of_freedom=st.floats(1.0, 200.0) | st.just(math.inf),
)
budgets = st.lists(terms, min_size=1, max_size=6)


@given(budgets)
def test_the_whole_is_at_least_the_largest_and_at_most_the_sum(budget):
    whole = combine(budget).standard_uncertainty
    parts = [term.standard_uncertainty_ohm for term in budget]
    assert max(parts) * (1 - 1e-12) <= whole <= sum(parts) * (1 + 1e-12)


@given(budgets, st.floats(1e-3, 1e3))
def test_ohms_or_milliohms_make_no_difference_to_the_factor(budget, scale):
    scaled = [Term(t.name, t.standard_uncertainty_ohm * scale, t.shape, t.degrees_of_freedom) for t in budget]
    a, b = combine(budget), combine(scaled)
    assert math.isclose(a.coverage_factor, b.coverage_factor, rel_tol=1e-6)
    assert math.isclose(a.expanded * scale, b.expanded, rel_tol=1e-6)


@given(budgets)
def test_the_order_of_the_lines_makes_no_difference(budget):
    assert math.isclose(combine(budget).expanded, combine(budget[::-1]).expanded, rel_tol=1e-6)


@given(budgets)
def test_more_coverage_needs_a_wider_interval(budget):
    assert combine(budget, 0.9).expanded < combine(budget, 0.99).expanded * (1 + 1e-9)


@given(budgets)
def test_freedom_lies_between_the_least_and_the_sum(budget):
    nu = effective_degrees_of_freedom(budget)
    own = [t.degrees_of_freedom for t in budget]
    assert min(own) * (1 - 1e-9) <= nu <= sum(own) * (1 + 1e-9) or math.isinf(nu)


@given(budgets)
def test_the_factor_never_falls_below_that_of_a_rectangle(budget):
    """0.95 sqrt(3) = 1.645, the smaller factor of the two laws."""
    assert combine(budget).coverage_factor > 1.645
