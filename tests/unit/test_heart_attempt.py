"""An attempt as the record tells it is the attempt that was made."""

from __future__ import annotations

import pytest

from acquire.heart.attempt import attempt_of
from acquire.records import Basis, Outcome
from acquire.records.codes import WARM_CHECK
from tests.known_records import verdict


@pytest.mark.parametrize("outcome", Outcome)
def test_the_warm_check_is_replayed_as_the_touch_that_it_was(outcome):
    """Its verdict tells of the unit: an open pair there cannot judge it, but as a touch asks for a second."""
    said = verdict(step=WARM_CHECK, outcome=outcome, basis=Basis.OPEN_BY_KEY, reference_ohm=None)
    assert attempt_of(said).outcome is Outcome.FAIL
    said = verdict(step=WARM_CHECK, outcome=outcome, basis=Basis.REPEATED, reference_ohm=202.5)
    assert attempt_of(said).outcome is Outcome.PASS
