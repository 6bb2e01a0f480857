"""Ohms and windings in words."""

import math

import pytest

from acquire.words.plain import both, either, in_words, ohm_text


@pytest.mark.parametrize(
    ("ohm", "text"),
    [
        (math.inf, "open"),
        (4908.0, "4.908 kΩ"),
        (1.5e6, "1.500 MΩ"),
        (214.6, "214.6 Ω"),
        (46.1673, "46.17 Ω"),
        (0.394, "0.394 Ω"),
        (0.0133, "0.0133 Ω"),
        (-0.02, "-0.02 Ω"),
        (1e-7, "0 Ω"),
    ],
)
def test_ohms_as_a_person_says_them(ohm, text):
    """Four digits, the unit that fits."""
    assert ohm_text(ohm) == text


def test_fewer_digits_for_uncertainties():
    """Two are enough."""
    assert ohm_text(0.7087, 2) == "0.71 Ω"
    assert ohm_text(12.34, 2) == "12 Ω"


def test_windings_that_share_a_word_are_named_by_it():
    """Only where exactly those share it, and "winding" says nothing."""
    everything = ["slow charge", "fast charge", "trigger"]
    assert in_words(everything[:2], in_series=True, everything=everything) == "both charge windings in series"
    more = [*everything, "spare charge"]
    assert (
        in_words(everything[:2], in_series=True, everything=more) == "slow charge and fast charge in series"
    )
    plain = ["winding A", "winding B"]
    assert in_words(plain, in_series=False, everything=plain) == "winding A and winding B together"
    assert in_words(["trigger"], in_series=True, everything=everything) == "trigger"


def test_lists_and_choices():
    """With commas and one last word."""
    assert (either("a"), either("ab"), either("abc")) == ("a", "a or b", "a, b or c")
    assert both("abc") == "a, b and c"
