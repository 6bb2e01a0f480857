"""Records of the check standard and of typed results keep their content on the way out and back."""

from __future__ import annotations

import dataclasses
import json
import math
from dataclasses import replace

import pytest

from acquire.journal.plain import from_plain, kind_of, to_plain
from acquire.records import Isolation, Outcome
from tests.known_records import CHECK, TYPED


@pytest.mark.parametrize("record", [CHECK, TYPED], ids=["check standard", "typed result"])
def test_a_record_comes_back_from_json_as_it_was(record):
    """Through the one spelling that journal, MQTT and history share."""
    plain = json.loads(json.dumps(to_plain(record)))
    assert from_plain(kind_of(record), plain) == record


def test_every_physical_field_names_its_unit():
    """No field is called plainly value or temperature (design rule of the records)."""
    for record in (CHECK, TYPED):
        for field in dataclasses.fields(record):
            value = getattr(record, field.name)
            if isinstance(value, float) and math.isfinite(value):
                ends = (
                    "_ohm",
                    "_si",
                    "_s",
                    "_volt",
                    "celsius",
                    "accuracy",
                    "conformity",
                    "deviation",
                    "hertz",
                )
                assert field.name.endswith(ends), field.name


def test_what_could_not_be_judged_says_what_that_means_for_the_unit():
    """Whoever typed it hears why, that the unit cannot pass, and what to do; all others hear the reason."""
    doubtful = replace(TYPED, outcome=Outcome.CANNOT_JUDGE, reason="measured at 9 V only.")
    assert doubtful.answer == (
        f"This could not be judged, so {TYPED.serial} cannot pass until it is measured or typed again: "
        "measured at 9 V only."
    )
    for outcome in (*{*Outcome} - {Outcome.CANNOT_JUDGE}, None):
        assert replace(TYPED, outcome=outcome).answer == TYPED.reason


def test_an_isolation_rule_is_called_by_its_groups():
    """What people read in the list of what was not tested."""
    rule = Isolation((("1", "2"), ("CORE",)), 500.0, 50e6)
    assert rule.name == "insulation 1,2 to CORE"
