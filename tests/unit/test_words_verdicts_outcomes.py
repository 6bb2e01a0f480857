"""Outcomes, endings and deeds as people read them."""

from dataclasses import replace

import pytest

from acquire.records import BatchEvent, Compared, FirstUnitDoubt, Outcome, Pair
from acquire.words.verdicts import OUTCOME_WORDS, deed_words
from tests.known_records import BATCH

SEEN = Compared(Pair("1", "2"), 100.1, 100.0, 1.9)

DEEDS = {
    BatchEvent.OPENED: "",
    BatchEvent.PAUSED: "",
    BatchEvent.MADE_WAY: "another batch took its place",
    BatchEvent.RESUMED: "",
    BatchEvent.SPOOL_CHANGED: "36-A, 38-C for slow charge, trigger",
    BatchEvent.FIRST_UNIT: "F1 is as predicted. 1–2 reads 100.1 Ω, predicted was 100.0 Ω: +0.1 %.",
    BatchEvent.ACCEPTED: "",
    BatchEvent.FINISHED: "",
}


@pytest.mark.parametrize("deed", BatchEvent)
def test_every_deed_is_said(deed):
    """The operator's own words come first, whatever it was."""
    done = replace(BATCH, deed=deed, remark="", first_serial="F1", compared=SEEN, changed=BATCH.spools)
    assert deed_words(done) == DEEDS[deed]
    assert deed_words(replace(done, remark="night")) == "night"


def test_a_batch_paused_for_its_first_unit_says_so():
    """And a doubted first unit says what speaks against it."""
    doubted = replace(BATCH, remark="", first_serial="F1", compared=SEEN, first_doubt=FirstUnitDoubt(0.9, ()))
    assert deed_words(replace(doubted, deed=BatchEvent.PAUSED)) == "the first unit, F1, was not accepted"
    assert "not as planned" in deed_words(replace(doubted, deed=BatchEvent.FIRST_UNIT))


def test_every_outcome_has_a_word():
    """None is forgotten."""
    assert set(OUTCOME_WORDS) == set(Outcome)
