"""Sheet files: the shipped ones give their units' values; wrong ones are refused, every fault by line."""

from __future__ import annotations

import csv
import hashlib
import json
import math
from pathlib import Path

import networkx as nx
import pytest

from acquire.errors import FileInvalid
from acquire.physics.copper import CONDUCTORS
from acquire.records import BranchKind, Pair, Purpose, Rule, StepKind
from acquire.sheets import load_sheet
from acquire.sheets.wire import METAL_OF, winding_ohm, wire_diameter_m
from acquire.steps.pairs import PairTable

TESTS = Path(__file__).parents[1]
SHIPPED = TESTS.parent / "configs" / "sheets"
KNOWN = json.loads((TESTS / "data" / "scenario_pairs.json").read_text(encoding="utf-8"))
"""Pair resistances at 20 °C of the three invented units; source in the file."""


@pytest.fixture
def sheet_from(tmp_path):
    """Compile a sheet from a text."""

    def compiled(text):
        path = tmp_path / "sheet.toml"
        path.write_text(text, encoding="utf-8")
        return load_sheet(path)

    return compiled


@pytest.fixture
def faults_of(sheet_from):
    """The faults of a text as (line, key, sentence)."""

    def found(text):
        with pytest.raises(FileInvalid) as refused:
            sheet_from(text)
        return [(f.line, f.key, f"{f.what} {f.remedy}".strip()) for f in refused.value.faults]

    return found


TAPPED = """[sheet]
name = "Tapped"
[connector]
rows = [["1", "2", "3"]]
[[winding]]
name = "low"
between = ["1", "2"]
resistance = "40 ohm"
acceptance = "5 %"
[[winding]]
name = "high"
between = ["2", "3"]
resistance = "200 ohm"
acceptance = "6 %"
serviceable = "15 %"
"""


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
    assert (balance.name, balance.windings, balance.limit) == ("secondaries", ("S1", "S2"), 0.005)


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
        ohm = winding_ohm(1, 1000 * 0.3048, wire_diameter_m(f"AWG {row['awg']}"))
        assert ohm == pytest.approx(float(row["ohm_per_1000ft_20c"]), rel=5e-4)


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


# ------------------------------------------------------------------ what is refused, and where


def test_all_faults_of_a_file_come_at_once_each_with_its_line(faults_of):
    faults = faults_of("""[sheet]
nme = "x"
reference_temperature = 20
warm_limit = "0.4"
rule = "best"
[connector]
rows = [["1", "2", "3"], ["4", "5", "1"]]
core = "CORE"
viev = "wire"
[[winding]]
name = "a"
between = ["1", "2"]
resistance = "1,5 ohm"
acceptance = "5"
[[winding]]
name = "b"
between = ["2", "33"]
resistance = "12 parsnips"
[[winding]]
name = "c"
between = ["4", "5"]
resistance = "nan ohm"
turns = true
[[step]]
pair = ["1", "9"]
[windng]
""")
    assert [(line, key) for line, key, _ in faults] == [
        (1, "sheet.name"),
        (2, "sheet.nme"),
        (3, "sheet.reference_temperature"),
        (4, "sheet.warm_limit"),
        (5, "sheet.rule"),
        (7, "connector.rows[2][3]"),
        (7, "connector.rows[1][3]"),
        (9, "connector.viev"),
        (13, "winding[1].resistance"),
        (14, "winding[1].acceptance"),
        (18, "winding[2].resistance"),
        (22, "winding[3].resistance"),
        (23, "winding[3].turns"),
        (25, "step[1].pair[2]"),
        (26, "windng"),
    ]
    words = " ".join(sentence for _, _, sentence in faults)
    for said in (
        'Did you mean "name"?',
        'Did you mean "view"?',
        'Did you mean "winding"?',
        "comma",
        '"5" has no unit',
    ):
        assert said in words
    for said in (
        'unknown unit "parsnips"',
        "not a finite number",
        'no winding reaches pin "3"',
        "20 has no unit",
    ):
        assert said in words


