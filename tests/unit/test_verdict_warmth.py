"""A failing unit may be warm instead of bad: the shared percentage and the cooling tell."""

from __future__ import annotations

from pathlib import Path

import pytest

from acquire.physics.warm import Sample
from acquire.records import Hypothesis, Pair
from acquire.sheets import load_sheet
from acquire.steps.pairs import PairTable
from acquire.verdict.warmth import WARM, is_warm, rest_s, shift_of, worth_a_second_look

QUERN = Path(__file__).resolve().parents[2] / "configs" / "sheets" / "quern-12.toml"
PAIRS = (Pair("U", "V"), Pair("V", "W"), Pair("U", "W"), Pair("U", "N"), Pair("V", "N"), Pair("W", "N"))


@pytest.fixture
def table():
    return PairTable(load_sheet(QUERN))


def readings(table, factor):
    return [(pair, table.nominal_ohm(pair) * factor, 0.0005) for pair in PAIRS]


def explained(warm, gauge):
    return (Hypothesis(WARM, warm), Hypothesis("wire_too_thin", gauge))


def test_one_percentage_on_all_pairs_is_worth_a_second_look(table):
    """All pairs 26 % high may be warmth or a gauge; one bad phase is neither."""
    assert worth_a_second_look(table, readings(table, 1.26))
    one_bad = readings(table, 1.0)
    one_bad[0] = (PAIRS[0], table.nominal_ohm(PAIRS[0]) * 1.26, 0.0005)
    assert not worth_a_second_look(table, one_bad)
    assert not worth_a_second_look(table, readings(table, 0.8))


def test_a_pair_that_falls_is_warm(table):
    """It cooled while it was tested."""
    samples = (Sample(0.0, 1.000, 1e-5), Sample(40.0, 0.997, 1e-5))
    assert is_warm(table, readings(table, 1.26), explained(0.3, 0.7), samples)


def test_a_pair_that_stays_is_no_warm_one(table):
    """69 K of warmth would have shown after a minute: it is the wire."""
    samples = (Sample(0.0, 1.0, 1e-5), Sample(60.0, 1.0, 1e-5))
    assert not is_warm(table, readings(table, 1.26), explained(0.8, 0.2), samples)


def test_a_coarse_meter_leaves_it_to_the_likelier_explanation(table):
    """Where the cooling could not be seen, the likelier explanation decides, and units are rather held."""
    samples = (Sample(0.0, 1.0, 0.05), Sample(20.0, 1.0, 0.05))
    assert is_warm(table, readings(table, 1.26), explained(0.55, 0.45), samples)
    assert not is_warm(table, readings(table, 1.26), explained(0.45, 0.55), samples)


def test_what_nothing_else_explains_is_held(table):
    """The thermometer may hang elsewhere: a steady shift that only warmth explains fails no unit."""
    samples = (Sample(0.0, 1.0, 1e-5), Sample(60.0, 1.0, 1e-5))
    assert is_warm(table, readings(table, 1.13), explained(0.99, 0.01), samples)


def test_without_warmth_among_the_explanations_nothing_is_held(table):
    """A falling value alone may be a dirty contact."""
    samples = (Sample(0.0, 1.0, 1e-5), Sample(40.0, 0.99, 1e-5))
    assert not is_warm(table, readings(table, 1.26), (Hypothesis("wire_too_thin", 1.0),), samples)


def test_the_rest_follows_from_the_shared_percentage(table):
    """10 K above the room fall to the sheet's limit in about tau ln(3.9 %/0.4 %) = 1.1 h."""
    wait_s = rest_s(table, readings(table, 1.0393), (), moved=False)
    assert wait_s == pytest.approx(1800.0 * 2.28, rel=0.05)
    assert shift_of(table, readings(table, 1.0393)).kelvin == pytest.approx(10.0, rel=0.02)


def test_one_pair_tells_nothing(table):
    """A percentage is shared by two pairs at least."""
    assert shift_of(table, readings(table, 1.2)[:1]) is None
    assert rest_s(table, readings(table, 1.2)[:1], (), moved=False) is None
