"""The circuit solver against facts from outside the project."""

import math

import pytest

from acquire.physics.network import resistance_between
from tests.later import nx

PAIR_OF_SUM = [("small", "common", 20.6), ("common", "large", 441.0)]


def test_third_pair_of_two_ignition_windings_reads_their_sum():
    """Common practice, no source: 20.6 and 441 ohm that share a pin show as 462 on the third pair."""
    assert round(resistance_between(PAIR_OF_SUM, "small", "large")) == 462


def test_equal_star_reads_twice_a_phase():
    """Common practice, no source: line to line is two phases in series."""
    star = [(name, "n", 0.4404) for name in "UVW"]
    assert resistance_between(star, "U", "V") == pytest.approx(2 * 0.4404, rel=1e-12)


def test_equal_delta_reads_two_thirds_of_a_phase():
    """Common practice, no source: one phase beside two in series."""
    delta = [("U", "V", 0.9), ("V", "W", 0.9), ("W", "U", 0.9)]
    assert resistance_between(delta, "U", "V") == pytest.approx(0.6, rel=1e-12)


def test_delta_with_one_phase_open():
    """Reckoned by hand: 3.0, 1.5 and 1.5 times what the healthy delta reads."""
    phase, healthy = 0.9, 0.6
    broken = [("U", "V", math.inf), ("V", "W", phase), ("W", "U", phase)]
    ratios = [resistance_between(broken, *pair) / healthy for pair in ("UV", "VW", "WU")]
    assert ratios == pytest.approx([3.0, 1.5, 1.5], rel=1e-12)


def test_star_with_one_phase_open():
    """Reckoned by hand: two pairs open, the third as before."""
    broken = [("U", "n", math.inf), ("V", "n", 1.0), ("W", "n", 1.0)]
    readings = [resistance_between(broken, *pair) for pair in ("UV", "VW", "WU")]
    assert readings == [math.inf, pytest.approx(2.0), math.inf]


def test_cube_of_equal_resistors():
    """The classic of the textbooks: across the diagonal 5/6, along a face 3/4, along an edge 7/12 of one."""
    cube = [(str(a), str(b), 1.0) for a, b in nx.convert_node_labels_to_integers(nx.hypercube_graph(3)).edges]
    labels = list(nx.hypercube_graph(3).nodes)
    corner = {node: str(index) for index, node in enumerate(labels)}
    from_origin = {n: resistance_between(cube, corner[(0, 0, 0)], corner[n]) for n in labels}
    assert from_origin[(1, 1, 1)] == pytest.approx(5 / 6, rel=1e-12)
    assert from_origin[(1, 1, 0)] == pytest.approx(3 / 4, rel=1e-12)
    assert from_origin[(1, 0, 0)] == pytest.approx(7 / 12, rel=1e-12)


def test_balanced_bridge_carries_no_current():
    """Wheatstone: with equal arms the detector's resistance does not matter."""
    arms = [("a", "c", 10.0), ("c", "b", 20.0), ("a", "d", 30.0), ("d", "b", 60.0)]
    for detector_ohm in (1e-3, 1.0, 1e6):
        bridge = [*arms, ("c", "d", detector_ohm)]
        assert resistance_between(bridge, "a", "b") == pytest.approx(22.5, rel=1e-12)
