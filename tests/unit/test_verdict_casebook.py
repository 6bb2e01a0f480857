"""The matrix solver of the diagnosis against the star-mesh solver of the physics room."""

import math

import pytest

from acquire.physics.network import resistance_between
from acquire.records import Purpose
from acquire.verdict.casebook import Casebook
from acquire.verdict.circuits import healthy, log_sizes
from acquire.verdict.dictionary import PRIORS, cases
from tests.known_sheets import FATHOM, PLOVER, QUERN


@pytest.mark.parametrize("sheet", [PLOVER, QUERN, FATHOM], ids=lambda sheet: sheet.name)
def test_two_solvers_agree_on_every_fault(sheet):
    """Two ways of reckoning that share no code, within a part in a million (a strap beside a megohm)."""
    book = Casebook(cases(sheet, Purpose.INCOMING), healthy(sheet), sheet.pin_names())
    circuits = [circuit for case in book.cases for circuit in case.circuits]
    for number in range(0, len(circuits), 17):
        circuit = circuits[number]
        branches = [(e.a, e.b, e.ohm) for e in circuit.elements]
        for column, (a, b) in enumerate(book.pairs):
            ohm = resistance_between(branches, circuit.places.get(a, a), circuit.places.get(b, b))
            assert book.laws.conducts[number, column] == math.isfinite(ohm)
            if math.isfinite(ohm):
                expected = pytest.approx(ohm + circuit.zero_ohm, rel=1e-6)
                assert book.laws.mean_ohm[number, column] == expected


def test_sizes_cover_their_range_evenly():
    """As many laws below the middle of the range as above, weights adding up to one."""
    sizes = log_sizes(0.1, 10.0)
    assert sum(weight for _, _, weight in sizes) == pytest.approx(1.0)
    assert sum(centre < 1.0 for centre, _, _ in sizes) == pytest.approx(len(sizes) / 2, abs=0.5)
    assert min(centre - sd for centre, sd, _ in sizes) > 0.0


def test_every_case_has_a_prior_and_circuits():
    """And the places of a fault share its weight."""
    listed = cases(QUERN, Purpose.INCOMING)
    assert {case.fault for case in listed} <= set(PRIORS)
    assert all(case.circuits and case.prior > 0.0 for case in listed)
    shorted = [case.prior for case in listed if case.fault == "shorted_turns"]
    assert sum(shorted) == pytest.approx(PRIORS["shorted_turns"])