@pytest.mark.parametrize(
    ("old", "new", "line", "key", "said"),
    [
        ('["2", "3"]', '["2", "33"]', 12, "winding[2].between[2]", 'Did you mean "3"?'),
        ('["2", "3"]', '["2", "2"]', 12, "winding[2].between", "both ends are the same"),
        ('["2", "3"]', '["2"]', 12, "winding[2].between[2]", "missing"),
        ('["2", "3"]', '"2-3"', 12, "winding[2].between", "no list"),
        ('name = "high"', 'name = "low"', 11, "winding[2].name", "is there twice"),
        ('"3"]]', '"3", "4"]]', 4, "connector.rows[1][4]", 'no winding reaches pin "4"'),
        ('"3"]]', '"3", "3"]]', 4, "connector.rows[1][4]", "stands twice"),
        ('"3"]]', '"3", "a-b"]]', 4, "connector.rows[1][4]", "letters, digits"),
        ('resistance = "200 ohm"', "", 10, "winding[2]", "give resistance, or else turns"),
        ('resistance = "200 ohm"', 'resistance = "0 ohm"', 13, "winding[2].resistance", "not possible"),
        ('resistance = "200 ohm"', "resistance = 200", 13, "winding[2].resistance", "has no unit"),
        ('serviceable = "15 %"', 'serviceable = "5 %"', 10, "winding[2]", "wider"),
        ('serviceable = "15 %"', 'serviceabel = "15 %"', 15, "winding[2].serviceabel", 'mean "serviceable"?'),
        ('serviceable = "15 %"', 'material = "gold"', 15, "winding[2].material", "no known conductor"),
        ('serviceable = "15 %"', "strands = 1.5", 15, "winding[2].strands", "number"),
        ('serviceable = "15 %"', 'wire = "36"', 15, "winding[2].wire", "AWG 36"),
        ('acceptance = "5 %"', "", 10, "", ""),
        ('name = "Tapped"', 'name = "a\\u001b[2J"', 2, "sheet.name", "name"),
        ('name = "Tapped"', 'name = "x"\nmaximum_risk = "2 %"', 1, "sheet", "go together"),
        ('name = "Tapped"', 'name = "x"\nbifilar = [["low", "hi"]]', 3, "sheet.bifilar[1][2]", "no winding"),
        ("[sheet]", "[shet]", 1, "shet", 'Did you mean "sheet"?'),
        ('[[winding]]\nname = "high"', '[winding]\nname = "high"', 10, "", "no TOML"),
        ("[connector]", "[[connector]]", 3, "connector", "[connector], not [[connector]]"),
    ],
)  # fmt: skip
def test_a_fault_is_told_with_its_line_key_and_remedy(faults_of, old, new, line, key, said):
    text = TAPPED.replace(old, new, 1)
    assert text != TAPPED
    if not said:  # a winding without tolerance: its step cannot be judged
        said, key, line = "cannot be judged", "winding.pair", 5
    found = faults_of(text)
    assert any(f[0] == line and f[1] == key and said in f[2] for f in found), found


@pytest.mark.parametrize(
    ("step", "key", "said"),
    [
        ('pair = ["1", "9"]', "step[1].pair[2]", "neither a pin nor the core"),
        ('pair = ["1", "1"]', "step[1].pair", "against itself"),
        ('pair = ["1", "4"]', "step[1].pair", "nothing joins 1 and 4"),
        ('pair = ["1", "2"]\nkind = "open"', "step[1].kind", "not open"),
        ('pair = ["1", "2"]\nkind = "opened"', "step[1].kind", "none of"),
        ('pair = ["1", "2"]\nwires = 3', "step[1].wires", "none of 2 or 4"),
        ('pair = ["1", "2"]\nslow = "yes"', "step[1].slow", "neither true nor false"),
        ('pair = ["1", "2"]\nlower = "41 ohm"', "step[1].lower", "no good unit would pass"),
        ('pair = ["1", "2"]\nupper = "39 ohm"', "step[1].upper", "no good unit would pass"),
        ('pair = ["1", "2"]\nlower = "5 ohm"\nupper = "4 ohm"', "step[1]", "lower must be less"),
        ('pair = ["1", "2"]\nopen_above = "1 Mohm"', "step[1]", "open_above belongs to"),
        ('pair = ["1", "4"]\nkind = "open"\nupper = "1 Mohm"', "step[1]", "open_above in place"),
        ('pair = ["1", "2"]\nquantity = "insulation"', "step[1]", "never measured hands-free"),
        (
            'name = "x"\npair = ["1", "2"]\n[[step]]\nname = "x"\npair = ["2", "3"]',
            "step[2].name",
            "there twice",
        ),
        ("name = 5", "step[1].pair", "missing"),
    ],
)
def test_a_step_that_makes_no_sense_is_refused(faults_of, step, key, said):
    text = (
        TAPPED.replace('"3"]]', '"3", "4"]]') + '[[pin]]\nname = "4"\nunused = true\n[[step]]\n' + step + "\n"
    )
    found = faults_of(text)
    assert any(f[1] == key and said in f[2] for f in found), found


