"""Plain value-unit lines: what they say, and what is refused."""

from __future__ import annotations

import re

import pytest

from drivers.handheld.lines import last_digit, parse_line
from drivers.reading import Flag, Kind, Quantity


@pytest.mark.parametrize(
    ("text", "quantity", "value_si", "resolution_si"),
    [
        ("23.41 C", Quantity.TEMPERATURE, 23.41, 0.01),
        ("101.2 ohm", Quantity.RESISTANCE, 101.2, 0.1),
        ("+1.04723E+01 ohm", Quantity.RESISTANCE, 10.4723, 1e-4),
        ("R=10.4723 Ohm", Quantity.RESISTANCE, 10.4723, 1e-4),
        ("1.2345kohm", Quantity.RESISTANCE, 1234.5, 0.1),
        ("1.5 MΩ", Quantity.RESISTANCE, 1.5e6, 1e5),
        ("1.5 mΩ", Quantity.RESISTANCE, 1.5e-3, 1e-4),
        ("10.4723 ohm 4W", Quantity.RESISTANCE_4W, 10.4723, 1e-4),
        ("-0.0012 VDC", Quantity.VOLTAGE_DC, -0.0012, 1e-4),
        ("12.5 mH", Quantity.INDUCTANCE, 0.0125, 1e-4),
        ("47 nF", Quantity.CAPACITANCE, 47e-9, 1e-9),
        ("212 degF", Quantity.TEMPERATURE, 100.0, 5 / 9),
        ("50 Hz", Quantity.FREQUENCY, 50.0, 1.0),
        ("10.4723 ohm*67", Quantity.RESISTANCE, 10.4723, 1e-4),
    ],
)
def test_lines_of_the_usual_forms_are_read(text, quantity, value_si, resolution_si):
    found = parse_line(text)
    assert (found.quantity, found.kind) == (quantity, Kind.VALUE)
    assert found.value_si == pytest.approx(value_si, rel=1e-12)
    assert found.resolution_si == pytest.approx(resolution_si, rel=1e-12)


@pytest.mark.parametrize(
    ("text", "kind"),
    [
        ("OL", Kind.OVERLOAD),
        ("O.L ohm", Kind.OVERLOAD),
        ("-OL V", Kind.NEGATIVE_OVERLOAD),
        ("NAN ohm", Kind.NO_READING),
    ],
)
def test_overload_and_no_reading_are_kinds_of_their_own(text, kind):
    assert parse_line(text).kind is kind


def test_tags_become_flags():
    assert parse_line("105.3 ohm HOLD LOWBAT").flags == {Flag.HOLD, Flag.LOW_BATTERY}


@pytest.mark.parametrize(
    "text",
    [
        "723 ohm 10.4",
        "10.4723 ohm*00",
        "1,5 ohm",
        "12 parsnips",
        "ohm",
        "10.4.1 ohm",
        "10 ohm 11 ohm",
        "1e ohm",
        "\x00",
    ],
)
def test_what_does_not_fit_whole_is_refused(text):
    with pytest.raises(ValueError):
        parse_line(text)


@pytest.mark.parametrize("text", ["", "   ", "# rig v3 ready"])
def test_comments_and_empty_lines_are_no_readings_and_no_faults(text):
    assert parse_line(text) is None


@pytest.mark.parametrize(
    ("text", "worth"), [("23.41", 0.01), ("7", 1.0), ("1.047E-1", 1e-4), ("5.", 1.0), ("-.5", 0.1)]
)
def test_the_last_digit_is_worth_what_it_is_printed_as(text, worth):
    assert last_digit(text) == worth


def test_a_pattern_of_ones_own_may_name_an_unknown_unit_and_is_told_so():
    with pytest.raises(ValueError, match="'R' is no unit"):
        parse_line("5 R", re.compile(r"(?P<value>\d+) (?P<unit>R)"))
