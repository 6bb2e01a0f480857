"""Quantities: what is read, what is refused and with which words, and how values are shown."""

from __future__ import annotations

import math

import pytest

from acquire.errors import QuantityInvalid
from acquire.quantity import counted, parse, percent, show, with_uncertainty


@pytest.mark.parametrize(
    ("text", "unit", "value"),
    [
        ("450 ohm", "ohm", 450.0),
        ("450ohm", "ohm", 450.0),
        ("2.2 k\u03a9", "ohm", 2200.0),  # Greek capital omega
        ("2.2 k\u2126", "ohm", 2200.0),  # ohm sign
        ("1.5 mΩ", "ohm", 1.5e-3),
        ("23.4 mohm", "ohm", 23.4e-3),
        ("3 MΩ", "ohm", 3e6),
        ("50 Mohm", "ohm", 50e6),
        ("2 Gohm", "ohm", 2e9),
        ("5 \u00b5\u03a9", "ohm", 5e-6),  # micro sign
        ("5 \u03bcohm", "ohm", 5e-6),  # Greek small mu
        ("5 uohm", "ohm", 5e-6),
        ("1e-3 ohm", "ohm", 1e-3),
        ("  47 ohm ", "ohm", 47.0),
        ("47\u00a0ohm", "ohm", 47.0),  # no-break space, as word processors put it
        ("-0.05 ohm", "ohm", -0.05),
        ("0.5 %", "1", 0.005),
        ("50 ppm", "1", 50e-6),
        ("20 °C", "°C", 20.0),
        ("20 C", "°C", 20.0),
        ("-4.5 °C", "°C", -4.5),
        ("0.5 K", "K", 0.5),
        ("500 V", "V", 500.0),
        ("10 mA", "A", 0.01),
        ("860 mH", "H", 0.86),
        ("220 nF", "F", 220e-9),
        ("50 Hz", "Hz", 50.0),
        ("5 min", "s", 300.0),
        ("8 h", "s", 28800.0),
        ("250 ms", "s", 0.25),
        ("62 mm", "m", 0.062),
        ("250 g", "kg", 0.25),
    ],
)
def test_a_number_with_its_unit_is_read_to_the_nearest_float(text, unit, value):
    assert parse(text, unit) == value


@pytest.mark.parametrize(
    ("text", "unit", "words", "remedy"),
    [
        ("1,5 ohm", "ohm", "comma", "1.5, not 1,5"),
        ("1.000,5 ohm", "ohm", "comma", "1.5, not 1,5"),
        ("nan ohm", "ohm", "not a finite number", "47.5 ohm"),
        ("nan", "ohm", "not a finite number", "47.5 ohm"),
        ("inf Ω", "ohm", "not a finite number", "47.5 ohm"),
        ("-Infinity", "ohm", "not a finite number", "47.5 ohm"),
        ("12 parsnips", "ohm", 'unknown unit "parsnips"', "mohm"),
        ("4k7", "ohm", "letter in place of the decimal point", "4.7 kohm"),
        ("4R7 ohm", "ohm", "letter in place of the decimal point", "4.7 kohm"),
        ("10 Kohm", "ohm", "capital K", "Write kohm"),
        ("10 kΩ 5", "ohm", "text behind its unit", "Nothing may follow"),
        ("10 ohm approx", "ohm", "text behind its unit", "Nothing may follow"),
        ("450", "ohm", "no unit", '"47.5 ohm"'),
        ("5", "1", "no unit", '"5 %"'),
        ("50 ppm", "ohm", "a fraction, not a resistance", '"47.5 ohm"'),
        ("20 K", "°C", "a difference of temperature, not a temperature", '"20 °C"'),
        ("0.5 °C", "K", "a temperature, not a difference of temperature", '"0.5 K"'),
        (".5 ohm", "ohm", "without a digit on both sides", "0.5"),
        ("5. ohm", "ohm", "without a digit on both sides", "0.5"),
        ("1 000 ohm", "ohm", "gap", "without gaps"),
        ("1_000 ohm", "ohm", "gap", "without gaps"),
        ("10 Ohm", "ohm", "unknown unit", 'Did you mean "ohm"?'),
        ("10 ohms", "ohm", "unknown unit", 'Did you mean "ohm"?'),
        ("", "ohm", "empty", '"47.5 ohm"'),
        ("   ", "ohm", "empty", '"47.5 ohm"'),
        ("ohm", "ohm", "not a resistance", '"47.5 ohm"'),
        ("1e400 ohm", "ohm", "too large", "power of ten"),
        ("1e99999 ohm", "ohm", "impossible power", '"47.5 ohm"'),
        ("٤٥ ohm", "ohm", "not a resistance", '"47.5 ohm"'),  # digits, but not ours
        ("9" * 61 + " ohm", "ohm", "too long", '"47.5 ohm"'),
        ("1.5 ohm\n", "ohm", "", ""),
    ],
)
def test_what_could_be_misread_is_refused_with_one_sentence_and_a_remedy(text, unit, words, remedy):
    with pytest.raises(QuantityInvalid) as refused:
        parse(text, unit)
    assert words in refused.value.what
    assert remedy in refused.value.hint
    assert refused.value.what.endswith(".")
    assert "\n" not in str(refused.value)
    assert refused.value.exit_code == 2


