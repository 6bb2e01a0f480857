"""The simulated unit's circuit, against an independent solver and against what the trade knows of faults."""

from __future__ import annotations

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from sim.faults import Fault, NoSuchFault, fault_of, plant
from sim.files import Unusable
from sim.units import unit_type
from sim.winding import Branch, WoundUnit, copper_factor, ohm_between, wander, wire_mm2, wire_ohm
from tests.known_units import FATHOM_7, PLOVER_80, QUERN_12, UNIT_TYPES
from tests.later import nx
from tests.tries import tries

NODES = "ABCDEF"


@st.composite
def connected_networks(draw):
    """A connected network of up to six nodes: a random tree and some more resistors."""
    size = draw(st.integers(2, len(NODES)))
    ohms = st.floats(1e-3, 1e5)
    tree = [(NODES[draw(st.integers(0, k - 1))], NODES[k], draw(ohms)) for k in range(1, size)]
    node = st.sampled_from(NODES[:size])
    more = draw(st.lists(st.tuples(node, node, ohms).filter(lambda r: r[0] != r[1]), max_size=6))
    return tree + more


@tries(40)
@given(connected_networks())
def test_the_solver_agrees_with_networkx_at_every_pair(resistors):
    """networkx `resistance_distance` (invert_weight=True) is an independent implementation."""
    graph = nx.Graph()
    for a, b, ohm in resistors:  # a Graph holds one edge a pair: resistors in parallel are joined first
        before = graph[a][b]["ohm"] if graph.has_edge(a, b) else math.inf
        graph.add_edge(a, b, ohm=1 / (1 / before + 1 / ohm))
    for a in graph:
        for b in graph:
            expected = nx.resistance_distance(graph, a, b, weight="ohm", invert_weight=True)
            assert ohm_between(resistors, a, b) == pytest.approx(expected, rel=1e-6, abs=1e-9)


def test_swapping_the_probes_changes_nothing():
    """A resistance has no direction."""
    unit = PLOVER_80.nominal()
    for a in PLOVER_80.places():
        for b in PLOVER_80.places():
            assert unit.ohm(a, b, 20.0) == pytest.approx(unit.ohm(b, a, 20.0))


def test_pins_without_a_path_are_open():
    """The charge coils are isolated from trigger, lighting and core."""
    unit = PLOVER_80.nominal()
    assert all(math.isinf(unit.ohm(a, b, 20.0)) for a in "123" for b in ("4", "5", "6", "CORE"))


@pytest.mark.parametrize(
    ("kind", "pair", "ohm"),
    [
        (PLOVER_80, ("1", "2"), 202.5669),
        (PLOVER_80, ("2", "3"), 46.1673),
        (PLOVER_80, ("1", "3"), 248.6874),
        (PLOVER_80, ("4", "5"), 83.5672),
        (PLOVER_80, ("5", "CORE"), 0.3939),
        (PLOVER_80, ("6", "CORE"), 0.0133),
        (QUERN_12, ("U", "V"), 0.8914),
        (QUERN_12, ("W", "N"), 0.4510),
        (FATHOM_7, ("1", "2"), 243.0863),
        (FATHOM_7, ("3", "4"), 266.1148),
        (FATHOM_7, ("7", "8"), 1.6475),
    ],
)
def test_a_nominal_unit_has_the_values_computed_by_hand_from_its_wire(kind, pair, ohm):
    """From rounded metric diameters of a gauge table, apart from this code; so to 0.06 per cent."""
    assert kind.nominal().ohm(*pair, 20.0) == pytest.approx(ohm, rel=6e-4)


def test_wire_areas_are_those_of_the_gauge_table():
    """ASTM B258 diameters in mm: 36 -> 0.127, 20 -> 0.813, 18 -> 1.024 (from memory)."""
    for awg, diameter_mm in ((36, 0.1270), (20, 0.8128), (18, 1.0236)):
        assert wire_mm2(awg) == pytest.approx(math.pi / 4 * diameter_mm**2, rel=1e-3)


def test_two_strands_in_hand_have_half_the_resistance():
    """Area doubles."""
    assert wire_ohm(10, 24, strands=2) == pytest.approx(wire_ohm(10, 24) / 2)


def test_copper_rises_by_0_393_per_cent_per_kelvin_at_20_celsius():
    """1/254.5 (IEEE practice)."""
    assert copper_factor(21.0) - 1 == pytest.approx(0.00393, abs=1e-5)
    assert QUERN_12.nominal().ohm("U", "V", 64.0) == pytest.approx(1.0455, abs=1e-4)


def test_a_warm_unit_cools_towards_the_air():
    """35 K above ambient, a time constant of 25 minutes."""
    unit = plant(PLOVER_80, PLOVER_80.nominal(), Fault("warm", size=35, extra=25))
    unit.since_s = 100.0
    assert unit.celsius(22.0, 100.0) == pytest.approx(57.0)
    assert unit.celsius(22.0, 100.0 + 25 * 60) == pytest.approx(22 + 35 / math.e)
    assert unit.celsius(22.0, 1e6) == pytest.approx(22.0)


