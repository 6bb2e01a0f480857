"""Whether the readings of a unit go together, and how often chance alone says they do not."""

import random

import pytest

from acquire.physics.common import PairReading
from acquire.records import Pair
from acquire.steps.agreement import oddest
from acquire.steps.pairs import PairTable
from tests.known_sheets import PLOVER, QUERN

TABLE, STAR = PairTable(PLOVER), PairTable(QUERN)
CHARGE = (("1", "2"), ("2", "3"), ("1", "3"))
PHASES = tuple(tuple(step.pair) for step in QUERN.steps)


def readings(table, pairs, odd=None, u_share=1e-3):
    """Nominal values, some of them otherwise."""
    found = []
    for pair in pairs:
        ohm = (odd or {}).get(pair, table.nominal_ohm(Pair(*pair)))
        found.append(PairReading(Pair(*pair), ohm, u_share * ohm))
    return found


def test_readings_of_a_good_unit_go_together():
    assert oddest(TABLE, readings(TABLE, CHARGE)).away < 0.1


def test_the_sum_must_hold():
    """1-3 reads 3 % more than 1-2 and 2-3 together."""
    odd = oddest(TABLE, readings(TABLE, CHARGE, {("1", "3"): 248.69 * 1.03}))
    assert odd.away > 10.0


def test_a_look_alike_in_a_star_is_found():
    """Phase V lost 5 %, and U-N was touched for V-N: the line readings know better."""
    ohms = {"U": 0.451, "V": 0.429, "W": 0.451}
    odd = {(a, b): ohms[a] + ohms[b] - 0.0107 for a, b in (("U", "V"), ("V", "W"), ("U", "W"))}
    found = oddest(STAR, readings(STAR, PHASES, odd))
    assert found.pair == Pair("V", "N")
    assert found.away > 8.0


def test_a_pair_that_no_other_knows_cannot_be_odd():
    """The trigger has a winding of its own."""
    assert oddest(TABLE, readings(TABLE, (("1", "2"), ("4", "6")))) is None
    assert oddest(TABLE, []) is None


@pytest.mark.parametrize(("table", "sheet", "pairs"), [(TABLE, PLOVER, CHARGE), (STAR, QUERN, PHASES)])
def test_chance_alone_calls_no_good_unit_odd(table, sheet, pairs):
    """Four standard uncertainties: 1 in 16 000 for a pair; of 500 good units next to none."""
    dice, beyond = random.Random(7), 0
    for _ in range(500):
        ohms = {b.name: b.reference_ohm * dice.gauss(1.0, b.spread) for b in table.branches}
        taken = []
        for pair in pairs:
            shares = table.path(Pair(*pair)).shares
            true = sum(s * ohms[b.name] for s, b in zip(shares, table.branches, strict=True))
            taken.append(PairReading(Pair(*pair), true * dice.gauss(1.0, 1e-3), 1e-3 * true))
        beyond += oddest(table, taken).away > 4.0
    assert beyond <= 2
