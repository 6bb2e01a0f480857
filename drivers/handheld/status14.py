"""The 14-byte stream of hand meters with signs, digits and status bits (4000 and 6000 counts). Sans-I/O.

Source: layout as written up in data sheets of FS9922-DMM3 rev. 1.1 and -DMM4 rev. 1.5; the
page of the serial format was worked from memory, so the self-check is due.
Sign, four ASCII digits, blank, decimal point, four status bytes, bar graph, CR LF; no checksum. Sans-I/O.
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
from drivers.link.framing import ExactFramer, Framer
from drivers.reading import Flag, Kind, Quantity

_OVERLOAD = b"?0:?"  # shown as blank, 0, L, blank
_DECIMALS = {0x30: 0, 0x31: 3, 0x32: 2, 0x34: 1, 0x33: 1}  # 33 in place of 34 on some sets
_UNITS = {0x80: "V", 0x40: "A", 0x20: "ohm", 0x10: "hFE", 0x08: "Hz", 0x04: "F", 0x02: "degC", 0x01: "degF"}
_FAHRENHEIT = 0x01
_PREFIX_BITS = ((1, 0x02, "n"), (2, 0x80, "u"), (2, 0x40, "m"), (2, 0x20, "k"), (2, 0x10, "M"))
_FLAG_BITS = (
    (0, 0x20, Flag.AUTO_RANGE),
    (0, 0x04, Flag.RELATIVE),
    (0, 0x02, Flag.HOLD),
    (1, 0x20, Flag.MAXIMUM),
    (1, 0x10, Flag.MINIMUM),
    (1, 0x08, Flag.AUTO_OFF),
    (1, 0x04, Flag.LOW_BATTERY),
)
_SIGN_BITS = ((0, 0x08, "ac"), (0, 0x10, "dc"), (2, 0x08, "beep"), (2, 0x04, "diode"))
_PERCENT = 0x02


@dataclass(frozen=True, slots=True)
class Status14(FrameProtocol):
    """The protocol, see `FrameProtocol`.

    Attributes:
        counts: of the display: 4000 or 6000.
    """

    counts: int = 6000
    name: ClassVar[str] = "status14"
    frame_bytes: ClassVar[int] = 14
    usual_line: ClassVar[SerialLine] = SerialLine(
        baud=2400, bits=8, parity="N", stop_bits=1, dtr=True, rts=False
    )
    quantities = DIAL
    flags_visible = frozenset(flag for _, _, flag in _FLAG_BITS)
    verification: ClassVar[str] = "memory"

    def framer(self) -> Framer:
        """Exactly 14 bytes between ends of line."""
        return ExactFramer(14)

    def decode(self, frame: bytes) -> Decoded:
        """Decode one frame. Raises: FrameRefused, NotMeasured."""
        if len(frame) != 14 or not frame.endswith(b"\r\n"):
            raise FrameRefused("length or end of line")
        if frame[0] not in b"+-" or frame[5] != 0x20:
            raise FrameRefused("sign or blank out of place")
        status = frame[7:11]
        if status[0] & 0xC0:
            raise FrameRefused("status bits that are always 0 are set")
        decimals = _DECIMALS.get(frame[6])
        if decimals is None:
            raise FrameRefused("impossible decimal point")
        quantity, scale = _meaning(status)
        resolution_si = scaled(1, scale / 10**decimals)
        flags = frozenset(flag for byte, bit, flag in _FLAG_BITS if status[byte] & bit)
        digits, minus = frame[1:5], frame[0] == ord("-")
        if digits == _OVERLOAD:
            kind = Kind.NEGATIVE_OVERLOAD if minus else Kind.OVERLOAD
            return overloaded(quantity, kind, resolution_si, self.counts if decimals else 0, flags)
        if not digits.isdigit():
            raise FrameRefused("a digit is none")
        counts = -int(digits) if minus else int(digits)
        if abs(counts) > self.counts:
            raise FrameRefused(f"more counts than the display's {self.counts}")
        if status[3] == _FAHRENHEIT:
            celsius = round((counts * resolution_si - 32) * 5 / 9, 6)
            return Decoded(quantity, Kind.VALUE, celsius, resolution_si * 5 / 9, flags=flags)
        return decoded_counts(quantity, counts, resolution_si, self.counts, flags)


def _meaning(status: bytes) -> tuple[Quantity, float]:
    if status[2] & _PERCENT and not status[3]:
        raise NotMeasured("the display shows a duty cycle")
    unit = _UNITS.get(status[3])
    if unit is None:
        raise FrameRefused("not exactly one unit")
    prefixes = [name for byte, bit, name in _PREFIX_BITS if status[byte] & bit]
    if unit == "hFE" and not prefixes:
        raise NotMeasured("the display shows hFE")
    signs = [name for byte, bit, name in _SIGN_BITS if status[byte] & bit]
    return meaning_of_signs(unit, prefixes, signs)
