"""Laws of the frame decoders: nothing but a reading or a refusal, for whatever bytes."""

from __future__ import annotations

import math

import pytest
from hypothesis import example, given
from hypothesis import strategies as st

from drivers.answers import last_digit, parse_answer
from drivers.frame import FrameRefused
from drivers.handheld.ascii14 import Ascii14
from drivers.handheld.options import TwoLineOptions
from drivers.handheld.parity11 import Parity11
from drivers.handheld.segments14 import Segments14
from drivers.handheld.status14 import Status14
from drivers.handheld.stx16 import Stx16
from drivers.handheld.two_line import TwoLine
from drivers.link.framing import MAX_LINE_BYTES, LineFramer
from drivers.reading import Kind, Quantity
from drivers.scpi.language import parse_number
from tests.tries import tries

PROTOCOLS = [
    Status14(),
    Parity11(),
    Segments14(),
    Stx16(),
    Ascii14(),
    TwoLine(TwoLineOptions()),
    TwoLine(TwoLineOptions(acknowledgement="none")),
    TwoLine(TwoLineOptions(acknowledgement="last", quantity=Quantity.RESISTANCE)),
]
each_protocol = pytest.mark.parametrize(
    "protocol", PROTOCOLS, ids=lambda p: f"{p.name} {getattr(p, 'acknowledgement', '')}"
)

GOOD = {
    "status14": bytes.fromhex("2b 30 31 32 33 20 34 21 00 00 20 00 0d 0a"),
    "parity11": bytes.fromhex("b0 b0 31 32 b3 b3 b0 b0 32 0d 8a"),
    "segments14": bytes.fromhex("13 27 3d 40 55 65 7b 89 9f a0 b0 c4 d0 e0"),
    "stx16": bytes.fromhex("02 34 31 33 38 30 32 30 30 30 30 31 32 33 34 0d"),
    "ascii14": b"OH  12.34 Ohm\r",
}


def frame_like(protocol):
    """Bytes near a good frame, which reach deeper than blind ones."""
    if protocol.name not in GOOD:
        return st.text("0123456789+-.EeOHMVDCNRALSI,=>@\r \x00é", max_size=40).map(lambda text: text.encode())
    good = GOOD[protocol.name]
    changes = st.dictionaries(st.integers(0, len(good) - 1), st.integers(0, 255), max_size=4)
    return changes.map(lambda new: bytes(new.get(at, byte) for at, byte in enumerate(good)))


@each_protocol
@given(data=st.data())
@tries(80)
def test_any_bytes_give_an_honest_reading_or_a_refusal(protocol, data):
    frame = data.draw(st.one_of(st.binary(max_size=24), frame_like(protocol)))
    try:
        found = protocol.decode(frame)
    except FrameRefused:
        return
    assert found.quantity in protocol.quantities
    assert found.flags <= protocol.flags_visible
    assert (found.value_si is not None) == (found.kind is Kind.VALUE)
    assert found.value_si is None or math.isfinite(found.value_si)
    assert found.resolution_si is None or found.resolution_si > 0


@each_protocol
@given(parts=st.lists(st.binary(max_size=40), max_size=12))
@tries(40)
def test_a_framer_does_not_care_how_the_link_cuts(protocol, parts):
    whole, cut = protocol.framer(), protocol.framer()
    stream = b"".join(parts)
    together = whole.feed(stream)
    assert [frame for part in parts for frame in cut.feed(part)] == together
    assert cut.thrown_bytes == whole.thrown_bytes


@each_protocol
@given(noise=st.binary(min_size=1, max_size=64), times=st.integers(50, 200))
@tries(25)
def test_a_framer_never_keeps_more_than_a_bounded_rest(protocol, noise, times):
    framer = protocol.framer()
    fed = kept = 0
    for _ in range(times):
        fed += len(noise)
        kept += sum(map(len, framer.feed(noise)))
    held = fed - kept - framer.thrown_bytes
    assert held <= 2 * MAX_LINE_BYTES + 64 or protocol.name == "two_line"  # which drops the line ends, too


@given(at=st.integers(0, 10), bit=st.integers(0, 7))
def test_no_single_flipped_bit_gets_past_the_parity(at, bit):
    frame = bytearray(GOOD["parity11"])
    frame[at] ^= 1 << bit
    framer = Parity11(parity="odd").framer()
    for found in framer.feed(bytes(frame)):
        with pytest.raises(FrameRefused):
            Parity11(parity="odd").decode(found)


