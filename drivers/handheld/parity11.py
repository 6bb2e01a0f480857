"""The 11-byte stream of 4000-count hand meters: range, digits, function, status, CR LF; odd parity.

Source: layout and codes after the chip maker's 4000-count interface guide as summarised in public
data sheets. Bit order of the status byte is per chip: this is the 4000-count part's. Sans-I/O.

Each byte has 7 bits and odd parity. The parity is checked here: a port set to odd parity does not throw bad
bytes away on every system, so the port is opened with 8 bits and the eighth is looked at. Bytes that come
without it (the port or a converter took it off) are known by their line feed.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import ClassVar, Literal

from drivers.frame import Decoded, FrameProtocol, FrameRefused, NotMeasured, scaled
from drivers.link.address import SerialLine
from drivers.link.framing import ExactFramer, Framer
from drivers.reading import Flag, Kind, Origin, Quantity

Parity = Literal["auto", "odd", "none"]
_FULL_COUNTS = 4000
_LINE_FEED, _LINE_FEED_ODD = 0x0A, 0x8A  # the second is the first with its parity bit
_OHM_SI = (0.1, 1.0, 1e1, 1e2, 1e3, 1e4)
_VOLT_SI = (1e-4, 1e-3, 1e-2, 1e-1, 1.0)
_FARAD_SI = (1e-12, 1e-11, 1e-10, 1e-9, 1e-8, 1e-7)
_HERTZ_SI = (1.0, 1e1, 1e2, 1e3, 1e4, 1e5)
_MILLIAMP_SI = (1e-5, 1e-4)
_MICROAMP_SI = (1e-7, 1e-6)
_JUDGE, _MINUS, _BATTERY, _OVER = 0x08, 0x04, 0x02, 0x01
_DC, _AC, _AUTO, _AUTO_OFF = 0x08, 0x04, 0x02, 0x01  # of the second option byte
_DC_OR_AC = {
    0xB: (Quantity.VOLTAGE_DC, Quantity.VOLTAGE_AC, _VOLT_SI),
    0xD: (Quantity.CURRENT_DC, Quantity.CURRENT_AC, _MICROAMP_SI),
    0x9: (Quantity.CURRENT_DC, Quantity.CURRENT_AC, _MILLIAMP_SI),
    0xF: (Quantity.CURRENT_DC, Quantity.CURRENT_AC, (1e-2,)),  # place of the point from memory
}
_PLAIN = {
    0x3: (Quantity.RESISTANCE, _OHM_SI),
    0x5: (Quantity.CONTINUITY, (0.1,)),
    0x1: (Quantity.DIODE, (1e-3,)),
    0x2: (Quantity.FREQUENCY, _HERTZ_SI),
    0x6: (Quantity.CAPACITANCE, _FARAD_SI),
}


@dataclass(frozen=True, slots=True)
class Parity11(FrameProtocol):
    """The protocol, see `FrameProtocol`.

    HOLD and REL are not sent: a held display cannot be told from a live one.

    Attributes:
        parity: "odd" takes only bytes with right parity, "none" only bytes without it, "auto" goes by the
            line feed of each frame.
    """

    parity: Parity = "auto"
    name: ClassVar[str] = "parity11"
    frame_bytes: ClassVar[int] = 11
    usual_line: ClassVar[SerialLine] = SerialLine(
        baud=2400, bits=8, parity="N", stop_bits=1, dtr=True, rts=False
    )
    quantities = frozenset(
        {quantity for quantity, _ in _PLAIN.values()}
        | {quantity for dc, ac, _ in _DC_OR_AC.values() for quantity in (dc, ac)}
    )
    flags_visible = frozenset({Flag.AUTO_RANGE, Flag.LOW_BATTERY, Flag.AUTO_OFF})
    repeats: ClassVar[int] = 2
    verification: ClassVar[str] = "datasheet"

    def framer(self) -> Framer:
        """Exactly 11 bytes between ends of line, whatever their parity bits."""
        return ExactFramer(11, mask=0x7F)

    def decode(self, frame: bytes) -> Decoded:
        """Decode one frame. Raises: FrameRefused."""
        text = self._without_parity(frame)
        if len(text) != 11 or not text.endswith(b"\r\n"):
            raise FrameRefused("length or end of line")
        if any(byte >> 4 != 3 for byte in text[:9]):
            raise FrameRefused("a byte outside 30 to 3F")
        range_code, *digits, function, status, _, option = (byte & 0x0F for byte in text[:9])
        if any(digit > 9 for digit in digits):
            raise FrameRefused("a digit cannot be read")
        quantity, resolution_si = _meaning(function, range_code, status, option)
        flags = _flags(status, option)
        if status & _OVER:
            kind = Kind.NEGATIVE_OVERLOAD if status & _MINUS else Kind.OVERLOAD
            return Decoded(
                quantity,
                kind,
                None,
                resolution_si,
                scaled(_FULL_COUNTS, resolution_si),
                Origin.READ_BACK,
                flags,
            )
        counts = int("".join(str(digit) for digit in digits))
        if counts > _FULL_COUNTS:
            raise FrameRefused(f"more counts than the display's {_FULL_COUNTS}")
        counts = -counts if status & _MINUS else counts
        return Decoded(
            quantity,
            Kind.VALUE,
            scaled(counts, resolution_si),
            resolution_si,
            scaled(_FULL_COUNTS, resolution_si),
            Origin.READ_BACK,
            flags,
        )

    def _without_parity(self, frame: bytes) -> bytes:
        if not frame:
            raise FrameRefused("empty")
        carries = frame[-1] == _LINE_FEED_ODD if self.parity == "auto" else self.parity == "odd"
        if carries:
            if any(byte.bit_count() % 2 == 0 for byte in frame):
                raise FrameRefused("parity")
            return bytes(byte & 0x7F for byte in frame)
        if frame[-1] != _LINE_FEED or any(byte & 0x80 for byte in frame):
            raise FrameRefused("parity")
        return frame


def _meaning(function: int, range_code: int, status: int, option: int) -> tuple[Quantity, float]:
    ac, dc = bool(option & _AC), bool(option & _DC)
    if function in _DC_OR_AC:
        quantity_dc, quantity_ac, worth = _DC_OR_AC[function]
        if ac == dc:
            raise FrameRefused("neither AC nor DC")
        quantity = quantity_ac if ac else quantity_dc
    elif function in _PLAIN and not (ac or dc):
        quantity, worth = _PLAIN[function]
    else:
        raise FrameRefused("function code")
    if quantity is Quantity.FREQUENCY and not status & _JUDGE:
        raise NotMeasured("the display shows revolutions per minute")
    if range_code >= len(worth):
        raise FrameRefused("function and range code do not go together")
    return quantity, worth[range_code]


def _flags(status: int, option: int) -> frozenset[Flag]:
    signs = (
        (status & _BATTERY, Flag.LOW_BATTERY),
        (option & _AUTO, Flag.AUTO_RANGE),
        (option & _AUTO_OFF, Flag.AUTO_OFF),
    )
    return frozenset(flag for bit, flag in signs if bit)
