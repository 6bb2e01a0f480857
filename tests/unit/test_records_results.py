"""Records of the check standard and of typed results keep their content on the way out and back."""

from __future__ import annotations

import dataclasses
import json
import math

import pytest

from acquire.journal.plain import from_plain, kind_of, to_plain
from acquire.records import Isolation
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
                    "conformance_probability",
                    "deviation",
                    "hertz",
                )
                assert field.name.endswith(ends), field.name


def test_an_isolation_rule_is_called_by_its_groups():
    """What people read in the list of what was not tested."""
    rule = Isolation((("1", "2"), ("CORE",)), 500.0, 50e6)
    assert rule.name == "insulation 1,2 to CORE"
    assert rule.id == "isolation:1,2|CORE"