def status14_frame(counts, point, unit, prefix_at, flags=0):
    """An encoder written from the layout, not from the decoder."""
    status = [0x20 | flags, 0, 0, unit]
    if prefix_at is not None:
        status[prefix_at[0]] |= prefix_at[1]
    digits = f"{abs(counts):04d}".encode()
    return (b"-" if counts < 0 else b"+") + digits + b" " + point + bytes(status) + b"\x00\r\n"


@given(
    counts=st.integers(-6000, 6000),
    point=st.sampled_from([(b"0", 0), (b"1", 3), (b"2", 2), (b"4", 1)]),
    prefix=st.sampled_from([(None, 1.0), ((2, 0x20), 1e3), ((2, 0x10), 1e6)]),
)
def test_every_reading_of_the_14_byte_stream_comes_back(counts, point, prefix):
    found = Status14().decode(status14_frame(counts, point[0], 0x20, prefix[0]))
    assert found.quantity is Quantity.RESISTANCE
    assert found.value_si == pytest.approx(counts * prefix[1] / 10 ** point[1], rel=1e-11)
    assert found.resolution_si == pytest.approx(prefix[1] / 10 ** point[1], rel=1e-11)


def parity11_frame(range_code, counts, function, status, option):
    """The same for the 11-byte stream, with odd parity."""
    text = (
        f"{range_code}{counts:04d}".encode()
        + bytes([0x30 | function, 0x30 | status, 0x30, 0x30 | option])
        + b"\r\n"
    )
    return bytes(byte | (0x80 if byte.bit_count() % 2 == 0 else 0) for byte in text)


@given(counts=st.integers(0, 4000), range_code=st.integers(0, 5), minus=st.booleans())
def test_every_reading_of_the_11_byte_stream_comes_back(counts, range_code, minus):
    frame = parity11_frame(range_code, counts, 3, 4 if minus else 0, 2)
    (cut,) = Parity11().framer().feed(frame)
    found = Parity11().decode(cut)
    full_scales = (400.0, 4e3, 40e3, 400e3, 4e6, 40e6)
    assert found.range_full_scale_si == pytest.approx(full_scales[range_code])
    assert found.value_si == pytest.approx((-1 if minus else 1) * counts * full_scales[range_code] / 4000)


@given(counts=st.integers(0, 99_999_999), decimals=st.integers(0, 3), minus=st.booleans())
def test_every_reading_of_the_stx_frame_comes_back(counts, decimals, minus):
    frame = (
        b"\x024138" + (b"1" if minus else b"0") + str(decimals).encode() + f"{counts:08d}".encode() + b"\r"
    )
    (cut,) = Stx16().framer().feed(b"\x00" + frame)
    found = Stx16().decode(cut)
    assert found.value_si == pytest.approx((-1 if minus else 1) * counts / 10**decimals, rel=1e-11)


@given(value=st.decimals(-99999, 99999, places=4), unit=st.sampled_from(["ohm", "V", "C", "Hz"]))
@example(value=0, unit="ohm")
def test_plain_lines_come_back_digit_by_digit(value, unit):
    found = parse_answer(f"{value} {unit}")
    assert found.value_si == float(value)
    assert found.resolution_si == last_digit(str(value))


@given(value=st.floats(-8.9e37, 8.9e37, allow_nan=False).filter(lambda value: not 0 < abs(value) < 1e-300))
def test_scpi_numbers_come_back_exactly(value):
    assert parse_number(f"{value:+.17E}").value_si == value
    assert parse_number(repr(value)).value_si == value


@given(
    lines=st.lists(st.text("abc 123.", min_size=1, max_size=20), max_size=10),
    end=st.sampled_from(["\r", "\n", "\r\n"]),
)
def test_lines_come_back_whatever_ends_them(lines, end):
    stream = "".join(line + end for line in lines).encode()
    assert LineFramer().feed(stream) == [line.encode() for line in lines]
    assert LineFramer(joins_midway=True).feed(stream) == [line.encode() for line in lines[1:]]


def test_a_frequency_fills_the_display_of_four_digits_and_ohms_end_at_4000():
    """Digit codes of a seven-segment picture by hand: 9 is 0x3F, 7 is 0x15, 5 is 0x3E, 0 is 0x7D."""
    digits = "23 3f 41 55 63 7e 87 9d"
    hertz = Segments14().decode(bytes.fromhex(f"13 {digits} a0 b0 c0 d2 e0"))
    assert (hertz.quantity, hertz.value_si) == (Quantity.FREQUENCY, 9750.0)
    with pytest.raises(FrameRefused, match="more counts than the display's 4000"):
        Segments14().decode(bytes.fromhex(f"13 {digits} a0 b0 c4 d0 e0"))
