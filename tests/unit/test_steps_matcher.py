"""Weighing one value against all pairs of the Plover 80."""

import pytest

from acquire.records import Fit, Pair, Purpose
from acquire.steps.matcher import weigh
from acquire.steps.pairs import PairTable
from tests.known_sheets import FATHOM, PLOVER, QUERN, corrected

TABLE = PairTable(PLOVER)
ASKED = Pair("1", "2")


def match(ohm, asked=ASKED, table=TABLE, u_ohm=None, **more):
    """Weigh a value against the final limits of the asked pair."""
    limits = table.limits(asked, Purpose.FINAL)
    return weigh(corrected(ohm, u_ohm), asked, table, limits=limits, **more)


def test_nominal_value_is_the_asked_pair():
    """No hint, and nearly all of the weight."""
    found = match(202.57)
    assert (found.fit, found.pair, found.reads_like) == (Fit.EXPECTED, ASKED, ())
    assert found.weights[0][0] == ASKED
    assert found.weights[0][1] > 0.99


def test_value_of_the_diagonal_is_named():
    """Both windings in series when one was asked for."""
    found = match(248.7)
    assert (found.fit, found.pair) == (Fit.OTHER_PAIR, Pair("1", "3"))
    assert found.reads_like == (Pair("1", "3"),)
    assert found.reads_through == ("slow charge", "fast charge")


def test_pairs_of_equal_value_are_named_together():
    """4 to core, 4–5 and 4–6 read the same within what can be told."""
    found = match(83.3)
    assert found.fit is Fit.OTHER_PAIR
    assert len(found.reads_like) > 1
    assert {pair.a for pair in found.reads_like} == {"4"}
    assert found.reads_through == ()


@pytest.mark.parametrize("ohm", [214.6, 192.44, 170.0, 1e5])
def test_a_fault_is_never_called_another_pair(ohm):
    """Joint in pin 2, shorted turns, many of them, a bad joint of 100 kohm."""
    assert match(ohm).fit in (Fit.FAULT, Fit.EXPECTED)


def test_probes_touching_each_other_are_guessed():
    """Nearly nothing where 46 ohm should be, and no strap in the circuit explains it."""
    table = PairTable(FATHOM)
    found = match(0.02, Pair("1", "2"), table)
    assert found.fit is Fit.FAULT
    assert found.together


def test_equal_pairs_as_the_asked_one_are_never_another():
    """All three line pairs of a star read alike: no hint can come of it."""
    table = PairTable(QUERN)
    for ohm in (0.80, 0.8914, 0.95):
        assert match(ohm, Pair("U", "V"), table, u_ohm=0.002).fit is not Fit.OTHER_PAIR


def test_between_two_explanations_is_called_ambiguous():
    """A third of the way to the other primary, a bad 1–2 and an odd 3–4 are about as likely."""
    table = PairTable(FATHOM)
    fits = [match(ohm / 10, Pair("1", "2"), table).fit for ohm in range(2430, 2700)]
    assert fits[0] is Fit.EXPECTED
    assert Fit.AMBIGUOUS in fits
    assert fits[2661 - 2430] is Fit.OTHER_PAIR


def test_other_readings_of_the_unit_sharpen_the_next():
    """A unit whose single windings are 5 % high reads 261 on the diagonal; 248.7 there is suspicious."""
    known = {Pair("1", "2"): (212.6, 0.1), Pair("2", "3"): (48.4, 0.03)}
    alone = match(261.0, Pair("1", "3"))
    together = match(261.0, Pair("1", "3"), known=known)
    assert together.weights[0][1] > alone.weights[0][1]
    assert match(248.7, Pair("1", "3"), known=known).weights == ()


def test_weights_leave_room_for_the_fault():
    """They add up to at most one; the rest belongs to a fault."""
    for ohm in (0.4, 46.0, 60.0, 202.0, 214.6, 248.0):
        assert sum(weight for _, weight in match(ohm).weights) <= 1.0 + 1e-12


def test_free_order_prefers_steps_still_open():
    """The diagonal, not asked for but still to be measured, is taken without doubt."""
    found = match(248.7, open_pairs=(ASKED, Pair("2", "3"), Pair("1", "3")))
    assert (found.fit, found.pair) == (Fit.OTHER_PAIR, Pair("1", "3"))
    assert found.reads_like == (Pair("1", "3"),)
