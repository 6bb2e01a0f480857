"""Sheet files: the shipped ones give their units' values; wrong ones are refused, every fault by line."""

from __future__ import annotations

import csv
import hashlib
import json
import math
from pathlib import Path

import pytest

from acquire.physics.copper import CONDUCTORS
from acquire.records import Balance, BalanceKind, BranchKind, Pair, Purpose, Rule, StepKind
from acquire.sheets import load_sheet
from acquire.sheets.language import METAL_OF, WindingTable
from acquire.steps.pairs import PairTable
from tests.known_sheets import TAPPED
from tests.later import nx

TESTS = Path(__file__).parents[1]
SHIPPED = TESTS.parent / "configs" / "sheets"
KNOWN = json.loads((TESTS / "data" / "scenario_pairs.json").read_text(encoding="utf-8"))
"""Pair resistances at 20 °C of the three invented units; source in the file."""


# ------------------------------------------------------------------ what a good file becomes


@pytest.mark.parametrize("stem", ["plover-80", "quern-12", "fathom-7"])
def test_a_shipped_sheet_gives_every_pair_of_its_unit(stem):
    """Outside checks: networkx's resistance distance, and the values in tests/data/scenario_pairs.json."""
    sheet = load_sheet(SHIPPED / f"{stem}.toml")
    table = PairTable(sheet)
    graph = nx.Graph()
    for branch in sheet.branches:
        graph.add_edge(branch.a, branch.b, ohm=branch.reference_ohm)
    for name, ohm in KNOWN["pairs"][stem].items():
        a, b = name.split("-")
        solved = table.nominal_ohm(table.canonical(a, b))
        if ohm is None:
            assert math.isinf(solved)
            assert not (a in graph and b in graph and nx.has_path(graph, a, b))
        else:
            part = graph.subgraph(nx.node_connected_component(graph, a))
            outside = nx.resistance_distance(part, a, b, weight="ohm", invert_weight=True)
            assert solved == pytest.approx(outside, abs=1e-6)
            assert outside == pytest.approx(ohm, abs=1e-4)


def test_the_plover_sheet_says_what_its_shop_does():
    sheet = load_sheet(SHIPPED / "plover-80.toml")
    assert sheet.pin_names() == ("1", "2", "3", "4", "5", "6", "CORE")
    assert [(pin.row, pin.column) for pin in sheet.pins] == [(0, 0), (0, 1), (0, 2), (1, 0), (1, 1), (1, 2)]
    assert [(step.name, step.pair) for step in sheet.steps] == [
        ("slow charge", Pair("1", "2")),
        ("fast charge", Pair("2", "3")),
        ("both charge windings", Pair("1", "3")),
        ("trigger", Pair("4", "6")),
        ("lighting", Pair("5", "6")),
        ("earth strap", Pair("6", "CORE")),
    ]
    assert [step.four_wire for step in sheet.steps] == [None, None, None, None, None, True]
    assert sheet.content_hash == hashlib.sha256((SHIPPED / "plover-80.toml").read_bytes()).hexdigest()
    strap = next(branch for branch in sheet.branches if branch.kind is BranchKind.STRAP)
    assert (strap.reference_ohm, strap.upper_ohm) == (0.0133, 0.05)
    slow = next(branch for branch in sheet.branches if branch.name == "slow charge")
    assert (slow.a, slow.b, slow.turns, slow.acceptance, slow.serviceable) == ("1'", "2'", 2400, 0.06, 0.12)
    assert slow.spread == pytest.approx(0.02)


def test_a_sheet_without_steps_gets_one_for_each_winding_and_slow_ones_by_inductance():
    sheet = load_sheet(SHIPPED / "fathom-7.toml")
    assert [(step.name, *step.pair, step.slow) for step in sheet.steps] == [
        ("P1", "1", "2", True),
        ("P2", "3", "4", True),
        ("S1", "5", "6", False),
        ("S2", "7", "8", False),
    ]
    assert sheet.bifilar == (("S1", "S2"),)


