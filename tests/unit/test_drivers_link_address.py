"""Addresses of bench files."""

from __future__ import annotations

import pytest

from drivers.errors import AddressInvalid
from drivers.link.address import SerialLine, parse_address
from drivers.link.opening import channel_for


def test_each_scheme_is_understood():
    tcp = parse_address("tcp:127.0.0.1:5025")
    assert (tcp.scheme, tcp.target, tcp.port) == ("tcp", "127.0.0.1", 5025)
    assert parse_address("tcp:[::1]:5025").target == "::1"
    port = parse_address("serial:/dev/ttyUSB0?baud=2400&parity=odd&bits=7&stop=2&dtr=on&rts=off")
    assert port.target == "/dev/ttyUSB0"
    assert port.line == SerialLine(2400, 7, "O", 2.0, dtr=True, rts=False)
    assert parse_address("rfc2217:box:4000?baud=1200").line.baud == 1200
    assert parse_address("visa:TCPIP0::127.0.0.1::5025::SOCKET").target == "TCPIP0::127.0.0.1::5025::SOCKET"


@pytest.mark.parametrize(
    ("text", "words"),
    [
        ("/dev/ttyUSB0", "does not begin with"),
        ("tcp:", "names nothing"),
        ("tcp:127.0.0.1", "not HOST:PORT"),
        ("tcp:127.0.0.1:99999", "ports go from 1 to 65535"),
        ("tcp:a:1?baud=9600", "does not take"),
        ("serial:?baud=1", "names no device"),
        ("serial:/dev/x?speed=9600", "unknown setting 'speed'; known are baud"),
        ("serial:/dev/x?baud=fast", "sets baud to 'fast'"),
        ("serial:/dev/x?parity=", "sets parity"),
        ("serial:/dev/x?baud", "not key=value"),
        ("usb:1", "does not begin with"),
        ("visa:USB0::1::2::S::INSTR?adapter=tcp:192.0.2.4:1", "of GPIB, adapter=ADDRESS"),
        ("visa:GPIB0::5::INSTR?speed=1", "of GPIB, adapter=ADDRESS"),
        ("visa:GPIB0::5::INSTR?adapter=visa:GPIB1::5::INSTR", "an adapter is at"),
        ("visa:GPIB0::5::INSTR?adapter=tcp:nowhere", "not HOST:PORT"),
    ],
)
def test_a_wrong_address_is_answered_with_what_is_wrong(text, words):
    with pytest.raises(AddressInvalid) as caught:
        parse_address(text)
    assert words in str(caught.value)


def test_a_gpib_resource_may_stand_behind_an_adapter():
    """The adapter's own address is one of a socket or a port."""
    found = parse_address("visa:GPIB0::22::INSTR?adapter=tcp:192.0.2.4:1234")
    assert (found.target, found.adapter.target, found.adapter.port) == ("GPIB0::22::INSTR", "192.0.2.4", 1234)
    assert parse_address("visa:GPIB0::22::INSTR").adapter is None


def test_what_the_address_leaves_out_comes_from_the_driver():
    line = parse_address("serial:/dev/x?baud=4800").line.filled_from(SerialLine(2400, 7, "O", 1, rts=False))
    assert (line.baud, line.bits, line.rts, line.dtr) == (4800, 7, False, None)


def test_making_a_channel_opens_nothing():
    for address in ("tcp:192.0.2.1:1", "serial:/dev/nothing", "rfc2217:192.0.2.1:1"):
        assert channel_for(address).address == address
