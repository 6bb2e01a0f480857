"""Pasted bytes: decoded, or told why not."""

from __future__ import annotations

import pytest

from drivers.decode import NothingToDecode, bytes_of_hex, decode_bytes
from drivers.errors import DriverUnknown
from drivers.reading import Kind, Quantity
from drivers.registry import OptionsInvalid


@pytest.mark.parametrize("text", ["2b 30 0d", "2B300D", "0x2b, 0x30, 0x0d", "2b:30:0d", " 2b-30|0d\n"])
def test_hexadecimal_is_read_as_people_paste_it(text):
    assert bytes_of_hex(text) == b"+0\r"


@pytest.mark.parametrize("text", ["", "2b 3", "zz", "0x", "2b 3g"])
def test_what_is_not_hexadecimal_is_said_so(text):
    with pytest.raises(NothingToDecode):
        bytes_of_hex(text)


def test_frames_halves_and_noise_are_sorted():
    good = "2b 30 31 32 33 20 34 21 00 00 20 00 0d 0a"
    found = decode_bytes("status14", bytes_of_hex(f"31 0d 0a {good} ff"))
    assert [piece.decoded.value_si for piece in found.pieces] == [12.3]
    assert found.thrown_bytes == 3


def test_a_refusal_says_why():
    found = decode_bytes("status14", bytes_of_hex("2b 30 31 32 33 20 35 20 00 00 20 00 0d 0a"))
    assert (found.pieces[0].refused, found.pieces[0].is_frame) == ("impossible decimal point", False)
    slipped = decode_bytes("parity11", bytes_of_hex("31 32 33 33 30 30 32 0d 0a 30 30"))
    assert slipped.pieces[0].decoded is None
    assert slipped.thrown_bytes == 11


def test_a_frame_without_a_reading_is_a_frame():
    humidity = "02 34 31 30 34 30 31 30 30 30 30 30 35 32 33 0d"
    (piece,) = decode_bytes("stx16", bytes_of_hex(humidity)).pieces
    assert (piece.decoded, piece.is_frame, piece.refused) == (
        None,
        True,
        "the display shows relative humidity",
    )


@pytest.mark.parametrize(
    ("driver", "data", "options", "quantity", "value_si"),
    [
        ("lines", b"23.41 C\n", {}, Quantity.TEMPERATURE, 23.41),
        ("lines", b"23.41 C", {}, Quantity.TEMPERATURE, 23.41),
        ("scpi", b"+1.04723000E+01\n", {}, Quantity.RESISTANCE, 10.4723),
        ("lcr", b"+1.52340E-02,+3.41200E+00,+0\n", {}, Quantity.INDUCTANCE, 0.015234),
        ("two_line", b"10.47 OHM\r", {"acknowledgement": "none"}, Quantity.RESISTANCE, 10.47),
        (
            "modbus",
            bytes.fromhex("01 03 02 00 50 b8 78"),
            {"channels": [{"quantity": "insulation", "address": 8, "form": "u16", "scale": 1000.0}]},
            Quantity.INSULATION,
            80_000.0,
        ),
    ],
)
def test_every_family_decodes(driver, data, options, quantity, value_si):
    (piece,) = decode_bytes(driver, data, options).pieces
    assert (piece.decoded.quantity, piece.decoded.kind) == (quantity, Kind.VALUE)
    assert piece.decoded.value_si == value_si


def test_modbus_says_what_is_wrong_with_an_answer():
    options = {"profile": "float_ohmmeter"}
    (piece,) = decode_bytes("modbus", bytes.fromhex("01 83 02 c0 f1"), options).pieces
    assert piece.refused == "exception 2: it has no register of this address"
    (piece,) = decode_bytes("modbus", bytes.fromhex("01 03 04 41 26 85 1f 7d 5c"), options).pieces
    assert piece.refused == "length or CRC"


def test_wrong_drivers_and_options_are_sentences():
    with pytest.raises(DriverUnknown):
        decode_bytes("nope", b"1")
    with pytest.raises(OptionsInvalid):
        decode_bytes("status14", b"1", {"counts": 3})
    with pytest.raises(NothingToDecode, match="no byte format of its own"):
        decode_bytes("platinum", b"1")


def test_a_set_of_one_letter_says_overload_by_a_word_of_its_own():
    """By a profile's `overload_words`, as for every meter that sends text; without it, what would cure it."""
    frame = b"  -------Mohm\r"
    told = decode_bytes("ascii14", frame, {"overload_words": ["-------"]}).pieces[0]
    assert (told.decoded.quantity, told.decoded.kind) == (Quantity.RESISTANCE, Kind.OVERLOAD)
    assert "overload_words" in decode_bytes("ascii14", frame).pieces[0].refused
