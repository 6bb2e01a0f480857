"""Laws of quantities: whatever is shown can be read again; nothing but a quantity is ever read."""

from __future__ import annotations

import math
import re
from decimal import Decimal

from hypothesis import given
from hypothesis import strategies as st

from acquire.errors import QuantityInvalid
from acquire.quantity import KINDS, parse, show

POWERS = {"u": -6, "µ": -6, "m": -3, "": 0, "k": 3, "M": 6, "G": 9}


@given(st.decimals(-(10**9), 10**9, places=6), st.sampled_from(sorted(POWERS)))
def test_a_prefix_only_shifts_the_decimal_point(number, prefix):
    exact = number * Decimal(10) ** POWERS[prefix]
    assert parse(f"{number:f} {prefix}ohm") == float(exact)


@given(st.text(max_size=30), st.sampled_from(sorted(KINDS)))
def test_any_text_is_a_finite_quantity_or_is_refused(text, unit):
    try:
        value = parse(text, unit)
    except QuantityInvalid as error:
        refused = error
    else:
        assert math.isfinite(value)
        assert re.match(r"\s*[+-]?[0-9]", text)
        return
    assert refused.what
    assert refused.hint
    assert "\n" not in str(refused)


@given(st.text("0123456789.,eE+-_ kKmMuµΩohmnaif%°C", max_size=14))
def test_texts_that_look_like_quantities_are_read_whole_or_not_at_all(text):
    try:
        value = parse(text, "ohm")
    except QuantityInvalid:
        return
    number, unit = re.fullmatch(r" *([0-9.eE+-]+?) *(\D*?) *", text).groups()
    power = {"": 0, "k": 3, "m": -3, "M": 6, "u": -6, "µ": -6}[unit.removesuffix("ohm").removesuffix("Ω")]
    assert value == float(Decimal(number) * Decimal(10) ** power)


@given(st.floats(-1e13, 1e13), st.floats(1e-9, 1e9))
def test_a_shown_value_is_within_a_tenth_of_its_uncertainty(value, uncertainty):
    shown = show(value, "ohm", uncertainty)
    again = float(Decimal(shown.split()[0]) * Decimal(10) ** POWERS[shown.split()[1].removesuffix("ohm")])
    assert abs(again - value) <= 0.0501 * uncertainty + 1e-12 * abs(value) + 1e-18


@given(st.floats(1e-9, 9e12), st.sampled_from(["ohm", "V", "H", "Hz", "m", "°C", "s", "1"]))
def test_a_shown_value_can_be_read_again_to_half_its_last_digit(value, unit):
    shown = show(value, unit, digits=5)
    assert math.isclose(parse(shown, unit), value, rel_tol=5.1e-5)
