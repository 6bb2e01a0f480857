"""Ohms and windings in words."""

import math

import pytest

from acquire.words.saying import number, ohm_text, sureness


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


def test_a_chance_never_reads_as_certainty():
    """Whole per cents below 99."""
    assert (sureness(0.999), sureness(0.52)) == ("over 99 %", "52 %")


def test_numbers_of_two_digits():
    """Without an exponent, whatever the size."""
    assert [number(each) for each in (0.0, 0.0123, 4.56, 789.0, math.inf)] == [
        "0",
        "0.012",
        "4.6",
        "790",
        "unlimited",
    ]
