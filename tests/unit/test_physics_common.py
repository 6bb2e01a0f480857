"""What values share: sums, differences and their coverage, beside numpy and the guides' own examples."""

import math

import numpy as np
import pytest

from acquire.choices import Shape
from acquire.physics.budget import combine
from acquire.physics.common import PairReading, combination, commons, reading_of, shared_of
from acquire.records import Pair, Term

PAIR = Pair("1", "2")


def value(own, **shared):
    """A budget of one own term and some shared ones."""
    causes = tuple(Term(name, abs(ohm), shared=((name, ohm),)) for name, ohm in shared.items())
    return (Term("own", own), *causes)


def u_of(parts):
    return combine(combination(parts)).standard_uncertainty


def test_ten_resistors_by_one_standard_add_up_linearly():
    """JCGM 100:2008, 5.2.2, example: ten of 1 kilohm, each compared with one standard known to 100 milliohm.

    The comparison's own uncertainty is negligible, so u of the ten in series is 1 ohm, not 0.32.
    """
    ten = [(1.0, value(0.0, standard=0.1))] * 10
    assert u_of(ten) == pytest.approx(1.0)


def test_a_difference_loses_what_both_share():
    """JCGM 100:2008, F.1.2.3: correlated by a common cause of either sign."""
    high, low = value(0.01, zero=-0.05, gain=0.02), value(0.01, zero=-0.05, gain=0.015)
    assert u_of([(1.0, high), (-1.0, low)]) == pytest.approx(math.hypot(0.01, 0.01, 0.005))
    assert u_of([(1.0, high), (1.0, low)]) == pytest.approx(math.hypot(0.01, 0.01, 0.1, 0.035))


def test_a_closed_relation_counts_the_zero_once():
    """R12 + R23 - R13 holds one lead zero and no temperature."""
    parts = [(1.0, value(0.01, zero=-0.05, t=-0.8)), (1.0, value(0.01, zero=-0.05, t=-0.2))]
    parts.append((-1.0, value(0.01, zero=-0.05, t=-1.0)))
    assert u_of(parts) == pytest.approx(math.hypot(0.01, 0.01, 0.01, 0.05))


def test_covariances_follow_and_agree_with_sampling():
    """Against 200 000 draws by numpy."""
    dice = np.random.default_rng(1)
    budgets = (value(0.02, zero=-0.05, t=-0.4), value(0.03, zero=-0.05, t=-0.1), value(0.01, t=-0.2))
    readings = [
        PairReading(PAIR, 1.0, math.hypot(*(t.standard_uncertainty_ohm for t in b)), b) for b in budgets
    ]
    found = commons(readings)
    assert found.causes == ("zero", "t")
    draws = dice.standard_normal((200_000, 2)) @ found.moves + dice.standard_normal((200_000, 3)) * found.own
    assert np.cov(draws.T) == pytest.approx(found.covariance, rel=0.02, abs=2e-4)
    assert np.sqrt(np.diag(found.covariance)) == pytest.approx([r.u_ohm for r in readings])


def test_a_reading_without_a_budget_shares_nothing():
    (found,) = (commons([PairReading(PAIR, 5.0, 0.1)]),)
    assert found.causes == ()
    assert found.own == pytest.approx([0.1])


def test_a_rectangular_cause_keeps_its_shape():
    """EA-4/02 M:2013, S9: one dominating rectangle has k = 1.65 in a sum too."""
    term = Term("range", 0.1, Shape.RECTANGULAR, shared=(("range", 0.1),))
    whole = combine(combination([(1.0, (term,)), (1.0, (term,))]))
    assert whole.standard_uncertainty == pytest.approx(0.2)
    assert whole.coverage_factor == pytest.approx(1.645, abs=0.005)


def test_degrees_of_freedom_stay_with_their_term():
    scatter = Term("scatter", 0.1, degrees_of_freedom=4.0)
    assert combine(combination([(1.0, (scatter,))])).coverage_factor == pytest.approx(2.776, abs=0.001)


def test_a_record_keeps_what_a_reading_shares():
    """Whole uncertainty and causes come back as they were."""
    budget = value(0.02, zero=-0.05, t=0.4)
    u = math.hypot(0.02, 0.05, 0.4)
    back = commons([reading_of(PAIR, 3.0, u, shared_of(budget))])
    assert dict(zip(back.causes, back.moves[:, 0], strict=True)) == pytest.approx({"zero": -0.05, "t": 0.4})
    assert back.own == pytest.approx([0.02])