def faulty(kind, *fault):
    """A nominal unit with a fault."""
    return plant(kind, kind.nominal(), Fault(*fault))


def test_shorted_turns_take_away_their_share():
    """5 % of the slow coil dead short: 192.44, and the series pair falls by as much."""
    unit = faulty(PLOVER_80, "shorted", "slow charge", 0.05, 0.0)
    assert unit.ohm("1", "2", 20.0) == pytest.approx(192.44, abs=0.01)
    assert unit.ohm("1", "3", 20.0) == pytest.approx(238.56, abs=0.01)
    assert unit.ohm("2", "3", 20.0) == pytest.approx(46.167, abs=0.01)


def test_a_bad_joint_adds_the_same_to_every_pair_through_its_pin_and_nothing_elsewhere():
    """12 ohm in the tap: 214.6, 58.2, and the series pair does not see it."""
    unit = faulty(PLOVER_80, "joint", "2", 12.0)
    assert unit.steady_ohm("1", "2") == pytest.approx(214.57, abs=0.01)
    assert unit.steady_ohm("2", "3") == pytest.approx(58.17, abs=0.01)
    assert unit.steady_ohm("1", "3") == pytest.approx(248.687, abs=0.01)


def test_a_bad_joint_is_a_little_unsteady_and_a_sound_unit_is_not():
    """A joint wanders by a fraction of itself."""
    times = [k / 10 for k in range(300)]
    sound = {PLOVER_80.nominal().ohm("1", "2", 20.0, t) for t in times}
    bad = [faulty(PLOVER_80, "joint", "2", 12.0).ohm("1", "2", 20.0, t) for t in times]
    assert len(sound) == 1
    assert 0 < max(bad) - min(bad) < 0.05


def test_joints_do_not_follow_the_temperature_of_copper():
    """Only the copper part is corrected by a copper law."""
    cold, warm = (faulty(PLOVER_80, "joint", "2", 12.0).steady_ohm("1", "2", t) for t in (20.0, 57.0))
    healthy = PLOVER_80.nominal().ohm("1", "2", 20.0)
    assert warm - cold == pytest.approx(healthy * (copper_factor(57.0) - 1))


def test_an_open_winding_leaves_the_other_pairs_alone():
    """Both pairs through it are open."""
    unit = faulty(PLOVER_80, "open", "fast charge")
    assert math.isinf(unit.ohm("2", "3", 20.0))
    assert math.isinf(unit.ohm("1", "3", 20.0))
    assert unit.ohm("1", "2", 20.0) == pytest.approx(202.567, abs=0.001)


def test_a_ground_is_located_by_three_readings():
    """x = (Ra - Rb + R)/2R and Rf = (Ra + Rb - R)/2, by Kirchhoff."""
    unit = faulty(PLOVER_80, "grounded", "slow charge", 0.2, 40.0)
    a, b, whole = (unit.ohm(*p, 20.0) for p in (("1", "CORE"), ("2", "CORE"), ("1", "2")))
    assert (a, b) == (pytest.approx(80.5, abs=0.1), pytest.approx(202.1, abs=0.1))
    assert (a - b + whole) / (2 * whole) == pytest.approx(0.2, abs=1e-3)
    assert (a + b - whole) / 2 == pytest.approx(40.0, abs=1e-6)


def test_a_gauge_one_step_finer_has_a_quarter_more_ohms():
    """One step of gauge changes the area by 1.26; AWG 21 makes a line pair of 1.121."""
    unit = faulty(QUERN_12, "gauge", "all", 1)
    assert unit.ohm("U", "V", 20.0) == pytest.approx(1.121, abs=0.006)


def test_a_delta_by_mistake_reads_a_third_of_the_star():
    """0.304 instead of 0.891 ohm from line to line."""
    assert faulty(QUERN_12, "delta").ohm("U", "V", 20.0) == pytest.approx(0.304, abs=0.001)


def test_a_bypassed_coil_of_four_takes_a_quarter_of_its_phase():
    """0.7814 on two line pairs, 0.8914 on the third."""
    unit = faulty(QUERN_12, "bypassed", "phase V", 4)
    assert unit.ohm("U", "V", 20.0) == pytest.approx(0.7814, abs=2e-4)
    assert unit.ohm("U", "W", 20.0) == pytest.approx(0.8914, abs=2e-4)


def test_a_broken_strand_of_two_doubles_the_coil():
    """2/(2 - 1)."""
    unit = faulty(FATHOM_7, "strand", "S1", 2)
    leads_ohm = 2 * 0.0039
    assert unit.ohm("5", "6", 20.0) - leads_ohm == pytest.approx(2 * (1.6475 - leads_ohm), abs=2e-3)


