"""Sheets from good units: the structure found, the file written, and read again by the sheet loader."""

import math
import random

import pytest

from acquire.errors import InputImpossible
from acquire.physics.network import resistance_between
from acquire.records import BranchKind, Pair
from acquire.reports.lookback import sheet_text
from acquire.sheets import load_sheet
from acquire.steps.learn import learn
from acquire.steps.pairs import PairTable
from tests.known_sheets import FATHOM, PLOVER, QUERN


def good_units(sheet, count, pins, seed=1):
    """So many good units of a sheet, every pair of some pins measured to 0.02 %."""
    dice = random.Random(seed)
    table = PairTable(sheet)
    pairs = [pair for pair in table.pairs() if set(pair) <= set(pins)]
    units = []
    for _ in range(count):
        circuit = [(b.a, b.b, b.reference_ohm * (1 + dice.gauss(0, b.spread))) for b in sheet.branches]
        units.append({p: resistance_between(circuit, *p) * (1 + dice.gauss(0, 2e-4)) for p in pairs})
    return units


def reloaded(tmp_path, text):
    """The proposal read by the real loader."""
    path = tmp_path / "learnt.toml"
    path.write_text(text, encoding="utf-8")
    return load_sheet(path)


@pytest.mark.parametrize(
    ("sheet", "pins", "core"),
    [(PLOVER, (*"123456", "core"), "core"), (QUERN, "UVWN", ""), (FATHOM, "12345678", "")],
    ids=["Plover 80", "Quern 12", "Fathom 7"],
)
def test_learnt_sheet_reads_like_the_real_one(tmp_path, sheet, pins, core):
    """Every pair within three standard errors of twelve units; open pairs open."""
    units = good_units(sheet, 12, pins)
    found = learn(units, core)
    loaded = reloaded(tmp_path, sheet_text(sheet.name, found, units=12, core=core))
    real, learnt = PairTable(sheet), PairTable(loaded)
    for pair in units[0]:
        expected, got = real.nominal_ohm(pair), learnt.nominal_ohm(pair)
        if math.isinf(expected):
            assert math.isinf(got)
        else:
            assert got == pytest.approx(
                expected, abs=3.5 * real.spread_ohm(pair) / math.sqrt(12) + 1e-3 * expected
            )


def test_windings_and_strap_of_the_plover_are_found():
    """Four windings, one strap, two islands, and the diagonal as a check."""
    found = learn(good_units(PLOVER, 8, (*"123456", "core")), "core")
    windings = {frozenset((b.a, b.b)) for b in found.branches if not b.strap}
    assert windings >= {frozenset("12"), frozenset("23"), frozenset(("5", "core"))}
    assert any(pin == "4" for winding in windings for pin in winding)
    assert [{b.a, b.b} for b in found.branches if b.strap] == [{"6", "core"}]
    assert found.islands == (("1", "2", "3"), ("4", "5", "6", "core"))
    assert Pair("1", "3") in found.sums


def test_lead_of_a_shared_pin_is_separated():
    """The neutral's 5.3 milliohm come out of three phases and three lines."""
    found = learn(good_units(QUERN, 20, "UVWN"))
    assert found.leads["N"] == pytest.approx(0.0053, rel=0.25)
    assert {frozenset((b.a, b.b)) for b in found.branches} == {frozenset(p) for p in ("UN", "VN", "WN")}


def test_star_without_neutral_is_asked_about(tmp_path):
    """Three equal pairs: a star is proposed, a delta may be meant, and the sheet reads right either way."""
    found = learn(good_units(QUERN, 6, "UVW"))
    assert "Ohms cannot tell whether U, V and W are a star or a delta" in found.questions[0]
    text = sheet_text("Three", found, units=6)
    loaded = reloaded(tmp_path, text)
    assert PairTable(loaded).nominal_ohm(Pair("U", "V")) == pytest.approx(0.8914, rel=0.02)
    assert [step.pair for step in loaded.steps] == [Pair("U", "V"), Pair("V", "W"), Pair("U", "W")]


def test_tolerance_follows_the_number_of_units():
    """Printed tables (Howe's approximation) have k of 9.92 for 3 units and 3.38 for 10; from memory."""
    for count, k in ((3, 9.92), (10, 3.38)):
        found = learn(good_units(FATHOM, count, "12"))
        branch = found.branches[0]
        assert branch.tolerance / branch.spread == pytest.approx(k, rel=2e-2)


def test_one_unit_gives_nominals_and_asks_for_more(tmp_path):
    """No spread, a tolerance that says that it is a guess, and the file loads."""
    found = learn(good_units(FATHOM, 1, "12"))
    text = sheet_text('Say "one"', found, units=1)
    assert "# ??? The tolerances rest on 1 good unit(s) only" in text
    loaded = reloaded(tmp_path, text)
    assert loaded.name == 'Say "one"'
    assert [b.acceptance for b in loaded.branches if b.kind is BranchKind.WINDING] == [0.05]


def test_a_bad_unit_among_the_good_is_named():
    """Open on one, conducting on the others; or pairs left out."""
    units = good_units(PLOVER, 3, "123")
    units[2][Pair("1", "2")] = math.inf
    with pytest.raises(InputImpossible, match=r"1–2 is open on some .* Unit 3 differs"):
        learn(units)
    del units[2][Pair("1", "2")]
    with pytest.raises(InputImpossible, match="1–2 was not measured on all units"):
        learn(units)
    with pytest.raises(InputImpossible, match="no unit"):
        learn([])
    with pytest.raises(InputImpossible, match="No pair conducts"):
        learn([{Pair("1", "4"): math.inf}])


def test_a_mesh_of_four_pins_is_not_guessed_at():
    """A ring of four windings is no chain: the tool asks."""
    ring = [("a", "b", 10.0), ("b", "c", 20.0), ("c", "d", 30.0), ("d", "a", 40.0)]
    unit = {Pair(x, y): resistance_between(ring, x, y) for x in "abcd" for y in "abcd" if x < y}
    assert any("describe how a, b, c, d are joined" in question for question in learn([unit]).questions)


def test_a_unit_of_very_many_pins_is_refused_at_once():
    """It worked for 19 seconds before it refused."""
    pins = [f"p{number}" for number in range(120)]
    unit = {Pair(a, b): 100.0 for place, a in enumerate(pins) for b in pins[place + 1 :]}
    with pytest.raises(InputImpossible, match="more than 40 pins"):
        learn([unit], "")
