"""Laws of the diagnosis, on readings drawn at random."""

import math

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from acquire.records import Pair
from acquire.steps.pairs import PairTable
from acquire.verdict.diagnose import best_next_pair, diagnose, findings
from tests.known_sheets import PLOVER, QUERN

TABLES = {sheet.name: PairTable(sheet) for sheet in (PLOVER, QUERN)}
FACTOR = st.one_of(st.just(1.0), st.floats(min_value=0.3, max_value=3.0), st.just(math.inf))


@st.composite
def units(draw):
    """A sheet and what its steps read: good, off, or open."""
    sheet = draw(st.sampled_from([PLOVER, QUERN]))
    readings = []
    for step in sheet.steps:
        ohm = TABLES[sheet.name].nominal_ohm(step.pair) * draw(FACTOR)
        readings.append((step.pair, ohm, 0.0 if math.isinf(ohm) else 0.003 * ohm))
    return sheet, readings


@given(units())
@settings(max_examples=30, deadline=None)
def test_probabilities_add_up_and_are_ranked(unit):
    """Over all explanations, the unknown among them."""
    sheet, readings = unit
    found = findings(sheet, TABLES[sheet.name], readings)
    assert sum(finding.probability for finding in found) == pytest.approx(1.0)
    assert [f.probability for f in found] == sorted((f.probability for f in found), reverse=True)
    for hypothesis in diagnose(sheet, TABLES[sheet.name], readings):
        assert hypothesis.sentence[0].isupper()
        assert hypothesis.sentence.endswith(".")


@given(units(), st.randoms())
@settings(max_examples=20, deadline=None)
def test_neither_order_nor_swapped_probes_matter(unit, dice):
    """The same readings in another order, with the probes the other way round."""
    sheet, readings = unit
    other = [(Pair(b, a), ohm, u) for (a, b), ohm, u in readings]
    dice.shuffle(other)
    before = {f.case.faults: f.probability for f in findings(sheet, TABLES[sheet.name], readings)}
    after = {f.case.faults: f.probability for f in findings(sheet, TABLES[sheet.name], other)}
    for faults, probability in before.items():
        assert after.get(faults, 0.0) == pytest.approx(probability, abs=1e-6)


@given(units())
@settings(max_examples=20, deadline=None)
def test_next_pair_is_one_that_was_not_measured(unit):
    """Or none."""
    sheet, readings = unit
    table = TABLES[sheet.name]
    pair = best_next_pair(sheet, table, readings, diagnose(sheet, table, readings))
    assert pair is None or pair in set(table.pairs()) - {measured for measured, _, _ in readings}
