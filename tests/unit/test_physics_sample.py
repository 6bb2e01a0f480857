"""Repeated readings: the refusals and corner cases; the figures are held against NIST in tests/published."""

import pytest

from acquire.errors import InputImpossible
from acquire.physics.sample import sample


def test_a_single_reading_has_a_mean_and_no_spread():
    one = sample([5.0])
    assert (one.mean, one.standard_deviation) == (5.0, 0.0)


@pytest.mark.parametrize(
    "call",
    [
        lambda: sample([]),
        lambda: sample([1.0, float("nan")]),
    ],
)
def test_too_little_is_refused_with_a_sentence(call):
    with pytest.raises(InputImpossible) as caught:
        call()
    assert caught.value.hint