def test_two_windings_match_within_1_percent_when_each_is_within_half_of_that_of_their_mean():
    balance = load_sheet(SHIPPED / "fathom-7.toml").balances[0]
    assert balance == Balance("secondaries", ("S1", "S2"), 0.01, BalanceKind.APART)
    assert balance.from_mean == 0.005


def test_what_is_left_out_gets_the_documented_values(sheet_from):
    sheet = sheet_from(TAPPED)
    assert (sheet.reference_celsius, sheet.rule, sheet.warm_limit) == (20.0, Rule.NON_BINARY, 0.004)
    assert (sheet.core, sheet.view, sheet.latch, sheet.about) == ("", "mating", "", "")
    low = sheet.branches[0]
    assert (low.serviceable, low.spread, low.material, low.strands) == (
        None,
        pytest.approx(0.05 / 3),
        "copper",
        1,
    )
    assert PairTable(sheet).limits(Pair("1", "3"), Purpose.FINAL).upper_ohm == pytest.approx(42 + 212)
    assert PairTable(sheet).limits(Pair("1", "3"), Purpose.INCOMING).upper_ohm == pytest.approx(42 + 230)


STAR = """[sheet]
name = "Star"
[connector]
rows = [["U", "V", "W"]]
[[winding]]
name = "u"
between = ["U", "star"]
resistance = "0.4 ohm"
acceptance = "4 %"
[[winding]]
name = "v"
between = ["V", "star"]
resistance = "0.4 ohm"
acceptance = "4 %"
[[winding]]
name = "w"
between = ["W", "star"]
resistance = "0.4 ohm"
acceptance = "4 %"
"""


def test_a_star_without_neutral_is_measured_between_all_its_lines(sheet_from):
    sheet = sheet_from(STAR)
    assert [(step.name, step.pair) for step in sheet.steps] == [
        ("u + v", ("U", "V")),
        ("u + w", ("U", "W")),
        ("v + w", ("V", "W")),
    ]
    table = PairTable(sheet)
    assert all(table.nominal_ohm(step.pair) == pytest.approx(0.8) for step in sheet.steps)


def test_a_delta_reads_two_thirds_of_a_phase_between_each_two_lines(sheet_from):
    """Star of 0.4 ohm reads 2 R, delta of 0.4 ohm 2/3 R: textbook, three equal phases."""
    text = STAR
    for old, new in (
        ('["U", "star"]', '["U", "V"]'),
        ('["V", "star"]', '["V", "W"]'),
        ('["W", "star"]', '["W", "U"]'),
    ):
        text = text.replace(old, new)
    sheet = sheet_from(text)
    assert [step.pair for step in sheet.steps] == [("U", "V"), ("V", "W"), ("U", "W")]
    assert all(PairTable(sheet).nominal_ohm(s.pair) == pytest.approx(0.4 * 2 / 3) for s in sheet.steps)
    assert len({step.name for step in sheet.steps}) == 3


def test_leads_move_the_windings_inside_and_loose_leads_need_no_place(sheet_from):
    sheet = sheet_from(
        TAPPED
        + '[[pin]]\nname = "1"\nlead = "50 mohm"\n'
        + """
[[pin]]
name = "flying"
colour = "red"
[[strap]]
name = "bond"
between = ["flying", "3"]
resistance = "20 mohm"
upper = "50 mohm"
"""
    )
    assert [(b.name, b.a, b.b) for b in sheet.branches] == [
        ("lead 1", "1", "1'"),
        ("low", "1'", "2"),
        ("high", "2", "3"),
        ("bond", "flying", "3"),
    ]
    assert (sheet.pins[3].name, sheet.pins[3].row, sheet.pins[3].colour) == ("flying", None, "red")
    assert PairTable(sheet).nominal_ohm(Pair("1", "2")) == pytest.approx(40.05)


