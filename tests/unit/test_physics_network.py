"""The circuit solver on circuits that can be done by hand."""

import math

import pytest

from acquire.errors import InputImpossible
from acquire.physics.network import connected, resistance_between, sensitivities

DELTA = [("U", "V", 3.0), ("V", "W", 3.0), ("W", "U", 3.0)]


def test_two_in_series_add():
    """The diagonal of three pins reads the sum."""
    assert resistance_between([("1", "2", 20.6), ("2", "3", 441.0)], "1", "3") == pytest.approx(461.6)


def test_two_in_parallel_share():
    """6 and 3 ohm side by side are 2 ohm."""
    assert resistance_between([("a", "b", 6.0), ("b", "a", 3.0)], "a", "b") == pytest.approx(2.0)


def test_delta_reads_two_thirds_of_a_phase():
    """Common practice, no source: an equal delta shows 2/3 of a phase between lines."""
    assert resistance_between(DELTA, "U", "V") == pytest.approx(2.0)


def test_broken_branch_is_left_out():
    """A delta with one phase open reads two phases in series across the gap."""
    assert resistance_between([("U", "V", math.inf), *DELTA[1:]], "U", "V") == pytest.approx(6.0)


def test_no_path_is_infinite_and_nothing_matters():
    """Two islands: infinite, and no branch has a share."""
    islands = [("a", "b", 1.0), ("c", "d", 1.0)]
    assert resistance_between(islands, "a", "c") == math.inf
    assert sensitivities(islands, "a", "c") == (0.0, 0.0)
    assert resistance_between(islands, "a", "nowhere") == math.inf


def test_a_node_against_itself_is_nothing():
    """Both probes on one pin."""
    assert resistance_between(DELTA, "U", "U") == 0.0
    assert sensitivities(DELTA, "U", "U") == (0.0, 0.0, 0.0)


def test_sensitivity_is_the_current_share_squared():
    """In a delta 2/3 of the current takes the near phase, 1/3 the other two."""
    assert sensitivities(DELTA, "U", "V") == pytest.approx((4 / 9, 1 / 9, 1 / 9))


def test_dangling_and_foreign_branches_have_no_share():
    """A lead that ends in the air and an island change nothing."""
    branches = [*DELTA, ("W", "air", 5.0), ("x", "y", 7.0)]
    assert sensitivities(branches, "U", "V")[3:] == (0.0, 0.0)


def test_a_milliohm_beside_a_megohm_keeps_its_digits():
    """A strap across a winding of a megohm is still read to a part in 1e14."""
    bridge = [("a", "m", 1e-3), ("m", "b", 1e-3), ("a", "n", 1e6), ("n", "b", 1e6), ("m", "n", 1e6)]
    assert resistance_between(bridge, "a", "b") == pytest.approx(2e-3 / (1 + 1e-9), rel=1e-14)


@pytest.mark.parametrize("ohm", [0.0, -1.0, math.nan])
def test_impossible_branch_is_refused(ohm):
    """No resistor has zero, negative or unknown resistance here."""
    with pytest.raises(InputImpossible, match="cannot have"):
        resistance_between([("a", "b", ohm)], "a", "b")


def test_connected_finds_the_island():
    """Everything a path joins, broken branches not counted."""
    branches = [("a", "b", 1.0), ("b", "c", 1.0), ("c", "d", math.inf)]
    assert connected(branches, "a") == {"a", "b", "c"}
    assert connected(branches, "d") == {"d"}
