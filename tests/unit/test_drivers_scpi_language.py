"""SCPI text to values, by value and never by spelling."""

from __future__ import annotations

import pytest

from drivers.reading import Kind
from drivers.scpi.language import (
    parse_configuration,
    parse_error,
    parse_identity,
    parse_number,
    parse_numbers,
    same_function,
)


@pytest.mark.parametrize(
    ("text", "value"),
    [
        ("+1.04723000E+01", 10.4723),
        ("1.0E+1", 10.0),
        (" 7 ", 7.0),
        ("-1.234E-06", -1.234e-6),
        (".5", 0.5),
        ("3.", 3.0),
    ],
)
def test_numbers_of_every_form_are_read(text, value):
    assert parse_number(text).value_si == pytest.approx(value, rel=1e-12)


@pytest.mark.parametrize(
    ("text", "kind"),
    [
        ("+9.90000000E+37", Kind.OVERLOAD),  # SCPI-1999: infinity
        ("9.9E37", Kind.OVERLOAD),
        ("+990000000E+29", Kind.OVERLOAD),
        ("-9.90000000E+37", Kind.NEGATIVE_OVERLOAD),
        ("9.91E37", Kind.NO_READING),  # SCPI-1999: not a number
        ("+9.91000000E+37", Kind.NO_READING),
        ("NAN", Kind.NO_READING),
        ("INF", Kind.OVERLOAD),
        ("1e999", Kind.OVERLOAD),
    ],
)
def test_overload_is_known_by_value_and_not_by_spelling(text, kind):
    assert parse_number(text).kind is kind
    assert parse_number(text).value_si is None


@pytest.mark.parametrize("text", ["", "1.0.0", "+1.0E", "0x10", "10 ohm", "1_000", "ohm", "--1", "1,5"])
def test_what_is_not_one_whole_number_is_refused(text):
    with pytest.raises(ValueError, match="not a number"):
        parse_number(text)


def test_several_numbers_in_one_reply_are_kept_in_order():
    assert [n.value_si for n in parse_numbers("+1.0E+00,+2.0E+00,9.9E37")] == [1.0, 2.0, None]


@pytest.mark.parametrize(
    ("text", "code", "words"),
    [
        ('+0,"No error"', 0, "No error"),
        ('-113,"Undefined header"', -113, "Undefined header"),
        ('-222,"Data out of range;range"', -222, "Data out of range;range"),
        ("0", 0, ""),
    ],
)
def test_error_queue_entries_are_read(text, code, words):
    error = parse_error(text)
    assert (error.code, error.text) == (code, words)


@pytest.mark.parametrize("text", ["+1.04723000E+01", "", "Maker,M1,0,1", "1 2"])
def test_a_reading_is_never_taken_for_an_entry_of_the_error_queue(text):
    with pytest.raises(ValueError, match="not an entry"):
        parse_error(text)


def test_identities_of_four_and_of_fewer_fields_are_read():
    assert parse_identity("Maker,M1,0,1.0-2").serial == ""
    assert parse_identity("Maker,M1,77,1.0,2").firmware == "1.0,2"
    assert parse_identity("HandSet 4").maker == "HandSet 4"


def test_a_configuration_tells_function_range_and_resolution():
    found = parse_configuration('"FRES +1.000000E+02,+1.000000E-04"')
    assert (found.function, found.range_full_scale_si, found.resolution_si) == ("FRES", 100.0, 1e-4)
    assert parse_configuration('"CONT"').range_full_scale_si is None
    assert parse_configuration('"RES 9.9E37,9.9E37"').range_full_scale_si is None


@pytest.mark.parametrize(
    ("one", "other", "same"),
    [
        ("VOLT", "VOLT:DC", True),
        ("RESISTANCE", "RES", True),
        ("RES", "FRES", False),
        ("SENS:RES", '"RES"', True),
    ],
)
def test_functions_are_compared_by_meaning(one, other, same):
    assert same_function(one, other) is same
