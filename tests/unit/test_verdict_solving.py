"""The matrix solver at its edges; its values are tried in test_verdict_casebook.py."""

from __future__ import annotations

import math

import numpy as np

from acquire.records import Pair
from acquire.verdict.circuits import Element, FaultyCircuit
from acquire.verdict.solving import solve


def test_a_unit_in_which_every_path_is_open_is_solved_too():
    """No pair conducts, and nothing is divided by nothing."""
    broken = FaultyCircuit((Element("a", "1", "2", math.inf), Element("b", "2", "3", math.inf)))
    solved = solve([broken, broken], [Pair("1", "2"), Pair("1", "3")], np.array([True, False]))
    assert not solved.conducts.any()
    assert not solved.mean_ohm.any()
    assert np.isfinite(solved.moves).all()
