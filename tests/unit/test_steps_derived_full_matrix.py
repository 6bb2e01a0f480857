"""A step for every pair of a sheet's pins."""

import math
from itertools import combinations

import pytest

from acquire.records import Purpose, StepKind
from acquire.steps.derived import OPEN_ABOVE_OHM, full_matrix
from acquire.steps.pairs import PairTable
from tests.known_sheets import FATHOM, PLOVER, QUERN


@pytest.mark.parametrize("sheet", [PLOVER, QUERN, FATHOM], ids=lambda s: s.name)
def test_every_pair_has_one_step(sheet):
    """The sheet's own first, then what conducts, then what must be open."""
    full, table = full_matrix(sheet), PairTable(sheet)
    measured = [step for step in full.steps if step.kind is not StepKind.TYPED]
    places = {place for pair in table.pairs() for place in pair}
    assert {frozenset(step.pair) for step in measured} == {frozenset(p) for p in combinations(places, 2)}
    assert len({step.name for step in full.steps}) == len(full.steps)
    own = [step for step in sheet.steps if step.kind is not StepKind.OPEN]
    assert list(full.steps[: len(own)]) == own
    kinds = [step.kind is StepKind.OPEN for step in full.steps]
    assert kinds == sorted(kinds), "an open pair is proven by readings that came before"
    assert full.content_hash == sheet.content_hash


def test_what_is_added_follows_from_the_circuit():
    """Limits for what conducts; a megohm for what does not."""
    table = PairTable(PLOVER)
    for step in full_matrix(PLOVER).steps[len(PLOVER.steps) :]:
        limits = table.limits_for(step, Purpose.FINAL)
        if math.isfinite(table.nominal_ohm(step.pair)):
            assert step.kind is StepKind.RESISTANCE
            assert limits.upper_ohm > table.nominal_ohm(step.pair)
        else:
            assert (step.kind, limits.lower_ohm) == (StepKind.OPEN, OPEN_ABOVE_OHM)


def test_twice_is_once():
    """Nothing is left to add."""
    assert full_matrix(full_matrix(PLOVER)) == full_matrix(PLOVER)
