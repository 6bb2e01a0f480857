"""The lead zero: what may be one, and what is said when it moves."""

from __future__ import annotations

import math
from dataclasses import replace

import pytest
from hypothesis import given
from hypothesis import strategies as st

from acquire.heart.duties import LEADS, take_zero
from acquire.physics.leads import CONTACT_OHM
from acquire.plausible import Gate, Seen
from acquire.records import Circumstances, LeadZero, Purpose, Settled, Severity
from drivers.reading import Quantity
from tests.known_sheets import PLOVER

PLACE = Circumstances("bench-1", Purpose.FINAL, PLOVER, "meter", "model", "m", "b", "test")


def settled(ohm, u_ohm=0.001, *, contact_s=0.0, count_ohm=1e-4):
    """Probes held together."""
    return Settled(
        "meter",
        Quantity.RESISTANCE,
        ohm,
        u_ohm,
        9.0,
        0.0,
        0.0,
        0.0,
        10,
        100.0,
        count_ohm,
        contact_s,
        1.0,
        500.0,
    )


def zeroed(value, before=None, gate=None):
    """What becomes of a value, by a gate that knows the zero before."""
    gate = gate or Gate()
    gate.known = None if before is None else Seen(before.value_ohm, before.utc_s)
    return take_zero(value, before, PLACE, gate)


def zero_of(ohm, u_ohm=0.001):
    """An old zero."""
    return LeadZero("bench-1", "meter", ohm, u_ohm, 100.0)


@given(st.floats(0.0, 2.0, exclude_max=True))
def test_what_leads_can_be_is_taken(ohm):
    """Its uncertainty is never better than a contact repeats."""
    zero, notices = zeroed(settled(ohm))
    assert zero.value_ohm == ohm
    assert zero.standard_uncertainty_ohm >= CONTACT_OHM
    assert zero.doubtful_since_utc_s is None
    assert not notices


@pytest.mark.parametrize("ohm", [2.001, math.nan, 46.2, 1e6, -1.0])
def test_what_leads_cannot_be_is_refused_in_a_sentence(ohm):
    """A winding between the probes, or a meter in relative mode."""
    zero, notices = zeroed(settled(ohm), zero_of(0.2))
    assert zero is None
    assert [(n.code, n.severity) for n in notices] == [("leads.implausible", Severity.WARNING)]


def test_a_zero_that_stayed_where_it_was_raises_no_doubt():
    """Within what two contacts differ by."""
    zero, notices = zeroed(settled(0.2 + CONTACT_OHM / 2), zero_of(0.2, CONTACT_OHM))
    assert zero.doubtful_since_utc_s is None
    assert not notices


def test_a_zero_that_moved_makes_everything_since_the_old_one_doubtful():
    """A lead that is about to break."""
    zero, notices = zeroed(settled(0.28), zero_of(0.2, CONTACT_OHM))
    assert zero.doubtful_since_utc_s == 100.0
    assert notices[0].code == "leads.moved"
    assert notices[0].facts == {"before_ohm": 0.2, "ohm": 0.28}


def test_a_zero_over_dirty_tips_is_not_used_until_another_touch_reads_the_same():
    """However often one touch is reported: 0.6 ohm too much would pass windings that are 0.6 ohm too high."""
    gate, before = Gate(), zero_of(0.2, CONTACT_OHM)
    told = [zeroed(settled(0.8, contact_s=1.0), before, gate) for _ in range(5)]
    assert [zero for zero, _ in told] == [None] * 5
    assert [n.code for _, notices in told for n in notices] == ["leads.doubted"]
    assert zeroed(settled(0.21, contact_s=2.0), before, gate)[0].value_ohm == 0.21
    assert zeroed(settled(0.8, contact_s=3.0), before, gate)[0] is None
    zero, notices = zeroed(settled(0.81, contact_s=4.0), before, gate)
    assert (zero.value_ohm, zero.doubtful_since_utc_s) == (0.81, 100.0)
    assert [n.code for n in notices] == ["leads.moved"]


def test_two_counts_of_a_coarse_display_are_no_doubt():
    """0.2 or 0.4 ohm on a range that shows tenths."""
    assert zeroed(settled(0.4, count_ohm=0.1), zero_of(0.2, CONTACT_OHM))[0] is not None


def test_the_meter_is_set_to_two_wires_on_a_low_range():
    """Four wires see no leads."""
    assert LEADS.quantity is Quantity.RESISTANCE
    assert LEADS.expected_ohm == 2.0
    assert replace(LEADS, slow=False) == LEADS
