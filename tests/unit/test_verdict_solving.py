"""The matrix solver at its edges; its values are tried in test_verdict_casebook.py."""

from __future__ import annotations

import math

import numpy as np
import pytest

from acquire.records import Pair
from acquire.verdict.circuits import Element, FaultyCircuit, bridged, evenly, healthy
from acquire.verdict.solving import solve
from tests.known_sheets import FATHOM, PLOVER, QUERN


def test_a_unit_in_which_every_path_is_open_is_solved_too():
    """No pair conducts, and nothing is divided by nothing."""
    broken = FaultyCircuit((Element("a", "1", "2", math.inf), Element("b", "2", "3", math.inf)))
    solved = solve([broken, broken], [Pair("1", "2"), Pair("1", "3")], np.array([True, False]))
    assert not solved.conducts.any()
    assert not solved.mean_ohm.any()
    assert np.isfinite(solved.moves).all()


@pytest.mark.parametrize("sheet", [PLOVER, QUERN, FATHOM])
def test_a_winding_in_two_parts_is_the_same_winding(sheet):
    """A touch of the core through a gigohm changes no pair, nor how pairs of good units move together."""
    good, pairs = healthy(sheet), [step.pair for step in sheet.steps if step.conducts]
    two_wire = np.ones(len(pairs), dtype=bool)

    def law(circuit):
        solved = solve([circuit], pairs, two_wire)
        return solved.mean_ohm[0], solved.moves[0].T @ solved.moves[0]

    mean, covariance = law(good)
    for name in (element.name for element in good.elements if element.sd_ohm):
        for cut in bridged(good, name, sheet.core, evenly(3), ((1e9, 0.0, 1.0),)):
            assert law(cut)[0] == pytest.approx(mean, rel=1e-6)
            assert law(cut)[1] == pytest.approx(covariance, rel=1e-4, abs=1e-12)
