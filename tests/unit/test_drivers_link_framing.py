"""Framers: whole frames out of whatever comes."""

from __future__ import annotations

import pytest

from drivers.link.framing import MAX_LINE_BYTES, CountedFramer, ExactFramer, LineFramer, MarkedFramer


def by_bytes(framer, data):
    return [frame for byte in data for frame in framer.feed(bytes([byte]))]


def test_lines_are_cut_at_either_end_and_empty_ones_dropped():
    assert LineFramer().feed(b"one\r\ntwo\n\rthree\rfo") == [b"one", b"two", b"three"]


def test_a_stream_joined_midway_loses_its_first_line_until_reset_again():
    framer = LineFramer(joins_midway=True)
    assert framer.feed(b".41 C\r\n23.42 C\r\n") == [b"23.42 C"]
    framer.reset()
    assert framer.feed(b".43 C\r\n23.44 C\r\n") == [b"23.44 C"]


def test_a_line_without_end_is_thrown_away_whole():
    framer = LineFramer()
    assert framer.feed(b"9" * (3 * MAX_LINE_BYTES) + b"1.5 ohm\n2.5 ohm\n") == [b"2.5 ohm"]
    assert framer.thrown_bytes == 3 * MAX_LINE_BYTES + 7


@pytest.mark.parametrize("feed", [lambda f, d: f.feed(d), by_bytes], ids=["at once", "byte by byte"])
def test_only_lines_of_the_exact_length_are_frames(feed):
    framer = ExactFramer(5)
    assert feed(framer, b"abc\r\n" + b"ab\r\n" + b"abcd\r\n" + b"xyz\r\n") == [b"abc\r\n", b"xyz\r\n"]
    assert framer.thrown_bytes == 10


@pytest.mark.parametrize("extra", range(1, 12))
def test_the_tail_of_an_overlong_line_is_never_taken_for_a_frame(extra):
    framer = ExactFramer(5)
    assert by_bytes(framer, b"x" * extra + b"abc\r\n" + b"xyz\r\n") == [b"xyz\r\n"]


def test_parity_bits_do_not_hide_an_end_of_line():
    assert ExactFramer(3, mask=0x7F).feed(b"\xb0\x0d\x8a") == [b"\xb0\x0d\x8a"]


def test_a_false_start_costs_only_itself():
    framer = MarkedFramer(4, b"\x02", b"\r")
    assert framer.feed(b"\x02x\x02ab\r") == [b"\x02ab\r"]
    assert framer.feed(b"\x02abc\x02cd\r") == [b"\x02cd\r"]


def test_bytes_that_count_themselves_find_their_place_again():
    framer = CountedFramer(3)
    assert framer.feed(bytes.fromhex("21 3f 11 2a 3b 11 2a 11 22 33")) == [
        bytes.fromhex("11 2a 3b"),
        bytes.fromhex("11 22 33"),
    ]
