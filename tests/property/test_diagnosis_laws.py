"""Laws of the diagnosis, on readings drawn at random."""

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from acquire.physics.common import PairReading
from acquire.records import Pair
from acquire.steps.pairs import PairTable
from acquire.verdict.diagnose import best_next_pair, diagnose, findings
from acquire.verdict.weighing import LOWERING
from acquire.words.faults import sentence
from tests.known_sheets import PLOVER, QUERN
from tests.tries import tries

TABLES = {sheet.name: PairTable(sheet) for sheet in (PLOVER, QUERN)}
FACTOR = st.one_of(st.just(1.0), st.floats(min_value=0.3, max_value=3.0), st.just(math.inf))


@st.composite
def units(draw):
    """A sheet and what its steps read: good, off, or open."""
    sheet = draw(st.sampled_from([PLOVER, QUERN]))
    readings = []
    for step in sheet.steps:
        ohm = TABLES[sheet.name].nominal_ohm(step.pair) * draw(FACTOR)
        readings.append(PairReading(step.pair, ohm, 0.0 if math.isinf(ohm) else 0.003 * ohm))
    return sheet, readings


@given(units())
@tries(30)
def test_probabilities_add_up_and_are_ranked(unit):
    """Over all explanations, the unknown among them."""
    sheet, readings = unit
    found = findings(sheet, TABLES[sheet.name], readings)
    assert sum(finding.probability for finding in found) == pytest.approx(1.0)
    assert [f.probability for f in found] == sorted((f.probability for f in found), reverse=True)
    for hypothesis in diagnose(sheet, TABLES[sheet.name], readings):
        assert sentence(hypothesis)[0].isupper()
        assert sentence(hypothesis).endswith(".")


@st.composite
def units_that_read_high(draw):
    """A sheet, one of its windings, and readings: none that the winding is in is below its nominal."""
    sheet, readings = draw(units())
    table = TABLES[sheet.name]
    number = draw(st.sampled_from([n for n, b in enumerate(table.branches) if b.turns]))
    high = []
    for pair, ohm, u_ohm, _ in readings:
        inside = table.path(pair).shares[number] > 0.0
        raised = table.nominal_ohm(pair) * draw(st.floats(min_value=1.0, max_value=2.0))
        high.append(PairReading(pair, max(ohm, raised) if inside else ohm, u_ohm))
    return sheet, table.branches[number].name, high


@given(units_that_read_high())
@tries(100)
def test_high_resistance_is_never_called_shorted_turns(unit):
    """Nor missing turns nor thicker wire, but as hidden by a bad joint, however the other readings are."""
    sheet, winding, readings = unit
    for finding in findings(sheet, TABLES[sheet.name], readings):
        called = dict(finding.case.faults)
        if any(fault in LOWERING and where == (winding,) for fault, where in finding.case.faults):
            assert "bad_joint" in called


@given(units())
@tries(50)
def test_no_fault_is_of_an_impossible_size(unit):
    """No joint of less than no ohms, no more turns shorted than there are."""
    sheet, readings = unit
    for finding in findings(sheet, TABLES[sheet.name], readings):
        assert all(size >= 0.0 for size in finding.sizes)
        assert finding.case.fault != "shorted_turns" or finding.sizes[0] <= 1.0


@given(units(), st.randoms())
@tries(20)
def test_neither_order_nor_swapped_probes_matter(unit, dice):
    """The same readings in another order, with the probes the other way round."""
    sheet, readings = unit
    other = [r._replace(pair=Pair(r.pair.b, r.pair.a)) for r in readings]
    dice.shuffle(other)
    before = {f.case.faults: f.probability for f in findings(sheet, TABLES[sheet.name], readings)}
    after = {f.case.faults: f.probability for f in findings(sheet, TABLES[sheet.name], other)}
    for faults, probability in before.items():
        assert after.get(faults, 0.0) == pytest.approx(probability, abs=1e-6)


@given(units())
@tries(20)
def test_next_pair_is_one_that_was_not_measured(unit):
    """Or none."""
    sheet, readings = unit
    table = TABLES[sheet.name]
    pair = best_next_pair(sheet, table, readings, diagnose(sheet, table, readings))
    assert pair is None or pair in set(table.pairs()) - {reading.pair for reading in readings}
