"""Records as plain JSON values, and back."""

import json
import math

import pytest

from acquire.journal.plain import KINDS, evidence_from_plain, from_plain, kind_of, to_plain
from acquire.records import Outcome, Pair
from tests.known_records import ALL, EVIDENCE, RESULT, VERDICT


@pytest.mark.parametrize("record", ALL, ids=kind_of)
def test_every_kind_of_record_survives_json(record):
    """Spelt, written as JSON, read and built again, a record is equal to itself."""
    text = json.dumps(to_plain(record), allow_nan=False)

    assert from_plain(kind_of(record), json.loads(text)) == record


def test_evidence_survives_json_with_infinite_degrees_of_freedom():
    """JSON has no infinity: null stands for it where a plain number belongs."""
    plain = json.loads(json.dumps(to_plain(EVIDENCE), allow_nan=False))

    assert plain["terms"][0]["degrees_of_freedom"] is None
    assert evidence_from_plain(plain) == EVIDENCE
    assert evidence_from_plain(plain).terms[0].degrees_of_freedom == math.inf


def test_words_are_text_and_pairs_are_lists():
    """What others read holds no names of Python."""
    plain = to_plain(RESULT)

    assert plain["outcome"] == "fail"
    assert type(plain["outcome"]) is str
    assert plain["next_pair"] == ["2", "3"]
    assert from_plain("unit_result", plain).next_pair == Pair("2", "3")
    assert from_plain("unit_result", plain).outcome is Outcome.FAIL


def test_a_key_from_a_newer_program_is_passed_over():
    """An old program can still list what a newer one wrote."""
    assert from_plain("verdict", {**to_plain(VERDICT), "humidity": 40.0}) == VERDICT


@pytest.mark.parametrize(
    ("kind", "change"),
    [
        ("verdict", {"outcome": "perfect"}),
        ("verdict", {"raw_ohm": "much"}),
        ("verdict", {"raw_ohm": True}),
        ("verdict", {"attempt": 1.5}),
        ("verdict", {"counts": 1}),
        ("unit_result", {"hypotheses": "none"}),
        ("unit_result", {"hypotheses": [3]}),
        ("unit_result", {"next_pair": ["1", "2", "3"]}),
        ("story", {}),
    ],
)
def test_what_makes_no_record_is_refused(kind, change):
    """A payload that was tampered with gives a ValueError, not a wrong record."""
    plain = to_plain(RESULT if kind == "unit_result" else VERDICT)
    with pytest.raises(ValueError, match=r"\w"):
        from_plain(kind, {**plain, **change})


def test_a_missing_field_is_refused():
    """A verdict without its outcome is none."""
    plain = to_plain(VERDICT)
    del plain["outcome"]
    with pytest.raises(ValueError, match="outcome"):
        from_plain("verdict", plain)


def test_the_name_of_every_kind_leads_to_its_record():
    """The two tables agree."""
    assert {kind_of(record) for record in ALL} == set(KINDS)
