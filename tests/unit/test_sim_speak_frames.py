"""Frames of the simulated hand meters, against published examples and an independent reading of them."""

from __future__ import annotations

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from sim.meter import Shown, meter_class
from sim.speak_frames import (
    ascii14,
    odd_parity,
    parity11,
    plain_line,
    status14,
    stx16,
    temperature_line,
)


def shown(meter, range_index, counts):
    """A display of a meter: so many counts in a range, or overload for None."""
    found = meter_class(meter).ranges[range_index]
    return Shown(math.inf if counts is None else counts * found.count_ohm, found, 0.0, 1)


def without_parity(data):
    """Seven bits of each byte."""
    return bytes(b & 0x7F for b in data)


def test_published_examples_of_fourteen_characters():
    """`   1.9999Mohm` and `DC-1.9999   V` fix the columns; here ohms of a 2000-count set."""
    assert ascii14(shown("hand-2000", 0, 123)) == b"OH   12.3 Ohm\r"
    assert ascii14(shown("hand-2000", 1, 1234)) == b"OH  1.234kOhm\r"
    assert ascii14(shown("hand-2000", 5, None)) == b"OH    .OLMOhm\r"


def test_fourteen_bytes_of_the_six_thousand_count_chip():
    """Frames worked out by hand from the layout: 012.3 ohm and 4.567 kohm on auto-range, then open leads."""
    low, kilo = status14(shown("hand-6000", 0, 123)), status14(shown("hand-6000", 1, 4567))
    assert low[:11] == bytes.fromhex("2b 30 31 32 33 20 34 21 00 00 20")
    assert kilo[:11] == bytes.fromhex("2b 34 35 36 37 20 31 21 00 20 20")
    assert status14(shown("hand-6000", 5, None)) == bytes.fromhex("2b 3f 30 3a 3f 20 32 20 00 10 20 00 0d 0a")


def test_eleven_bytes_of_the_four_thousand_count_chip_twice_and_with_odd_parity():
    """Frames worked out by hand from the layout; each block is sent twice a conversion."""
    for display, block in (
        (shown("hand-4000", 0, 123), "30 30 31 32 33 33 30 30 32 0d 0a"),
        (shown("hand-4000", 1, 3456), "31 33 34 35 36 33 30 30 32 0d 0a"),
        (shown("hand-4000", 5, None), "35 34 30 30 30 33 31 30 32 0d 0a"),
    ):
        sent = parity11(display)
        assert without_parity(sent) == bytes.fromhex(block) * 2
        assert all(byte.bit_count() % 2 == 1 for byte in sent)


def test_sixteen_characters_printed_in_several_manuals():
    """12.3 ohm, 3.456 kohm, 2.150 Mohm; 23.5 and -5.3 degrees Celsius."""
    assert stx16(shown("hand-4000", 0, 123)) == bytes.fromhex(
        "02 34 31 33 38 30 31 30 30 30 30 30 31 32 33 0d"
    )
    assert stx16(shown("hand-4000", 1, 3456)) == bytes.fromhex(
        "02 34 31 33 39 30 33 30 30 30 30 33 34 35 36 0d"
    )
    assert stx16(shown("hand-4000", 4, 2150)) == bytes.fromhex(
        "02 34 31 34 30 30 33 30 30 30 30 32 31 35 30 0d"
    )


def test_plain_lines_show_as_many_decimals_as_one_count_has():
    """50 000 counts: a hundredth of an ohm in the 500 ohm range."""
    assert plain_line(shown("bench-50000", 0, 20257)) == b"202.57 ohm\r\n"
    assert plain_line(shown("bench-50000", 2, 20257)) == b"20257 ohm\r\n"
    assert plain_line(shown("bench-50000", 5, None)) == b"OL ohm\r\n"
    assert temperature_line(23.414) == b"23.41 C\r\n"


@pytest.mark.parametrize("encode", [ascii14, status14, parity11, stx16, plain_line])
@given(range_index=st.integers(0, 5), counts=st.one_of(st.none(), st.integers(0, 3999)))
def test_every_display_makes_a_frame_of_the_right_length(encode, range_index, counts):
    """14, 14, 22 (twice 11) and 16 bytes."""
    frame = encode(shown("hand-4000", range_index, counts))
    length = {"ascii14": 14, "status14": 14, "parity11": 22, "stx16": 16}.get(encode.__name__, len(frame))
    assert len(frame) == length


@given(range_index=st.integers(0, 5), counts=st.integers(0, 3999))
def test_the_ohms_in_a_fourteen_character_frame_are_those_of_the_display(range_index, counts):
    """Read back here by text alone."""
    display = shown("hand-4000", range_index, counts)
    text = ascii14(display).decode()
    scale = {" ": 1.0, "k": 1e3, "M": 1e6}[text[9]]
    assert float(text[2:9]) * scale == pytest.approx(display.ohm)


@given(st.binary(max_size=30).map(without_parity))
def test_odd_parity_makes_every_byte_odd_and_changes_nothing_else(data):
    """The bit on top is the parity."""
    sent = odd_parity(data)
    assert all(byte.bit_count() % 2 for byte in sent)
    assert without_parity(sent) == data
