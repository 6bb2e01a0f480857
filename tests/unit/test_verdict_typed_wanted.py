"""What a sheet asks for besides ohms, and whose ohms a typed name means."""

from dataclasses import replace

import pytest

from acquire.records import Purpose
from acquire.verdict.typed_wanted import ohms_named
from tests.known_sheets import PLOVER


def test_typed_ohms_are_of_the_step_or_else_the_winding_or_strap_of_that_name():
    """By any case; a lead has no limits, and what nobody knows is none."""
    bare = replace(PLOVER, steps=())
    assert ohms_named(PLOVER, "Trigger", Purpose.FINAL).id != "branch:trigger"
    found = ohms_named(bare, "Trigger", Purpose.FINAL)
    assert (found.name, found.id, found.material) == ("trigger", "branch:trigger", "copper")
    assert (found.limits.lower_ohm + found.limits.upper_ohm) / 2.0 == pytest.approx(83.1499)
    strap = ohms_named(bare, "strap", Purpose.FINAL)
    assert (strap.id, strap.limits.upper_ohm) == ("branch:strap", 0.05)
    assert ohms_named(bare, "lead 1", Purpose.FINAL) is None
    assert ohms_named(bare, "choke", Purpose.FINAL) is None