@pytest.mark.parametrize(
    ("more", "key", "said"),
    [
        (
            '[[isolation]]\ngroups = [["1"], ["3"]]\nat_least = "5 Mohm"',
            "isolation[1].groups[1]",
            'joins "3"',
        ),
        (
            '[[isolation]]\ngroups = [["1"], ["9"]]\nat_least = "5 Mohm"',
            "isolation[1].groups[2][1]",
            "neither",
        ),
        ('[[isolation]]\ngroups = [["1", "2"]]\nat_least = "5 Mohm"', "isolation[1].groups", "at least 2"),
        (
            '[[balance]]\nname = "b"\nwindings = ["low", "hi"]\nlimit = "2 %"',
            "balance[1].windings[2]",
            '"high"?',
        ),
        (
            '[[balance]]\nname = "b"\nwindings = ["low", "low"]\nlimit = "2 %"',
            "balance[1].windings[2]",
            "twice",
        ),
        ('[[balance]]\nname = "b"\nwindings = ["low", "high"]', "balance[1].limit", 'Add limit = "2 %"'),
        (
            '[[strap]]\nname = "s"\nbetween = ["1", "3"]\nresistance = "60 mohm"\nupper = "50 mohm"',
            "strap[1]",
            "upper",
        ),
        ('[[pin]]\nname = "1"\n[[pin]]\nname = "1"', "pin[2].name", "described twice"),
        ('[[pin]]\nname = "1"\nunused = true', "pin[1].unused", "a winding reaches"),
        ('[[pin]]\nname = "1"\nlead = "23.4"', "pin[1].lead", "has no unit"),
    ],
)
def test_the_other_tables_are_checked_against_the_circuit(faults_of, more, key, said):
    found = faults_of(TAPPED + more + "\n")
    assert any(f[1] == key and said in f[2] for f in found), found


def test_wire_and_resistance_that_contradict_each_other_are_refused(faults_of):
    text = TAPPED.replace('"40 ohm"', '"450 ohm"\nturns = 1020\nwire = "AWG 33"\nmean_turn = "67 mm"')
    assert any("turns and wire make 46." in said for _, _, said in faults_of(text))


def test_one_fault_does_not_breed_others(faults_of):
    text = TAPPED.replace('between = ["2", "3"]', "between = 5")
    assert [key for _, key, _ in faults_of(text)] == ["winding[2].between"]


# ------------------------------------------------------------------ files that are no sheets


def test_a_missing_file_is_named_with_the_one_that_was_meant(tmp_path):
    (tmp_path / "plover-80.toml").write_text(TAPPED, encoding="utf-8")
    with pytest.raises(FileInvalid, match=r"no such sheet.*Did you mean .*plover-80\.toml"):
        load_sheet(tmp_path / "plover80.toml")


def test_a_folder_a_huge_file_and_a_file_of_bytes_are_refused_in_words(tmp_path):
    huge, binary = tmp_path / "huge.toml", tmp_path / "binary.toml"
    huge.write_bytes(b"#" * 1_000_001)
    binary.write_bytes(b"[sheet]\nname = '\xff\xfe'\n")
    for path, said in (
        (tmp_path, "a folder or a device"),
        (huge, "1.0 MB"),
        (binary, "not UTF-8"),
        (Path("/dev/null"), "a folder or a device"),
    ):
        with pytest.raises(FileInvalid, match=said):
            load_sheet(path)
    with pytest.raises(FileInvalid) as refused:
        load_sheet(binary)
    assert refused.value.faults[0].line == 2


def test_another_kind_of_file_is_refused_in_one_sentence():
    with pytest.raises(FileInvalid, match="this is no sheet") as refused:
        load_sheet(SHIPPED.parent / "benches" / "example.toml")
    assert len(refused.value.faults) == 1


def test_no_toml_is_refused_with_the_line(faults_of):
    assert faults_of("[sheet]\nname = 'x'\nabout = unquoted\n")[0][0] == 3
    assert faults_of('[sheet]\nname = "x"\nname = "y"\n')[0][0] == 3
    assert "not known" not in str(faults_of(""))


def test_a_unit_of_hundreds_of_windings_is_a_mistake(faults_of):
    more = "".join(f'[[pin]]\nname = "x{n}"\n' for n in range(201))
    assert any("201 tables" in said for _, _, said in faults_of(TAPPED + more))


def test_where_many_windings_meet_each_is_measured_but_not_every_pair(sheet_from):
    pins = [f"p{number}" for number in range(8)]
    windings = "".join(
        f'[[winding]]\nname = "w{pin}"\nbetween = ["{pin}", "star"]\n'
        'resistance = "2 ohm"\nacceptance = "5 %"\n'
        for pin in pins
    )
    rows = ", ".join(f'"{pin}"' for pin in pins)
    sheet = sheet_from(f'[sheet]\nname = "Many"\n[connector]\nrows = [[{rows}]]\n{windings}')
    assert len(sheet.steps) == 8
    assert {pin for step in sheet.steps for pin in step.pair} == set(pins)
