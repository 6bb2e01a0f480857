"""Numbers and words of verdicts and results, as a person reads them."""

from __future__ import annotations

from dataclasses import replace

from acquire.page.telling import result_words, verdict_words
from acquire.records import Finding, FindingKind, Outcome, Pair
from acquire.words.faults import sentence
from tests.known_records import RESULT, VERDICT


def test_an_open_pair_has_no_value():
    words = verdict_words(replace(VERDICT, reference_ohm=None, raw_ohm=None, expanded_ohm=None))
    assert (words["text"], words["reference_ohm"]) == ("open", None)


def test_numbers_that_json_lacks_are_none():
    words = verdict_words(replace(VERDICT, upper_ohm=float("inf"), nominal_ohm=float("inf")))
    assert (words["upper_ohm"], words["nominal_ohm"]) == (None, None)


def test_a_result_says_why_and_what_next():
    words = result_words(replace(RESULT, next_pair=Pair("1", "CORE")))
    assert words["next_pair"] == ("1", "CORE")
    assert sentence(RESULT.hypotheses[0]).rstrip(".") in words["reason"]


def test_what_was_found_stands_beside_the_diagnosis():
    """A pass near a limit is explained by its step, whatever the likeliest fault is."""
    near = Finding(FindingKind.STEP, "trigger", outcome=Outcome.CONDITIONAL_PASS, ohm=0.2, expanded_ohm=0.3)
    assert result_words(replace(RESULT, found=(near,)))["found"].startswith("Trigger lies 0.2 Ω within its")
    assert result_words(RESULT)["found"] == ""
