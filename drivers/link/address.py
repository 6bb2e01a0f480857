"""Link addresses as bench files write them.

    tcp:HOST:PORT                         tcp:127.0.0.1:5025   tcp:[::1]:5025
    serial:/dev/NAME[?baud=9600&bits=8&parity=N&stop=1&dtr=on&rts=off]
    rfc2217:HOST:PORT[?...same line settings]
    visa:RESOURCE                         visa:USB0::0x1234::0x5678::SN1::INSTR
    visa:GPIBn::N::INSTR?adapter=ADDRESS  visa:GPIB0::22::INSTR?adapter=tcp:192.0.2.4:1234
    visa:RESOURCE?backend=LIBRARY         visa:USB0::...::INSTR?backend=/usr/lib/libvisa.so@ivi

Not for opening anything: that is `drivers.link.opening`. Line settings that the address leaves out come from
the driver (each protocol has its own usual ones), then from `PLAIN_LINE`.
"""

from __future__ import annotations

import re
from dataclasses import dataclass, replace
from urllib.parse import parse_qsl

from drivers.errors import AddressInvalid


@dataclass(frozen=True, slots=True)
class SerialLine:
    """Settings of a serial line; None leaves the choice to the next in turn.

    Attributes:
        baud: symbols per second.
        bits: data bits, 5 to 8.
        parity: N none, E even, O odd, M mark, S space.
        stop_bits: 1, 1.5 or 2.
        dtr: level of DTR, set before the port opens (it powers some optical cables).
        rts: level of RTS, likewise.
    """

    baud: int | None = None
    bits: int | None = None
    parity: str | None = None
    stop_bits: float | None = None
    dtr: bool | None = None
    rts: bool | None = None

    def filled_from(self, other: SerialLine) -> SerialLine:
        """Fill the gaps from `other`."""
        return SerialLine(
            baud=self.baud if self.baud is not None else other.baud,
            bits=self.bits if self.bits is not None else other.bits,
            parity=self.parity if self.parity is not None else other.parity,
            stop_bits=self.stop_bits if self.stop_bits is not None else other.stop_bits,
            dtr=self.dtr if self.dtr is not None else other.dtr,
            rts=self.rts if self.rts is not None else other.rts,
        )


PLAIN_LINE = SerialLine(baud=9600, bits=8, parity="N", stop_bits=1, dtr=True, rts=True)
"""The commonest setting of bench meters (workshop choice, backed by most manuals)."""


@dataclass(frozen=True, slots=True)
class Address:
    """A parsed address.

    Attributes:
        text: as written.
        scheme: tcp, serial, rfc2217 or visa.
        target: host, device path or VISA resource.
        port: TCP port, 0 where there is none.
        line: serial settings that were written down.
        adapter: where the "++" adapter is that carries a GPIB resource; None where there is none.
        backend: the VISA library that is to be used, as pyvisa names it; empty for the one in Python.
    """

    text: str
    scheme: str
    target: str
    port: int = 0
    line: SerialLine = SerialLine()
    adapter: Address | None = None
    backend: str = ""


_HOST_PORT = re.compile(r"(?:\[(?P<v6>[0-9A-Fa-f:.%\w]+)\]|(?P<host>[^\s:/?\[\]]+)):(?P<port>\d{1,5})")
_SCHEMES = ("tcp", "serial", "rfc2217", "visa")
_LINE_KEYS = "baud, bits, parity, stop, dtr, rts"


def parse_address(text: str) -> Address:
    """Parse an address.

    Raises:
        AddressInvalid: with one sentence on what is wrong with it.
    """
    scheme, colon, rest = text.strip().partition(":")
    if not colon or scheme not in _SCHEMES:
        raise AddressInvalid(f"{text!r} does not begin with tcp:, serial:, rfc2217: or visa:", port=text)
    if not rest:
        raise AddressInvalid(f"{text!r} names nothing behind {scheme}:", port=text)
    if scheme == "visa":
        return _visa(rest, text)
    target, _, query = rest.partition("?")
    if scheme == "serial":
        if not target:
            raise AddressInvalid(f"{text!r} names no device", port=text)
        return Address(text, scheme, target, line=_line_settings(query, text))
    if scheme == "tcp" and query:
        raise AddressInvalid(f"{text!r} has settings behind '?', which tcp: does not take", port=text)
    host, port = _host_port(target, text)
    return Address(text, scheme, host, port, _line_settings(query, text))


def _visa(rest: str, text: str) -> Address:
    """A VISA resource, behind a "++" adapter where the address says so."""
    target, mark, query = rest.partition("?")
    if not mark:
        return Address(text, "visa", target)
    key, _, where = query.partition("=")
    if key == "backend" and "@" in where:
        return Address(text, "visa", target, backend=where)
    if key != "adapter" or not target.upper().startswith("GPIB"):
        raise AddressInvalid(
            f"{text!r}: behind '?' stands backend=LIBRARY@KIND or, of GPIB, adapter=ADDRESS", port=text
        )
    adapter = parse_address(where)
    if adapter.scheme not in ("tcp", "serial"):
        raise AddressInvalid(f"{text!r}: an adapter is at tcp:HOST:PORT or serial:/dev/NAME", port=text)
    return Address(text, "visa", target, adapter=adapter)


def _host_port(target: str, text: str) -> tuple[str, int]:
    match = _HOST_PORT.fullmatch(target)
    if match is None:
        raise AddressInvalid(f"{text!r} is not HOST:PORT", port=text)
    port = int(match["port"])
    if not 1 <= port <= 65535:
        raise AddressInvalid(f"{text!r} names port {port}, but ports go from 1 to 65535", port=text)
    return match["v6"] or match["host"], port


def _line_settings(query: str, text: str) -> SerialLine:
    line = SerialLine()
    if not query:
        return line
    try:
        pairs = parse_qsl(query, keep_blank_values=True, strict_parsing=True)
    except ValueError as error:
        raise AddressInvalid(f"{text!r} has settings that are not key=value pairs", port=text) from error
    for key, value in pairs:
        line = _with_setting(line, key, value, text)
    return line


def _with_setting(line: SerialLine, key: str, value: str, text: str) -> SerialLine:
    word = value.strip().upper()
    if key == "baud" and word.isdecimal() and 50 <= int(word) <= 4_000_000:
        return replace(line, baud=int(word))
    if key == "bits" and word in {"5", "6", "7", "8"}:
        return replace(line, bits=int(word))
    if key == "parity" and word[:1] in {"N", "E", "O", "M", "S"} and word:
        return replace(line, parity=word[:1])
    if key == "stop" and word in {"1", "1.5", "2"}:
        return replace(line, stop_bits=float(word))
    if key in {"dtr", "rts"} and word in {"ON", "OFF", "1", "0"}:
        level = word in {"ON", "1"}
        return replace(line, dtr=level) if key == "dtr" else replace(line, rts=level)
    if key not in {"baud", "bits", "parity", "stop", "dtr", "rts"}:
        raise AddressInvalid(f"{text!r} has the unknown setting {key!r}; known are {_LINE_KEYS}", port=text)
    raise AddressInvalid(f"{text!r} sets {key} to {value!r}, which is not possible", port=text)
