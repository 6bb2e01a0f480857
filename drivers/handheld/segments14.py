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
_SCALE = {"n": 1e-9, "u": 1e-6, "m": 1e-3, "": 1.0, "k": 1e3, "M": 1e6}
_PREFIXES_OF = {"V": " m", "A": " mu", "ohm": " kM", "Hz": " kM", "F": "num", "degC": " "}


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
        signs = _Signs.of([byte & 0x0F for byte in frame], self.celsius_bit)
        quantity = signs.quantity()
        digits = "".join(_digit(frame[at], frame[at + 1]) for at in (1, 3, 5, 7))
        points = [frame[at] & 0x08 for at in (3, 5, 7)]
        if sum(map(bool, points)) > 1:
            raise FrameRefused("two decimal points")
        decimals = next((3 - place for place, lit in enumerate(points) if lit), 0)
        minus = bool(frame[1] & 0x08)
        if digits.replace(" ", "") == "0L":
            kind = Kind.NEGATIVE_OVERLOAD if minus else Kind.OVERLOAD
            resolution_si = scaled(1, _SCALE[signs.prefix] / 10**decimals)
            return overloaded(quantity, kind, resolution_si, self.counts if decimals else 0, signs.flags)
        if not digits.strip():
            raise NotMeasured("the display is blank")
        counts = _number(digits, 9999 if quantity is Quantity.FREQUENCY else 4000)
        resolution_si = scaled(1, _SCALE[signs.prefix] / 10**decimals)
        return decoded_counts(quantity, -counts if minus else counts, resolution_si, self.counts, signs.flags)


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


@dataclass(frozen=True, slots=True)
class _Signs:
    """The signs around the digits."""

    unit: str
    prefix: str
    ac: bool
    dc: bool
    beep: bool
    diode: bool
    flags: frozenset[Flag]

    @staticmethod
    def of(nibbles: list[int], celsius_bit: int | None) -> _Signs:
        first, tenth, eleventh, twelfth, thirteenth, last = (nibbles[at] for at in (0, 9, 10, 11, 12, 13))
        celsius = celsius_bit is not None and bool(last & 1 << celsius_bit)
        units = [
            name
            for lit, name in (
                (twelfth & 8, "F"),
                (twelfth & 4, "ohm"),
                (thirteenth & 8, "A"),
                (thirteenth & 4, "V"),
                (thirteenth & 2, "Hz"),
                (celsius, "degC"),
            )
            if lit
        ]
        prefixes = [
            name
            for lit, name in (
                (tenth & 8, "u"),
                (tenth & 4, "n"),
                (tenth & 2, "k"),
                (eleventh & 8, "m"),
                (eleventh & 2, "M"),
            )
            if lit
        ]
        if not units and eleventh & 4:
            raise NotMeasured("the display shows a duty cycle")
        if len(units) != 1 or len(prefixes) > 1 or (prefixes or [" "])[0] not in _PREFIXES_OF[units[0]]:
            raise FrameRefused("prefix and unit do not go together")
        flags = (
            (twelfth & 1, Flag.HOLD),
            (twelfth & 2, Flag.RELATIVE),
            (first & 2, Flag.AUTO_RANGE),
            (thirteenth & 1, Flag.LOW_BATTERY),
        )
        return _Signs(
            units[0],
            prefixes[0] if prefixes else "",
            bool(first & 8),
            bool(first & 4),
            bool(eleventh & 1),
            bool(tenth & 1),
            frozenset(flag for lit, flag in flags if lit),
        )

    def quantity(self) -> Quantity:
        if self.ac + self.dc + self.beep + self.diode > 1:
            raise FrameRefused("signs that contradict each other")
        if self.diode:
            if self.unit != "V":
                raise FrameRefused("a diode test without volts")
            return Quantity.DIODE
        if self.beep and self.unit != "ohm":
            raise FrameRefused("a continuity test without ohms")
        if self.unit in {"V", "A"}:
            return self._with_coupling()
        if self.ac or self.dc:
            raise FrameRefused("AC or DC without volts or amperes")
        if self.unit == "ohm":
            return Quantity.CONTINUITY if self.beep else Quantity.RESISTANCE
        return {"Hz": Quantity.FREQUENCY, "F": Quantity.CAPACITANCE}.get(self.unit, Quantity.TEMPERATURE)

    def _with_coupling(self) -> Quantity:
        if self.ac == self.dc:
            raise FrameRefused("neither AC nor DC")
        if self.unit == "V":
            return Quantity.VOLTAGE_AC if self.ac else Quantity.VOLTAGE_DC
        return Quantity.CURRENT_AC if self.ac else Quantity.CURRENT_DC
