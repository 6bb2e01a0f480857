"""Insulation resistance at 40 °C by a named rule."""

import math

import pytest

from acquire.errors import InputImpossible
from acquire.physics.insulation import (
    CAUTIONS,
    RULES,
    FactorTable,
    Halving,
    to_reference,
)

THERMOPLASTIC = RULES["thermoplastic"]
RESIN = FactorTable("resin 7", ((20.0, 0.7), (40.0, 1.0), (60.0, 1.5)), "invented, for this test")


def test_another_step_is_another_rule():
    assert to_reference(80e6, 60.0, Halving("slow", 20.0, "invented")) == pytest.approx(160e6)


def test_a_table_is_read_between_its_lines_on_a_logarithmic_scale():
    assert to_reference(100e6, 60.0, RESIN) == pytest.approx(150e6)
    assert to_reference(100e6, 30.0, RESIN) == pytest.approx(100e6 * math.sqrt(0.7))


def test_a_table_says_nothing_beyond_its_ends():
    for celsius in (19.9, 60.1):
        with pytest.raises(InputImpossible, match="leaves out"):
            to_reference(100e6, celsius, RESIN)


def test_the_choice_of_rule_matters_threefold_at_20_degrees():
    by_halving = to_reference(100e6, 20.0, THERMOPLASTIC)
    assert to_reference(100e6, 20.0, RESIN) / by_halving == pytest.approx(2.8)


def test_cautions_are_whole_sentences():
    assert len(CAUTIONS) >= 4
    assert all(caution.endswith(".") for caution in CAUTIONS)


@pytest.mark.parametrize(
    "call",
    [
        lambda: to_reference(0.0, 20.0, THERMOPLASTIC),
        lambda: to_reference(1e6, -300.0, THERMOPLASTIC),
        lambda: to_reference(1e6, 20.0, Halving("none", 0.0, "")),
        lambda: FactorTable("t", ((20.0, 1.0),), ""),
        lambda: FactorTable("t", ((20.0, 1.0), (20.0, 2.0)), ""),
        lambda: FactorTable("t", ((20.0, 1.0), (30.0, 0.0)), ""),
    ],
)
def test_impossible_input_is_refused(call):
    with pytest.raises(InputImpossible):
        call()