def test_milli_and_mega_are_never_guessed_at():
    for text in ("10 MOHM", "10 mOHM", "10 Mohms"):
        with pytest.raises(QuantityInvalid) as refused:
            parse(text, "ohm")
        assert "Did you mean" not in refused.value.hint


def test_a_message_carries_no_control_characters():
    with pytest.raises(QuantityInvalid) as refused:
        parse("5 \x1b[31mohm", "ohm")
    assert str(refused.value).isprintable()


@pytest.mark.parametrize(
    ("value", "unit", "shown"),
    [
        (0.39391, "ohm", "0.3939 ohm"),
        (202.5669, "ohm", "202.6 ohm"),
        (4908.39, "ohm", "4.908 kohm"),
        (50e6, "ohm", "50.00 Mohm"),
        (0.0133, "ohm", "0.01330 ohm"),
        (0.00042, "ohm", "420.0 µohm"),
        (0.00029, "Ω", "290.0 µΩ"),
        (999.96, "ohm", "1.000 kohm"),  # rounding carries into the next prefix
        (-0.05, "Ω", "-0.05000 Ω"),
        (0.0, "ohm", "0.0000 ohm"),
        (0.06, "1", "6.000 %"),
        (0.86, "H", "860.0 mH"),
        (21.54, "°C", "21.54 °C"),
        (math.inf, "ohm", "open"),
        (math.inf, "V", "over range"),
        (math.nan, "ohm", "no number"),
        (1e300, "ohm", "1.000e+300 ohm"),
        (5e-324, "ohm", "4.941e-324 ohm"),
    ],
)
def test_a_value_is_shown_with_four_digits_where_nothing_else_is_known(value, unit, shown):
    assert show(value, unit) == shown


@pytest.mark.parametrize(
    ("value", "uncertainty", "shown"),
    [
        (202.5669, 0.23, "202.57 ohm"),
        (202.5669, 0.0996, "202.57 ohm"),  # 0.0996 is 0.10 to two digits
        (202.5669, 4.0, "202.6 ohm"),
        (0.39391, 0.0042, "0.3939 ohm"),
        (12345.6, 300.0, "12.35 kohm"),
        (0.3, 50.0, "0 ohm"),
        (450.0, 0.0, "450.0 ohm"),  # an uncertainty of nothing says nothing
        (450.0, math.inf, "450.0 ohm"),
    ],
)
def test_an_uncertainty_decides_the_last_digit(value, uncertainty, shown):
    assert show(value, "ohm", uncertainty) == shown


@pytest.mark.parametrize(
    ("value", "resolution", "shown"),
    [
        (20.63, 1.0, "21 ohm"),  # 20.6 ohm on the 2000 ohm range of a 2000-count meter
        (20.63, 0.1, "20.6 ohm"),
        (0.394, 0.01, "0.39 ohm"),
        (-0.0001, 0.01, "0.00 ohm"),
        (4908.0, 10.0, "4.91 kohm"),
    ],
)
def test_a_resolution_decides_the_last_digit(value, resolution, shown):
    """The first line: common practice, no source."""
    assert show(value, "ohm", resolution_si=resolution) == shown


@pytest.mark.parametrize(
    ("ohm", "reach", "told"),
    [
        (202.5687, 0.41, "202.57 ± 0.41 Ω"),  # JCGM 100:2008, 7.2.6: at most two digits
        (0.39391, 0.0041, "0.3939 ± 0.0041 Ω"),
        (4907.9, 12.0, "4.908 ± 0.012 kΩ"),
        (1.2e6, 15_000.0, "1.200 ± 0.015 MΩ"),
        (0.0143, 0.0042, "0.0143 ± 0.0042 Ω"),
        (0.0, 0.0042, "0.0000 ± 0.0042 Ω"),
        (202.5687, None, "202.6 Ω"),
        (202.5687, 0.0, "202.6 Ω"),
        (202.5687, math.inf, "202.6 Ω"),
    ],
)
def test_a_value_and_its_uncertainty_share_unit_and_last_place(ohm, reach, told):
    assert with_uncertainty(ohm, reach) == told


@pytest.mark.parametrize(
    ("count", "words", "said"),
    [
        (0, ("verdict",), "0 verdicts"),
        (1, ("verdict",), "1 verdict"),
        (2, ("verdict",), "2 verdicts"),
        (1, ("entry", "entries"), "1 entry"),
        (3, ("entry", "entries"), "3 entries"),
    ],
)
def test_a_word_fits_its_number(count, words, said):
    """One is one, all others are several."""
    assert counted(count, *words) == said


@pytest.mark.parametrize(
    ("fraction", "text"),
    [(0.0034, "0.34 %"), (0.033, "3.3 %"), (0.153, "15 %"), (1.534, "153 %"), (41.2, "4120 %")],
)
def test_no_percentage_has_a_power_of_ten(fraction, text):
    assert percent(fraction) == text
    assert percent(-fraction, "+") == f"-{text}"
