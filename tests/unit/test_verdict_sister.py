"""Inductance, Q and loss against a sister coil."""

import pytest

from acquire.errors import InputImpossible
from acquire.records import Outcome, Rule
from acquire.verdict.sister import Measured, compare

GOLDEN = Measured(0.86, 0.002, 1000.0)


def q(value, u=0.005, hertz=1000.0):
    return Measured(value, u, hertz)


def test_a_sister_within_limits_passes():
    got = compare(Measured(0.855, 0.002, 1000.0), GOLDEN, below=0.03, above=0.03)
    assert got.deviation == pytest.approx(-0.00581, abs=1e-5)
    assert got.decision.outcome is Outcome.PASS


def test_one_shorted_turn_of_a_stout_coil_is_seen_in_q():
    """Q of a coil of 230 turns falls by some 22 % at 1 kHz with one turn shorted; calculated, no source."""
    got = compare(q(4.0 * 0.78), q(4.0), below=0.10, above=None)
    assert got.decision.outcome is Outcome.FAIL


def test_a_loss_is_limited_from_above_only():
    assert compare(q(0.10), q(0.20), below=None, above=0.1).decision.outcome is Outcome.PASS
    assert compare(q(0.25), q(0.20), below=None, above=0.1).decision.outcome is Outcome.FAIL


def test_close_to_the_limit_it_is_conditional():
    assert compare(q(3.81), q(4.0), below=0.05, above=0.05).decision.outcome is Outcome.CONDITIONAL_PASS
    assert compare(q(3.81), q(4.0), below=0.05, above=0.05, rule=Rule.SIMPLE).decision.outcome is Outcome.PASS


def test_a_meter_too_poor_for_the_limits_cannot_judge():
    assert (
        compare(q(4.0, 0.05), q(4.0, 0.05), below=0.05, above=0.05).decision.outcome is Outcome.CANNOT_JUDGE
    )


def test_the_uncertainty_is_that_of_the_ratio():
    got = compare(q(2.0, 0.003), q(4.0, 0.004), below=0.9, above=0.9)
    assert got.u_deviation == pytest.approx(0.5 * 0.005)


@pytest.mark.parametrize(
    ("coil", "sentence"),
    [
        (Measured(-0.3, 0.002, 1000.0), "resonance"),
        (Measured(0.86, 0.002, 100.0), "same frequency"),
        (Measured(0.86, -0.1, 1000.0), "negative"),
        (Measured(float("nan"), 0.1, 1000.0), "no number"),
    ],
)
def test_what_cannot_be_compared_is_refused(coil, sentence):
    with pytest.raises(InputImpossible) as caught:
        compare(coil, GOLDEN, below=0.03, above=0.03)
    assert sentence in str(caught.value)


def test_no_limit_or_a_negative_one_is_refused():
    with pytest.raises(InputImpossible):
        compare(GOLDEN, GOLDEN, below=None, above=None)
    with pytest.raises(InputImpossible):
        compare(GOLDEN, GOLDEN, below=-0.1, above=0.1)
