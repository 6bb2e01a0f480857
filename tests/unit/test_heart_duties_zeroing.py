"""The lead zero: what may be one, and what is said when it moves."""

from __future__ import annotations

from dataclasses import replace

import pytest
from hypothesis import given
from hypothesis import strategies as st

from acquire.heart.duties import LEAD_LIMIT_OHM, LEADS, take_zero
from acquire.physics.leads import CONTACT_OHM
from acquire.records import Circumstances, LeadZero, Purpose, Settled, Severity
from drivers.reading import Quantity
from tests.known_sheets import PLOVER

PLACE = Circumstances("bench-1", Purpose.FINAL, PLOVER, "meter", "model", "m", "b", "test")


def settled(ohm, u_ohm=0.001):
    """Probes held together."""
    return Settled(
        "meter", Quantity.RESISTANCE, ohm, u_ohm, 9.0, 0.0, 0.0, 0.0, 10, 100.0, 1e-4, 0.0, 1.0, 500.0
    )


def zero_of(ohm, u_ohm=0.001):
    """An old zero."""
    return LeadZero("bench-1", "meter", ohm, u_ohm, 100.0)


@given(st.floats(0.0, LEAD_LIMIT_OHM, exclude_max=True))
def test_what_leads_can_be_is_taken(ohm):
    """Its uncertainty is never better than a contact repeats."""
    zero, notices = take_zero(settled(ohm), None, PLACE)
    assert zero.value_ohm == ohm
    assert zero.standard_uncertainty_ohm >= CONTACT_OHM
    assert zero.doubtful_since_utc_s is None
    assert not notices


@pytest.mark.parametrize("ohm", [LEAD_LIMIT_OHM, 46.2, 1e6, -1.0])
def test_what_leads_cannot_be_is_refused_in_a_sentence(ohm):
    """A winding between the probes, or a meter in relative mode."""
    zero, notices = take_zero(settled(ohm), zero_of(0.2), PLACE)
    assert zero is None
    assert [(n.code, n.weight) for n in notices] == [("leads.implausible", Severity.WARNING)]


def test_a_zero_that_stayed_where_it_was_raises_no_doubt():
    """Within what two contacts differ by."""
    zero, notices = take_zero(settled(0.2 + CONTACT_OHM / 2), zero_of(0.2, CONTACT_OHM), PLACE)
    assert zero.doubtful_since_utc_s is None
    assert not notices


def test_a_zero_that_moved_makes_everything_since_the_old_one_doubtful():
    """A lead that is about to break."""
    zero, notices = take_zero(settled(0.45), zero_of(0.2, CONTACT_OHM), PLACE)
    assert zero.doubtful_since_utc_s == 100.0
    assert notices[0].facts == {"before_ohm": 0.2, "ohm": 0.45}


def test_the_meter_is_set_to_two_wires_on_a_low_range():
    """Four wires see no leads."""
    assert LEADS.quantity is Quantity.RESISTANCE
    assert LEADS.expected_ohm == LEAD_LIMIT_OHM
    assert replace(LEADS, slow=False) == LEADS
