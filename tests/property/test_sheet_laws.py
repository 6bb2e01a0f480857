"""Laws of sheets: a random circuit written as a file gives networkx's values; its steps see every winding."""

from __future__ import annotations

import tempfile
from itertools import combinations
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from acquire.errors import FileInvalid
from acquire.records import BranchKind, Purpose
from acquire.sheets import load_sheet
from acquire.steps.pairs import PairTable
from tests.later import nx
from tests.tries import tries


@st.composite
def circuits(draw):
    """Pins, leads (ohms by pin) and windings (end, end, ohms); every inner point has two ends or more."""
    pins = [f"p{n}" for n in range(draw(st.integers(2, 5)))]
    inner = [f"i{n}" for n in range(draw(st.integers(0, 2)))]
    nodes = [*pins, *inner]
    ohms = st.integers(1, 10**6).map(lambda n: n / 1000)
    windings = [(pin, draw(st.sampled_from([n for n in nodes if n != pin])), draw(ohms)) for pin in pins[1:]]
    for node in inner:
        others = draw(st.lists(st.sampled_from([n for n in nodes if n != node]), min_size=2, max_size=3))
        windings += [(node, other, draw(ohms)) for other in others]
    reached = {end for winding in windings for end in winding[:2]}
    windings += [
        (pin, draw(st.sampled_from([n for n in nodes if n != pin])), draw(ohms))
        for pin in pins
        if pin not in reached
    ]
    leads = {pin: draw(ohms) for pin in draw(st.sets(st.sampled_from(pins)))}
    return pins, leads, draw(st.permutations(windings))


def as_text(pins, leads, windings):
    """The circuit as a sheet file."""
    rows = ", ".join(f'"{pin}"' for pin in pins)
    parts = [f'[sheet]\nname = "random"\n[connector]\nrows = [[{rows}]]\n']
    parts += [f'[[pin]]\nname = "{pin}"\nlead = "{ohm} ohm"\n' for pin, ohm in leads.items()]
    for number, (a, b, ohm) in enumerate(windings):
        ends = f'between = ["{a}", "{b}"]'
        value = f'resistance = "{ohm} ohm"\nacceptance = "5 %"'
        parts.append(f'[[winding]]\nname = "w{number}"\n{ends}\n{value}\n')
    return "".join(parts)


def as_graph(pins, leads, windings):
    """The circuit as networkx takes it, parallel branches joined beforehand."""
    graph = nx.Graph()
    branches = [(pin, f"{pin} inside", ohm) for pin, ohm in leads.items()]
    branches += [
        (*(f"{end} inside" if end in leads else end for end in (a, b)), ohm) for a, b, ohm in windings
    ]
    for a, b, ohm in branches:
        siemens = graph[a][b]["siemens"] if graph.has_edge(a, b) else 0.0
        graph.add_edge(a, b, siemens=siemens + 1.0 / ohm)
    return graph


@tries(120)
@given(circuits())
def test_a_circuit_written_as_a_sheet_is_the_circuit_that_was_meant(circuit):
    """Outside check: networkx's resistance distance."""
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "sheet.toml"
        path.write_text(as_text(*circuit), encoding="utf-8")
        graph = as_graph(*circuit)
        if not any(nx.has_path(graph, a, b) for a, b in combinations(circuit[0], 2)):
            with pytest.raises(FileInvalid, match="no two pins are joined"):
                load_sheet(path)
            return
        sheet = load_sheet(path)
    table = PairTable(sheet)
    for pair in table.pairs():
        part = nx.node_connected_component(graph, pair.a)
        if pair.b not in part:
            assert table.nominal_ohm(pair) == float("inf")
            continue
        outside = nx.resistance_distance(graph.subgraph(part), *pair, weight="siemens", invert_weight=False)
        assert table.nominal_ohm(pair) == pytest.approx(outside, rel=1e-6)
    assert_steps_are_whole(sheet, table)


def assert_steps_are_whole(sheet, table):
    """Steps made by default see every winding that any pair sees, have limits and names of their own."""
    assert len({step.name for step in sheet.steps}) == len(sheet.steps)
    for place, branch in enumerate(table.branches):
        if branch.kind is BranchKind.WINDING:
            seen = [table.path(pair).shares[place] > 1e-9 for pair in table.pairs()]
            by_step = [table.path(step.pair).shares[place] > 1e-9 for step in sheet.steps]
            assert any(by_step) == any(seen), branch.name
    for step in sheet.steps:
        limits = table.limits_for(step, Purpose.FINAL)
        assert limits.lower_ohm < table.nominal_ohm(step.pair) < limits.upper_ohm
