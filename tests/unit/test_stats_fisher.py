"""The tail of F: its ends, and what is refused."""

import math
import sys

import pytest

from acquire.errors import InputImpossible
from acquire.physics.laws import student_cdf
from acquire.stats.fisher import LibraryMissing, fisher_tail


def test_one_degree_is_student_twice():
    """F with 1 and nu degrees is t squared."""
    assert fisher_tail(2.5**2, 1, 7) == pytest.approx(2.0 * student_cdf(-2.5, 7), rel=1e-12)


def test_the_ends_are_one_and_nothing():
    assert fisher_tail(0.0, 3, 10) == 1.0
    assert fisher_tail(math.inf, 3, 10) == 0.0


@pytest.mark.parametrize("arguments", [(-1.0, 3, 10), (math.nan, 3, 10), (1.0, 0, 10), (1.0, 3, 0)])
def test_what_cannot_be_is_refused(arguments):
    with pytest.raises(InputImpossible):
        fisher_tail(*arguments)


def test_a_missing_library_is_one_sentence_with_its_remedy(monkeypatch):
    monkeypatch.setitem(sys.modules, "scipy.special", None)
    with pytest.raises(LibraryMissing, match=r"pip install 'steadyohm\[reports\]'"):
        fisher_tail(1.0, 3, 10)
