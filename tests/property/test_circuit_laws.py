"""Laws of resistor circuits, on circuits drawn at random, against networkx as an independent solver."""

import math
import warnings

import pytest
from hypothesis import assume, given
from hypothesis import strategies as st

from acquire.physics.network import resistance_between, sensitivities
from tests.later import nx

OHM = st.floats(min_value=1e-2, max_value=1e4)
NODES = st.sampled_from([str(number) for number in range(9)])


@st.composite
def circuits(draw):
    """Up to 16 branches between up to 9 nodes, no branch from a node to itself."""
    ends = draw(
        st.lists(st.tuples(NODES, NODES).filter(lambda pair: pair[0] != pair[1]), min_size=1, max_size=16)
    )
    return [(a, b, draw(OHM)) for a, b in ends]


def by_networkx(branches, a, b):
    """Resistance distance of networkx (Klein and Randic 1993), parallel branches joined beforehand."""
    graph = nx.Graph()
    for x, y, ohm in branches:
        siemens = (graph[x][y]["siemens"] if graph.has_edge(x, y) else 0.0) + 1.0 / ohm
        graph.add_edge(x, y, siemens=siemens, ohm=1.0 / siemens)
    if a not in graph or b not in graph or not nx.has_path(graph, a, b):
        return math.inf
    island = graph.subgraph(nx.node_connected_component(graph, a))
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        return nx.resistance_distance(island, a, b, weight="ohm", invert_weight=True)


@given(circuits(), NODES, NODES)
def test_agrees_with_networkx(branches, a, b):
    """Within 1e-9 relative on any circuit; infinite exactly where networkx finds no path.

    Two allowances of the reference are made: its pseudo-inverse loses digits as conductances differ, so the
    span is kept to six decades.
    """
    assume(a != b)
    ours, theirs = resistance_between(branches, a, b), by_networkx(branches, a, b)
    if math.isinf(theirs):
        assert math.isinf(ours)
    else:
        assert ours == pytest.approx(theirs, rel=1e-9)


@given(circuits(), NODES, NODES)
def test_probes_may_be_swapped(branches, a, b):
    """Swapping the probes changes nothing (reciprocity)."""
    assert resistance_between(branches, a, b) == pytest.approx(resistance_between(branches, b, a), rel=1e-12)


@given(circuits(), NODES, NODES, st.floats(min_value=1.01, max_value=100.0))
def test_more_ohm_anywhere_never_reads_less(branches, a, b, factor):
    """Rayleigh's law of monotonicity."""
    before = resistance_between(branches, a, b)
    for index, (x, y, ohm) in enumerate(branches):
        raised = [*branches[:index], (x, y, ohm * factor), *branches[index + 1 :]]
        assert resistance_between(raised, a, b) >= before * (1 - 1e-12)


@given(circuits(), NODES, NODES)
def test_shares_add_up_to_the_resistance(branches, a, b):
    """Euler: resistance is homogeneous of degree one in the branches."""
    whole = resistance_between(branches, a, b)
    assume(0 < whole < math.inf)
    shares = sensitivities(branches, a, b)
    assert sum(s * ohm for s, (_, _, ohm) in zip(shares, branches, strict=True)) == pytest.approx(
        whole, rel=1e-9
    )


@given(circuits(), NODES, NODES)
def test_sensitivity_is_the_slope(branches, a, b):
    """Against the central difference."""
    assume(0 < resistance_between(branches, a, b) < math.inf)
    shares = sensitivities(branches, a, b)
    for index, (x, y, ohm) in enumerate(branches):
        step = 1e-4 * ohm
        up = resistance_between([*branches[:index], (x, y, ohm + step), *branches[index + 1 :]], a, b)
        down = resistance_between([*branches[:index], (x, y, ohm - step), *branches[index + 1 :]], a, b)
        assert (up - down) / (2 * step) == pytest.approx(shares[index], rel=1e-5, abs=1e-6)
