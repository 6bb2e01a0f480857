"""Plain value-unit lines: what they say, and what is refused."""

from __future__ import annotations

import re

import pytest

from drivers.answers import AnswerOptions, last_digit, parse_answer
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
    found = parse_answer(text)
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
    assert parse_answer(text).kind is kind


def test_tags_become_flags():
    assert parse_answer("105.3 ohm HOLD LOWBAT").flags == {Flag.HOLD, Flag.LOW_BATTERY}


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
        parse_answer(text)


@pytest.mark.parametrize("text", ["", "   ", "# rig v3 ready"])
def test_comments_and_empty_lines_are_no_readings_and_no_faults(text):
    assert parse_answer(text) is None


@pytest.mark.parametrize(
    ("text", "worth"), [("23.41", 0.01), ("7", 1.0), ("1.047E-1", 1e-4), ("5.", 1.0), ("-.5", 0.1)]
)
def test_the_last_digit_is_worth_what_it_is_printed_as(text, worth):
    assert last_digit(text) == worth


def test_a_pattern_of_ones_own_may_name_an_unknown_unit_and_is_told_so():
    with pytest.raises(ValueError, match="'R' is no unit"):
        parse_answer("5 R", pattern=re.compile(r"(?P<value>\d+) (?P<unit>R)"))


def said(text, **options):
    return parse_answer(text, AnswerOptions(**options))


def test_words_of_a_meters_own_mean_what_its_profile_says():
    """Dashes for an overload once ended in "baud rate?", and a sign of its own passed as nothing."""
    own = {
        "overload_words": ("------", ">max"),
        "no_reading_words": ("err 3",),
        "flag_words": {"HLD": Flag.HOLD, "bt": Flag.LOW_BATTERY},
    }
    assert said("------", **own).kind is Kind.OVERLOAD
    assert said("->max ohm", **own).kind is Kind.NEGATIVE_OVERLOAD
    assert said("err 3", **own).kind is Kind.NO_READING
    held = said("12.3 ohm HLD bt", **own)
    assert (held.value_si, held.flags) == (12.3, {Flag.HOLD, Flag.LOW_BATTERY})
    for text in ("------", "12.3 ohm HLD", "err 3"):
        with pytest.raises(ValueError, match="overload_words or flag_words"):
            said(text)


@pytest.mark.parametrize("options", [{"field": -1}, {"field": 0}, {"status_field": 0}])
def test_every_field_of_an_answer_must_be_accounted_for(options):
    """`field = -1` of `+2.0E+02,+0` read the status as the value: an earth strap of 0 ohm passed."""
    with pytest.raises(ValueError, match=r"nothing says what field \d of 2 is"):
        said("+2.0E+02,+0", fields=(2,), **options)


def test_a_unit_may_have_a_field_of_its_own():
    assert said("0.2,kOHM", fields=(2,), unit_field=1).value_si == 200.0
    assert said("0.2, V DC", fields=(2,), unit_field=1).quantity is Quantity.VOLTAGE_DC
    with pytest.raises(ValueError, match="no number with a unit known here"):
        said("0.2,SIE", fields=(2,), unit_field=1)


def test_a_status_that_nobody_has_stated_is_refused():
    """`+2.0E+02,+0` with the wrong field read a strap as 0 ohm; a status of "held" passed unseen."""
    own = {
        "fields": (2,),
        "field": 0,
        "status_field": 1,
        "status_good": ("+0", "N"),
        "overload_words": ("+1",),
        "no_reading_words": ("+9",),
        "flag_words": {"H": Flag.HOLD},
    }
    assert said("+2.0E+02,+0", **own).value_si == 200.0
    assert said("+2.0E+02,N H", **own).flags == {Flag.HOLD}
    assert said("+2.0E+02,+1", **own).kind is Kind.OVERLOAD
    assert said("+2.0E+02,+9", **own).kind is Kind.NO_READING
    with pytest.raises(ValueError, match=r"'\+3', which is not among status_good"):
        said("+2.0E+02,+3", **own)
    with pytest.raises(ValueError, match="1 fields instead of 2"):
        said("+2.0E+02", **own)


def test_a_decimal_comma_is_stated_and_never_guessed():
    own = {"decimal": ",", "separator": ";"}
    assert said("204,4 ohm", **own).value_si == 204.4
    for text in ("204.4 ohm", "1,204,4 ohm", "204,4;3"):
        with pytest.raises(ValueError):
            said(text, **own)
    with pytest.raises(ValueError):
        said("204,4 ohm")
    with pytest.raises(ValueError, match="the same"):
        AnswerOptions(decimal=",")


@pytest.mark.parametrize(
    ("text", "kind"),
    [
        ("9.9E37", Kind.OVERLOAD),
        ("1.00000001e30", Kind.OVERLOAD),
        ("-1.2e9 ohm", Kind.NEGATIVE_OVERLOAD),
        ("65535", Kind.NO_READING),
        ("65534", Kind.VALUE),
    ],
)
def test_numbers_that_stand_for_something_else_are_met_to_the_precision_of_a_float(text, kind):
    own = {"overload_values": (1e30,), "no_reading_values": (65535.0,), "overload_at_si": 1e9}
    assert said(text, **own).kind is kind


def test_a_sign_in_the_pattern_of_ones_own_that_nobody_knows_is_refused():
    pattern = re.compile(r"(?P<value>[\d.]+)\s*(?P<flags>\w*)")
    assert parse_answer("12.5 HOLD", pattern=pattern).flags == {Flag.HOLD}
    with pytest.raises(ValueError, match="'PK' is no sign known here"):
        parse_answer("12.5 PK", pattern=pattern)


@pytest.mark.parametrize(
    "text", ["\uff11\uff12 ohm", "\u0663 ohm", "1e-400 ohm", f"1.{'0' * 400}1 ohm", "1e0009999 ohm"]
)
def test_what_no_meter_writes_as_a_number_is_none(text):
    """Digits of other scripts out of a damaged line; more decimals than a float holds, which would read 0."""
    with pytest.raises(ValueError, match="no number"):
        parse_answer(text)