def test_one_per_cent_of_stretch_makes_two_per_cent_of_resistance():
    """(1 + e)² at constant volume."""
    before, after = (FATHOM_7.nominal(), faulty(FATHOM_7, "stretched", "P1", 0.01))
    assert after.ohm("1", "2", 20.0) / before.ohm("1", "2", 20.0) == pytest.approx(1.0201, abs=1e-5)


def test_a_reversed_coil_cannot_be_seen_by_an_ohmmeter():
    """Ohms perfect at every pair."""
    before, after = FATHOM_7.nominal(), faulty(FATHOM_7, "reversed", "P2")
    for a in FATHOM_7.pins:
        for b in FATHOM_7.pins:
            assert after.ohm(a, b, 20.0) == before.ohm(a, b, 20.0)


def test_swapped_pins_exchange_their_values():
    """1-2 reads what 1-3 should."""
    unit = faulty(PLOVER_80, "swapped", "2/3")
    assert unit.ohm("1", "2", 20.0) == pytest.approx(248.687, abs=0.01)
    assert unit.ohm("1", "3", 20.0) == pytest.approx(202.567, abs=0.01)


@pytest.mark.parametrize(
    ("words", "fault"),
    [
        ("good", Fault()),
        ("open", Fault("open", "slow charge")),
        ("joint 2 12", Fault("joint", "2", 12.0)),
        ("joint 2", Fault("joint", "2", 0.08 * 202.5201)),
        ("shorted fast charge 0.2", Fault("shorted", "fast charge", 0.2, 0.01)),
        ("warm 20", Fault("warm", "", 20.0, 25.0)),
    ],
)
def test_a_fault_is_named_in_words(words, fault):
    """Place and size are the usual ones unless said; a lone number that names a pin is the place."""
    found = fault_of(PLOVER_80, words.split())
    assert (found.kind, found.where, found.extra) == (fault.kind, fault.where, fault.extra)
    assert found.size == pytest.approx(fault.size)


@pytest.mark.parametrize(
    "words", ["gremlins", "open nowhere", "shorted slow charge 1.5", "strand S 1", "delta"]
)
def test_a_fault_that_no_unit_can_have_is_refused_in_a_sentence(words):
    """Unknown kind, place or size."""
    with pytest.raises(NoSuchFault, match=r"\.$"):
        fault_of(PLOVER_80, words.split())


def test_a_sheet_of_turns_and_wire_alone_makes_a_unit():
    """210 turns of 58 mm in AWG 24 (0.5106 mm, ASTM B258 from memory): 1.0256 ohm at 58 S m/mm²."""
    kind = unit_type("plover-80-coil")
    assert kind.steps == (("P", "E"), ("E", "HT"), ("P", "HT"))
    assert kind.nominal().ohm("P", "E", 20.0) == pytest.approx(1.0256, rel=3e-3)
    assert kind.prefix == "P80C"


def test_a_file_that_is_no_sheet_is_refused_by_its_name(tmp_path):
    """Missing, no TOML, no sheet."""
    file = tmp_path / "x.toml"
    for text in (None, "[[", "a = 1"):
        if text is not None:
            file.write_text(text)
        with pytest.raises(Unusable, match=r"x\.toml"):
            unit_type(str(file))
        unit_type.cache_clear()
    with pytest.raises(Unusable, match="none of the sheets: fathom-7"):
        unit_type("nowhere")


def test_a_fault_in_a_part_that_does_not_exist_is_refused():
    """The name of the part is in the error."""
    with pytest.raises(KeyError, match="nowhere"):
        faulty(PLOVER_80, "shorted", "nowhere", 0.1)


@pytest.mark.parametrize("kind", UNIT_TYPES.values(), ids=lambda kind: kind.key)
def test_limits_enclose_the_nominal_of_every_pair(kind):
    """And no pair that a step asks for is without limits."""
    limits = kind.pair_limits_ohm()
    assert set(kind.steps) <= set(limits)
    assert not set(kind.isolated()) & set(limits)
    assert all(low < nominal < high for nominal, low, high in limits.values())


def test_wander_has_about_unit_rms_and_is_the_same_for_the_same_seed():
    """It stands for the slow unrest of a contact."""
    values = [wander(k / 7, "joint 2") for k in range(5000)]
    assert math.sqrt(sum(v * v for v in values) / len(values)) == pytest.approx(1.0, abs=0.1)
    assert wander(3.3, "x") == wander(3.3, "x") != wander(3.3, "y")


def test_a_broken_branch_is_infinite_at_any_temperature():
    """Infinity times the copper factor stays infinite."""
    unit = WoundUnit("x", (Branch("coil", "1", "2", math.inf),))
    assert math.isinf(unit.ohm("1", "2", 57.0))
