"""Inductance, Q and loss against a sister coil."""

import pytest

from acquire.errors import InputImpossible
from acquire.records import Outcome, Rule
from acquire.verdict.typed import compare

U = 0.005


def test_a_sister_within_limits_passes():
    got = compare(0.855, 0.86, 0.002, below=0.03, above=0.03)
    assert got.deviation == pytest.approx(-0.00581, abs=1e-5)
    assert got.decision.outcome is Outcome.PASS


def test_one_shorted_turn_of_a_stout_coil_is_seen_in_q():
    """Q of a coil of 230 turns falls by some 22 % at 1 kHz with one turn shorted; calculated, no source."""
    got = compare(4.0 * 0.78, 4.0, U, below=0.10, above=None)
    assert got.decision.outcome is Outcome.FAIL


def test_a_loss_is_limited_from_above_only():
    assert compare(0.10, 0.20, U, below=None, above=0.1).decision.outcome is Outcome.PASS
    assert compare(0.25, 0.20, U, below=None, above=0.1).decision.outcome is Outcome.FAIL


def test_close_to_the_limit_it_is_conditional():
    assert compare(3.81, 4.0, U, below=0.05, above=0.05).decision.outcome is Outcome.CONDITIONAL_PASS
    assert compare(3.81, 4.0, U, below=0.05, above=0.05, rule=Rule.SIMPLE).decision.outcome is Outcome.PASS


def test_a_meter_too_poor_for_the_limits_cannot_judge():
    assert compare(4.0, 4.0, 0.05, below=0.05, above=0.05).decision.outcome is Outcome.CANNOT_JUDGE


def test_a_limit_from_above_counts_from_nothing():
    """Half of the way from a loss of zero to the limit is the tolerance: 0.55 of the pattern."""
    poor = compare(0.10, 0.20, 0.1, below=None, above=0.1)
    assert poor.decision.outcome is Outcome.PASS


def test_the_uncertainty_is_that_of_the_ratio():
    got = compare(2.0, 4.0, 0.004, below=0.9, above=0.9)
    assert got.u_deviation == pytest.approx(0.5 * 0.004 * 2.0**0.5)


@pytest.mark.parametrize(
    ("values", "sentence"),
    [
        ((-0.3, 0.86, 0.002), "resonance"),
        ((0.86, 0.0, 0.002), "resonance"),
        ((0.86, 0.86, -0.1), "negative"),
        ((float("nan"), 0.86, 0.1), "finite number"),
    ],
)
def test_what_cannot_be_compared_is_refused(values, sentence):
    with pytest.raises(InputImpossible) as caught:
        compare(*values, below=0.03, above=0.03)
    assert sentence in str(caught.value)


def test_no_limit_or_a_negative_one_is_refused():
    with pytest.raises(InputImpossible):
        compare(0.86, 0.86, U, below=None, above=None)
    with pytest.raises(InputImpossible):
        compare(0.86, 0.86, U, below=-0.1, above=0.1)