def test_an_unused_pin_is_allowed_when_the_sheet_says_so(sheet_from):
    sheet = sheet_from(TAPPED.replace('"3"]]', '"3", "4"]]') + '[[pin]]\nname = "4"\nunused = true\n')
    assert math.isinf(PairTable(sheet).nominal_ohm(Pair("1", "4")))


def test_open_and_typed_steps(sheet_from):
    text = TAPPED.replace('rows = [["1", "2", "3"]]', 'rows = [["1", "2", "3"]]\ncore = "IRON"')
    sheet = sheet_from(
        text
        + """[[step]]
pair = ["IRON", "1"]
kind = "open"
[[step]]
name = "insulation"
pair = ["1", "IRON"]
kind = "typed"
quantity = "insulation"
lower = "50 Mohm"
[[step]]
pair = ["3", "1"]
slow = true
wires = 4
upper = "260 ohm"
"""
    )
    first, second, third = sheet.steps
    assert (first.name, first.pair, first.kind) == ("1–IRON open", Pair("1", "IRON"), StepKind.OPEN)
    assert first.open_above_ohm == 1e6
    assert (second.kind, second.lower_ohm, second.open_above_ohm) == (StepKind.TYPED, 50e6, None)
    assert (third.name, third.pair, third.slow, third.four_wire) == ("low + high", Pair("1", "3"), True, True)
    assert third.upper_ohm == 260.0


def test_a_diode_counts_as_open_in_ohms(sheet_from):
    sheet = sheet_from(
        TAPPED.replace('"3"]]', '"3", "4"]]') + '[[diode]]\nname = "D1"\nbetween = ["3", "4"]\n'
    )
    assert sheet.branches[-1].kind is BranchKind.DIODE
    assert math.isinf(PairTable(sheet).nominal_ohm(Pair("3", "4")))


# ------------------------------------------------------------------ turns and wire


def test_resistance_per_length_of_the_gauges_agrees_with_the_published_table():
    """tests/data/published/awg_copper_20c.csv: ohm/1000 ft, annealed copper, 20 °C (NBS Handbook 100)."""
    with (TESTS / "data" / "published" / "awg_copper_20c.csv").open(encoding="utf-8") as stream:
        rows = [row for row in csv.DictReader(stream) if row["seen"] == "yes" and int(row["awg"]) >= 14]
    assert len(rows) >= 13
    for row in rows:
        wound = {"turns": 1, "wire": f"AWG {row['awg']}", "mean_turn": "304.8 m"}
        winding = WindingTable.model_validate({"name": "w", "between": ("1", "2"), **wound})
        assert winding.wound_ohm(20.0) == pytest.approx(float(row["ohm_per_1000ft_20c"]), rel=5e-4)


def test_a_winding_is_computed_from_turns_and_wire_at_the_reference_temperature(sheet_from):
    text = TAPPED.replace(
        'resistance = "40 ohm"', 'turns = 1020\nwire = "AWG 33"\nmean_turn = "67 mm"\nextra = "0.5 m"'
    )
    at_20 = sheet_from(text).branches[0].reference_ohm
    area_m2 = math.pi * (0.127e-3 * 92 ** (3 / 39)) ** 2 / 4
    assert at_20 == pytest.approx(0.017241e-6 * (1020 * 0.067 + 0.5) / area_m2, rel=1e-4)
    warmer = text.replace('name = "Tapped"', 'name = "Tapped"\nreference_temperature = "25 °C"')
    assert sheet_from(warmer).branches[0].reference_ohm == pytest.approx(at_20 * 259.5 / 254.5)
    doubled = text.replace("turns = 1020", "turns = 1020\nstrands = 2")
    assert sheet_from(doubled).branches[0].reference_ohm == pytest.approx(at_20 / 2)


def test_every_conductor_has_a_resistivity():
    assert set(METAL_OF) == set(CONDUCTORS)
