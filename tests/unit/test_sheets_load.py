"""Sheet files that are wrong: refused, every fault at once and by line."""

from __future__ import annotations

from pathlib import Path

import pytest

from acquire.errors import FileInvalid
from acquire.sheets import load_sheet
from tests.known_sheets import TAPPED

CONFIGS = Path(__file__).parents[2] / "configs"


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
        ('name = "high"', 'name = "low"', 11, "winding[2].name", "appears twice"),
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
        ('pair = ["1", "2"]\nkind = "opened"', "step[1].kind", "not one of"),
        ('pair = ["1", "2"]\nwires = 3', "step[1].wires", "not one of 2 or 4"),
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
            "appears twice",
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
        (tmp_path, "a folder, a pipe or a device"),
        (huge, "larger than 1 MB"),
        (binary, "not UTF-8"),
        (Path("/dev/null"), "a folder, a pipe or a device"),
    ):
        with pytest.raises(FileInvalid, match=said):
            load_sheet(path)
    with pytest.raises(FileInvalid) as refused:
        load_sheet(binary)
    assert refused.value.faults[0].line == 2


def test_another_kind_of_file_is_refused_in_one_sentence():
    with pytest.raises(FileInvalid, match="this is no sheet") as refused:
        load_sheet(CONFIGS / "benches" / "example.toml")
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
