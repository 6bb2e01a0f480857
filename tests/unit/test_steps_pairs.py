"""Pair resistances, limits and names that follow from a sheet's circuit."""

import math
from dataclasses import replace

import pytest

from acquire.errors import InputImpossible
from acquire.records import Branch, BranchKind, Limits, Pair, Purpose, Step, StepKind
from acquire.steps.estimate import predicted
from acquire.steps.pairs import PairTable
from tests.known_sheets import FATHOM, PLOVER, QUERN


@pytest.mark.parametrize(
    ("sheet", "a", "b", "ohm"),
    [
        (PLOVER, "1", "2", 202.5669),
        (PLOVER, "1", "3", 248.6874),
        (PLOVER, "4", "5", 83.5672),
        (PLOVER, "5", "6", 0.4072),
        (QUERN, "U", "V", 0.8914),
        (QUERN, "W", "N", 0.4510),
        (FATHOM, "3", "4", 266.1148),
    ],
)
def test_pairs_read_what_their_designer_reckoned(sheet, a, b, ohm):
    """The invented scenarios list these to four digits; they were reckoned apart from this code."""
    table = PairTable(sheet)
    assert table.nominal_ohm(table.canonical(b, a)) == pytest.approx(ohm, abs=6e-5)


def test_isolated_windings_are_open():
    """Nothing joins the charge coils to the core."""
    table = PairTable(PLOVER)
    pair = table.canonical("core", "1")
    assert pair == Pair("1", "core")
    assert table.nominal_ohm(pair) == math.inf
    assert table.limits(pair, Purpose.FINAL) == Limits(None, None)
    assert table.windings(pair) == ()
    assert table.spread_ohm(pair) == 0.0


def test_every_pair_is_listed_once():
    """Six pins and the core give 21 pairs."""
    assert len(set(PairTable(PLOVER).pairs())) == 21


def test_unknown_pin_is_refused_by_name():
    """The sentence names the pin and those that exist."""
    with pytest.raises(InputImpossible, match='"9" is no pin of Plover 80'):
        PairTable(PLOVER).canonical("1", "9")
    with pytest.raises(InputImpossible, match="two different pins"):
        PairTable(PLOVER).canonical("1", "1")


def test_limits_follow_the_windings_tolerance():
    """Leads count as nominal, so the tolerance is of the winding alone."""
    limits = PairTable(PLOVER).limits(Pair("1", "2"), Purpose.FINAL)
    assert limits.lower_ohm == pytest.approx(202.5201 * 0.94 + 0.0468)
    assert limits.upper_ohm == pytest.approx(202.5201 * 1.06 + 0.0468)


def test_series_limits_are_the_sum_of_both():
    """Worst case: both windings low, or both high."""
    limits = PairTable(PLOVER).limits(Pair("1", "3"), Purpose.WINDING)
    assert limits.upper_ohm == pytest.approx(202.5201 * 1.06 + 46.1205 * 1.05 + 0.0468)


def test_incoming_cores_get_the_wide_limits():
    """Serviceable limits for incoming and returned units."""
    table = PairTable(PLOVER)
    for purpose in (Purpose.INCOMING, Purpose.RETURNED):
        assert table.limits(Pair("2", "3"), purpose).upper_ohm == pytest.approx(46.1205 * 1.1 + 0.0468)


def test_one_set_of_limits_serves_for_both_purposes():
    """A sheet without serviceable limits judges incoming units by acceptance."""
    sheet = replace(PLOVER, branches=tuple(replace(b, serviceable=None) for b in PLOVER.branches))
    table = PairTable(sheet)
    assert table.limits(Pair("1", "2"), Purpose.INCOMING) == table.limits(Pair("1", "2"), Purpose.FINAL)


def test_winding_without_tolerance_has_no_limits():
    """Nothing is judged against a limit that nobody set."""
    sheet = replace(
        PLOVER, branches=tuple(replace(b, acceptance=None, serviceable=None) for b in PLOVER.branches)
    )
    assert PairTable(sheet).limits(Pair("1", "2"), Purpose.FINAL) == Limits(None, None)


def test_strap_has_an_upper_limit_only():
    """Less is better in a strap; together with a winding it widens the winding's limits."""
    table = PairTable(PLOVER)
    assert table.limits(Pair("6", "core"), Purpose.FINAL) == Limits(None, pytest.approx(0.05))
    both = table.limits(Pair("5", "6"), Purpose.FINAL)
    assert both.lower_ohm == pytest.approx(0.3822 * 0.95 + 0.0117)
    assert both.upper_ohm == pytest.approx(0.3822 * 1.05 + 0.0117 + 0.05)


def test_own_limits_of_a_step_win_side_by_side():
    """A step may set one limit and leave the other to the windings."""
    table = PairTable(PLOVER)
    step = Step("slow charge", Pair("1", "2"), upper_ohm=205.0)
    derived = table.limits(Pair("1", "2"), Purpose.FINAL)
    assert table.limits_for(step, Purpose.FINAL) == Limits(derived.lower_ohm, 205.0)
    assert table.limits_for(replace(step, lower_ohm=1.0), Purpose.FINAL) == Limits(1.0, 205.0)
    isolated = Step("to core", Pair("1", "core"), kind=StepKind.OPEN, open_above_ohm=1e6)
    assert table.limits_for(isolated, Purpose.FINAL) == Limits(1e6, None)


@pytest.mark.parametrize(
    ("pair", "names"),
    [
        (Pair("1", "3"), ["slow charge", "fast charge"]),
        (Pair("4", "5"), ["trigger"]),
        (Pair("5", "6"), ["lighting", "strap"]),
        (Pair("6", "core"), ["strap"]),
    ],
)
def test_windings_say_what_a_pair_is_made_of(pair, names):
    """Those that matter to its value, and what is a small part of it too."""
    assert [branch.name for branch in PairTable(PLOVER).windings(pair)] == names


def test_material_is_that_of_most_of_the_ohms():
    """An aluminium winding with copper leads counts as aluminium."""
    sheet = replace(
        PLOVER, branches=tuple(replace(b, material="aluminium") if b.turns else b for b in PLOVER.branches)
    )
    assert PairTable(sheet).material(Pair("1", "2")) == "aluminium"
    assert PairTable(sheet).material(Pair("6", "core")) == "copper"


def test_diodes_count_as_open():
    """An ohmmeter may or may not turn one on; the circuit leaves it out."""
    diode = Branch("stop diode", "1", "core", 1.0, kind=BranchKind.DIODE)
    table = PairTable(replace(PLOVER, branches=(*PLOVER.branches, diode)))
    assert table.nominal_ohm(Pair("1", "core")) == math.inf


def test_two_readings_foretell_their_sum():
    """R13 = R12 + R23: the set knows the third pair far better than the sheet does."""
    table = PairTable(PLOVER)
    known = {Pair("1", "2"): (206.0, 0.05), Pair("2", "3"): (47.0, 0.05)}
    ohm, spread = predicted(table, known).pair(Pair("1", "3"))
    assert ohm == pytest.approx(206.0 + 47.0 - 2 * 0.0234, abs=0.02)
    assert spread < 0.1 < table.spread_ohm(Pair("1", "3"))
    assert predicted(table, known).pair(Pair("1", "core")) == (math.inf, 0.0)
    assert predicted(table, {}).pair(Pair("1", "2")) == pytest.approx(
        (202.5669, table.spread_ohm(Pair("1", "2")))
    )
