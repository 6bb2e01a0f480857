"""Sheet files: the shipped ones give the invented units' values; wrong ones are refused by line."""

from __future__ import annotations

import json
import math
from pathlib import Path

import networkx
import pytest

from acquire.records import BranchKind
from acquire.sheets import load_sheet
from acquire.steps.pairs import PairTable

SHIPPED = Path(__file__).parents[2] / "configs" / "sheets"
KNOWN = json.loads((Path(__file__).parents[1] / "data" / "scenario_pairs.json").read_text(encoding="utf-8"))
"""Pair resistances at 20 °C of the three invented units; source in the file."""


@pytest.mark.parametrize("stem", ["plover-80", "quern-12", "fathom-7"])
def test_a_shipped_sheet_gives_every_pair_of_its_unit(stem):
    sheet = load_sheet(SHIPPED / f"{stem}.toml")
    table = PairTable(sheet)
    graph = networkx.Graph()
    for branch in sheet.branches:
        graph.add_edge(branch.a, branch.b, ohm=branch.reference_ohm)
    for name, ohm in KNOWN["pairs"][stem].items():
        a, b = name.split("-")
        solved = table.nominal_ohm(table.canonical(a, b))
        if ohm is None:
            assert math.isinf(solved)
            assert not (a in graph and b in graph and networkx.has_path(graph, a, b))
        else:
            part = graph.subgraph(networkx.node_connected_component(graph, a))
            outside = networkx.resistance_distance(part, a, b, weight="ohm", invert_weight=True)
            assert solved == pytest.approx(outside, abs=1e-6)
            assert outside == pytest.approx(ohm, abs=1e-4)
