"""The 14-byte stream of LCD segments of 4000-count hand meters. Sans-I/O.

Source: layout from memory of the FS9721-LP3 data sheet, so the self-check is due; the digit codes were
checked against the geometry of a seven-segment digit, of which they are a picture. The high nibble of each
byte counts 1 to 14, the low nibble holds four segments; nothing else guards a frame.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import ClassVar

from drivers.frame import (
    DIAL,
    Decoded,
    FrameProtocol,
    FrameRefused,
    NotMeasured,
    decoded_counts,
    meaning_of_signs,
    overloaded,
    scaled,
)
from drivers.link.address import SerialLine
from drivers.link.framing import CountedFramer, Framer
from drivers.reading import Flag, Kind, Quantity

_SEGMENT_BITS = {"A": 0x10, "B": 0x01, "C": 0x04, "D": 0x08, "E": 0x40, "F": 0x20, "G": 0x02}
_LIT = {
    "0": "ABCDEF",
    "1": "BC",
    "2": "ABDEG",
    "3": "ABCDG",
    "4": "BCFG",
    "5": "ACDFG",
    "6": "ACDEFG",
    "7": "ABC",
    "8": "ABCDEFG",
    "9": "ABCDFG",
    "L": "DEF",
    " ": "",
}
_SHOWN = {sum(_SEGMENT_BITS[segment] for segment in lit): shown for shown, lit in _LIT.items()}
_UNIT_BITS = ((11, 8, "F"), (11, 4, "ohm"), (12, 8, "A"), (12, 4, "V"), (12, 2, "Hz"))
_PREFIX_BITS = ((9, 8, "u"), (9, 4, "n"), (9, 2, "k"), (10, 8, "m"), (10, 2, "M"))
_SIGN_BITS = ((0, 8, "ac"), (0, 4, "dc"), (10, 1, "beep"), (9, 1, "diode"))
_FLAG_BITS = ((11, 1, Flag.HOLD), (11, 2, Flag.RELATIVE), (0, 2, Flag.AUTO_RANGE), (12, 1, Flag.LOW_BATTERY))
"""Place of the byte, its bit, and the sign that it lights."""


@dataclass(frozen=True, slots=True)
class Segments14(FrameProtocol):
    """The protocol, see `FrameProtocol`.

    Attributes:
        celsius_bit: which user bit (0 to 3) of the last byte lights the degree sign; None for meters without
            a thermometer.
    """

    celsius_bit: int | None = None
    counts: int = 4000
    name: ClassVar[str] = "segments14"
    frame_bytes: ClassVar[int] = 14
    usual_line: ClassVar[SerialLine] = SerialLine(
        baud=2400, bits=8, parity="N", stop_bits=1, dtr=True, rts=False
    )
    quantities = DIAL
    flags_visible = frozenset({Flag.HOLD, Flag.RELATIVE, Flag.AUTO_RANGE, Flag.LOW_BATTERY})
    verification: ClassVar[str] = "memory"

    def framer(self) -> Framer:
        """Fourteen bytes that count themselves."""
        return CountedFramer(14)

    def decode(self, frame: bytes) -> Decoded:
        """Decode one frame. Raises: FrameRefused, NotMeasured."""
        if len(frame) != 14 or any(byte >> 4 != place for place, byte in enumerate(frame, 1)):
            raise FrameRefused("bytes out of place")
        nibbles = [byte & 0x0F for byte in frame]
        quantity, scale = self._meaning(nibbles)
        flags = frozenset(flag for at, bit, flag in _FLAG_BITS if nibbles[at] & bit)
        digits = "".join(_digit(frame[at], frame[at + 1]) for at in (1, 3, 5, 7))
        points = [frame[at] & 0x08 for at in (3, 5, 7)]
        if sum(map(bool, points)) > 1:
            raise FrameRefused("two decimal points")
        decimals = next((3 - place for place, lit in enumerate(points) if lit), 0)
        resolution_si = scaled(1, scale / 10**decimals)
        minus = bool(frame[1] & 0x08)
        if digits.replace(" ", "") == "0L":
            kind = Kind.NEGATIVE_OVERLOAD if minus else Kind.OVERLOAD
            return overloaded(quantity, kind, resolution_si, self.counts if decimals else 0, flags)
        if not digits.strip():
            raise NotMeasured("the display is blank")
        counts = _number(digits, 9999 if quantity is Quantity.FREQUENCY else 4000)
        return decoded_counts(quantity, -counts if minus else counts, resolution_si, self.counts, flags)

    def _meaning(self, nibbles: list[int]) -> tuple[Quantity, float]:
        units = [unit for at, bit, unit in _UNIT_BITS if nibbles[at] & bit]
        if self.celsius_bit is not None and nibbles[13] & 1 << self.celsius_bit:
            units.append("degC")
        if not units and nibbles[10] & 4:
            raise NotMeasured("the display shows a duty cycle")
        if len(units) != 1:
            raise FrameRefused("not exactly one unit")
        signs = [sign for at, bit, sign in _SIGN_BITS if nibbles[at] & bit]
        if not {"ac", "dc"}.isdisjoint(signs) and units[0] not in ("V", "A"):
            raise FrameRefused("AC or DC without volts or amperes")
        prefixes = [prefix for at, bit, prefix in _PREFIX_BITS if nibbles[at] & bit]
        return meaning_of_signs(units[0], prefixes, signs)


def _digit(high: int, low: int) -> str:
    shown = _SHOWN.get((high & 0x07) << 4 | (low & 0x0F))
    if shown is None:
        raise FrameRefused("segments that form no digit")
    return shown


def _number(digits: str, most: int) -> int:
    """A frequency counter fills the display, whatever the converter behind the ohms can count."""
    text = digits.lstrip(" ")
    if not text.isdecimal():
        raise FrameRefused("the display shows no number")
    if int(text) > most:
        raise FrameRefused(f"more counts than the display's {most}")
    return int(text)
