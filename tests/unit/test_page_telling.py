"""Numbers and words of verdicts and results, as a person reads them."""

from __future__ import annotations

from dataclasses import replace

import pytest

from acquire.page.telling import next_pair, result_words, value_and_reach, verdict_words
from acquire.records import Finding, FindingKind, Outcome, Pair
from acquire.words.faults import sentence
from tests.known_records import RESULT, VERDICT


@pytest.mark.parametrize(
    ("ohm", "reach", "told"),
    [
        (
            202.5687,
            0.41,
            ("202.57", "0.41", "Ω"),
        ),  # JCGM 100:2008, 7.2.6: at most two digits
        (0.39391, 0.0041, ("0.3939", "0.0041", "Ω")),
        (4907.9, 12.0, ("4.908", "0.012", "kΩ")),
        (1.2e6, 15_000.0, ("1.200", "0.015", "MΩ")),
        (0.0143, 0.0042, ("0.0143", "0.0042", "Ω")),
        (202.5687, None, ("202.6", "", "Ω")),
        (202.5687, 0.0, ("202.6", "", "Ω")),
    ],
)
def test_a_value_ends_where_its_uncertainty_does(ohm, reach, told):
    assert value_and_reach(ohm, reach) == told


def test_an_open_pair_has_no_value():
    words = verdict_words(replace(VERDICT, reference_ohm=None, raw_ohm=None, expanded_ohm=None))
    assert (words["text"], words["open"], words["value_ohm"]) == ("open", True, None)


def test_numbers_that_json_lacks_are_none():
    words = verdict_words(replace(VERDICT, upper_ohm=float("inf"), nominal_ohm=float("inf")))
    assert (words["upper_ohm"], words["nominal_ohm"]) == (None, None)


def test_a_result_says_why_and_what_next():
    words = result_words(replace(RESULT, next_pair=Pair("1", "CORE")), "CORE")
    assert "pin 1 and the core" in words["next"]["text"]
    assert next_pair(None) is None
    assert sentence(RESULT.hypotheses[0]).rstrip(".") in words["reason"]


def test_what_was_found_stands_beside_the_diagnosis():
    """A pass near a limit is explained by its step, whatever the likeliest fault is."""
    near = Finding(FindingKind.STEP, "trigger", outcome=Outcome.CONDITIONAL_PASS, ohm=0.2, expanded_ohm=0.3)
    assert result_words(replace(RESULT, found=(near,)))["found"].startswith("Trigger lies 0.2 Ω within its")
    assert result_words(RESULT)["found"] == ""
