"""Chart factors: exact for two, refused beyond the tables, and ordered as theory says."""

import math
from itertools import pairwise

import pytest

from acquire.errors import InputImpossible
from acquire.stats.charts import d2_of_groups, factors


def test_factors_of_two_are_known_in_closed_form():
    """d2 = 2/sqrt(pi), d3² = 2 - 4/pi, c4 = sqrt(2/pi)."""
    of = factors(2)
    assert of.d2 == pytest.approx(2.0 / math.sqrt(math.pi), abs=1e-8)
    assert of.d3 == pytest.approx(math.sqrt(2.0 - 4.0 / math.pi), abs=1e-8)
    assert of.c4 == pytest.approx(math.sqrt(2.0 / math.pi), rel=1e-12)


def test_factors_of_three_are_known_in_closed_form():
    """d2 = 3/sqrt(pi), c4 = sqrt(pi)/2."""
    assert factors(3).d2 == pytest.approx(3.0 / math.sqrt(math.pi), abs=1e-8)
    assert factors(3).c4 == pytest.approx(math.sqrt(math.pi) / 2.0, rel=1e-12)


def limits(n):
    """Of a range and of a standard deviation over their means: D3, D4, B3, B4."""
    of = factors(n)
    parts = of.d3 / of.d2, math.sqrt(1.0 - of.c4**2) / of.c4
    return [end for part in parts for end in (max(0.0, 1.0 - 3.0 * part), 1.0 + 3.0 * part)]


def test_limits_close_in_with_larger_subgroups():
    for smaller, larger in pairwise(map(limits, range(2, 26))):
        assert larger[0] >= smaller[0]
        assert larger[1] < smaller[1]
        assert larger[2] >= smaller[2]
        assert larger[3] < smaller[3]


@pytest.mark.parametrize(("n", "b3", "b4"), [(5, 0.0, 2.089), (6, 0.030, 1.970), (10, 0.284, 1.716)])
def test_limits_of_standard_deviations_are_those_of_the_table(n, b3, b4):
    """ISO 7870-2:2013, table 2; from memory."""
    assert limits(n)[2:] == pytest.approx([b3, b4], abs=6e-4)


def test_a_misprint_of_old_tables_is_not_repeated():
    """D4 of 11 is 1.744; one table prints 1.774."""
    assert limits(11)[1] == pytest.approx(1.744, abs=1e-3)


def test_many_groups_come_to_the_plain_factor():
    assert d2_of_groups(5, 1) > d2_of_groups(5, 15) > factors(5).d2
    assert d2_of_groups(5, 10**7) == pytest.approx(factors(5).d2, abs=1e-6)


@pytest.mark.parametrize("n", [-1, 0, 1, 26])
def test_subgroups_that_cannot_be_are_refused(n):
    with pytest.raises(InputImpossible, match=r"subgroups of 2 to 25"):
        factors(n)


def test_no_groups_are_refused():
    with pytest.raises(InputImpossible):
        d2_of_groups(5, 0)
