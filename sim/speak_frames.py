"""Free-running instruments' lines and frames, encoded here and nowhere else.

Each encoder takes what the display shows and gives bytes. Layouts: the chips' data sheets and instrument
manuals as far as they are public; what is from memory says so. Resistance and temperature only. Not for
anything asked by SCPI (see `speak_scpi`).
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

from sim.meter import MeterClass, Shown

PREFIX_AND_DECIMALS = (("", 1), ("k", 3), ("k", 2), ("k", 1), ("M", 3), ("M", 2))
"""Ranges of a four-digit display by index: 600.0, 6.000 k, 60.00 k, 600.0 k, 6.000 M, 60.00 M."""


def temperature_line(celsius: float) -> bytes:
    """A thermometer's plain text line: 23.41 C, carriage return, line feed."""
    return f"{celsius:.2f} C\r\n".encode("ascii")


def _index(shown: Shown) -> int:
    """Which of the decades a range is, counted from the lowest: 200, 400 and 600 ohm are the first."""
    return len(str(int(shown.range.nominal_ohm))) - 3


def _counts(shown: Shown) -> int:
    return round(shown.ohm / shown.range.count_ohm)


def plain_line(shown: Shown) -> bytes:
    """Value and unit as text, e.g. `202.57 ohm`; probes in the air are `OL ohm`."""
    if shown.overload:
        return b"OL ohm\r\n"
    decimals = max(0, len(f"{shown.range.count_ohm:.9f}".rstrip("0").split(".")[1]))
    return f"{shown.ohm:.{decimals}f} ohm\r\n".encode("ascii")


def status14(shown: Shown) -> bytes:
    """14 bytes: sign, four digits, blank, point, four status bytes, bar graph, CR LF.

    Overload is sent as blank 0 L blank, with the blank as 3Fh and the L as 3Ah. 2400 baud 8N1.
    """
    prefix, decimals = PREFIX_AND_DECIMALS[_index(shown)]
    digits = b"\x3f\x30\x3a\x3f" if shown.overload else f"{_counts(shown):04d}".encode("ascii")
    point = {1: b"4", 2: b"2", 3: b"1"}[decimals]
    automatic, bar_on = 0x20 if shown.auto else 0x00, 0x01
    status = bytes(
        [automatic | (0 if shown.overload else bar_on), 0x00, {"": 0x00, "k": 0x20, "M": 0x10}[prefix], 0x20]
    )
    bar = 0 if shown.overload else round(60 * shown.ohm / shown.range.full_scale_ohm)
    return b"+" + digits + b" " + point + status + bytes([bar]) + b"\r\n"


def odd_parity(data: bytes) -> bytes:
    """Seven-bit bytes with their parity bit on top, so that the number of ones is odd."""
    return bytes(byte | (0x80 if byte.bit_count() % 2 == 0 else 0) for byte in data)


def parity11(shown: Shown) -> bytes:
    """11 bytes: range, four digits, function, status, two options, CR LF; 2400 baud, 7 bits, odd parity.

    With the overload bit set the digits read 4000. The block goes out twice for each conversion.
    """
    digits = 4000 if shown.overload else _counts(shown)
    status = 1 if shown.overload else 0
    ohms, automatic = 3, 2 if shown.auto else 0
    nibbles = [_index(shown), *(int(d) for d in f"{digits:04d}"), ohms, status, 0, automatic]
    return odd_parity(bytes(0x30 | nibble for nibble in nibbles) + b"\r\n") * 2


def ascii14(shown: Shown) -> bytes:
    """14 characters in answer to a letter D: function, value, unit, CR; 1200 baud 7N2."""
    prefix, decimals = PREFIX_AND_DECIMALS[_index(shown)]
    unit = f"{prefix}Ohm"
    value = ".OL" if shown.overload else f"{_counts(shown) / 10**decimals:.{decimals}f}"
    return f"OH{value:>7}{unit:>4}\r".encode("ascii")


def stx16(shown: Shown) -> bytes:
    """16 characters, D15 first: STX 4 1, unit, sign, decimals, eight digits, CR; 9600 baud 8N1.

    How such meters send overload is not published; blanks in place of the digits are an assumption.
    """
    prefix, decimals = PREFIX_AND_DECIMALS[_index(shown)]
    digits = " " * 8 if shown.overload else f"{_counts(shown):08d}"
    unit = {"": "38", "k": "39", "M": "40"}[prefix]
    return f"\x0241{unit}0{decimals}{digits}\r".encode("ascii")


@dataclass(frozen=True, slots=True)
class Voice:
    """How a free-running meter speaks.

    Attributes:
        encode: display to bytes.
        counts: of the displays that speak so.
        asked_by: the byte that asks for one display; empty where the meter streams.
    """

    encode: Callable[[Shown], bytes]
    counts: tuple[int, ...] = ()
    asked_by: bytes = b""

    def fits(self, meter: MeterClass) -> bool:
        """Whether a meter can speak so: any free-running one in plain lines, few of one layout."""
        return not meter.nplc and (not self.counts or meter.counts in self.counts)


HAND = (2000, 4000, 6000)
VOICES = {
    "lines": Voice(plain_line),
    "status14": Voice(status14, (6000, 4000)),
    "parity11": Voice(parity11, (4000,)),
    "ascii14": Voice(ascii14, HAND, asked_by=b"D"),
    "stx16": Voice(stx16, HAND),
}


def usual_voice(meter: MeterClass) -> str:
    """What a meter speaks where nobody says."""
    usual = {2000: "ascii14", 4000: "parity11", 6000: "status14"}
    return "scpi" if meter.nplc else usual.get(meter.counts, "lines")
