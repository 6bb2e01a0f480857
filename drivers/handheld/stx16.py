"""The 16-character frame that begins with STX, of thermometers, LCR and panel meters. Sans-I/O.

Source: printed alike in the manuals of many thermometers, hygrometers and multimeters: STX, `4`, display
(1 upper, 2 lower), two characters of unit code, polarity (0 plus, 1 minus), decimals, eight digits, CR. What
they send beyond range is not printed there: a field with few digits counts as no reading. No checksum.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import ClassVar, Literal

from drivers.frame import Decoded, FrameProtocol, FrameRefused, NotMeasured, scaled
from drivers.link.address import SerialLine
from drivers.link.framing import Framer, MarkedFramer
from drivers.reading import Kind, Origin, Quantity

_UNITS: dict[bytes, tuple[Quantity, float]] = {
    b"34": (Quantity.VOLTAGE_DC, 1.0),
    b"50": (Quantity.VOLTAGE_AC, 1.0),
    b"18": (Quantity.VOLTAGE_DC, 1e-3),
    b"49": (Quantity.VOLTAGE_AC, 1e-3),
    b"35": (Quantity.CURRENT_DC, 1e-6),
    b"51": (Quantity.CURRENT_AC, 1e-6),
    b"37": (Quantity.CURRENT_DC, 1e-3),
    b"53": (Quantity.CURRENT_AC, 1e-3),
    b"36": (Quantity.CURRENT_DC, 1.0),
    b"52": (Quantity.CURRENT_AC, 1.0),
    b"38": (Quantity.RESISTANCE, 1.0),
    b"39": (Quantity.RESISTANCE, 1e3),
    b"40": (Quantity.RESISTANCE, 1e6),
    b"46": (Quantity.DIODE, 1.0),
    b"31": (Quantity.FREQUENCY, 1.0),
    b"33": (Quantity.FREQUENCY, 1e3),
    b"67": (Quantity.FREQUENCY, 1e6),
    b"A4": (Quantity.CAPACITANCE, 1e-12),
    b"43": (Quantity.CAPACITANCE, 1e-9),
    b"44": (Quantity.CAPACITANCE, 1e-6),
    b"68": (Quantity.INDUCTANCE, 1e-6),
    b"41": (Quantity.INDUCTANCE, 1e-3),
    b"42": (Quantity.INDUCTANCE, 1.0),
    b"01": (Quantity.TEMPERATURE, 1.0),
    b"02": (Quantity.TEMPERATURE, 5 / 9),  # degrees Fahrenheit
}
_FAHRENHEIT = b"02"
_NO_READING_HERE = {b"04": "relative humidity"}


@dataclass(frozen=True, slots=True)
class Stx16(FrameProtocol):
    """The protocol, see `FrameProtocol`. No signs are sent: HOLD cannot be seen.

    Attributes:
        display: 1 for the upper display, 2 for the lower one; the other is passed over.
        blank_means: what a field with few digits stands for, "no_reading" or "overload".
    """

    display: int = 1
    blank_means: Literal["no_reading", "overload"] = "no_reading"
    name: ClassVar[str] = "stx16"
    frame_bytes: ClassVar[int] = 16
    usual_line: ClassVar[SerialLine] = SerialLine(
        baud=9600, bits=8, parity="N", stop_bits=1, dtr=True, rts=True
    )
    quantities = frozenset(quantity for quantity, _ in _UNITS.values())
    flags_visible = frozenset()
    verification: ClassVar[str] = "datasheet"

    def framer(self) -> Framer:
        """From STX to CR."""
        return MarkedFramer(16, b"\x02", b"\r")

    def decode(self, frame: bytes) -> Decoded:
        """Decode one frame. Raises: FrameRefused, NotMeasured."""
        if len(frame) != 16 or frame[:2] != b"\x024" or frame[15:] != b"\r":
            raise FrameRefused("frame")
        if frame[2] not in b"12" or frame[5] not in b"01" or frame[6] not in b"0123":
            raise FrameRefused("display, polarity or decimals")
        code = frame[3:5]
        if code in _NO_READING_HERE:
            raise NotMeasured(f"the display shows {_NO_READING_HERE[code]}")
        if code not in _UNITS:
            raise FrameRefused("unit code")
        if frame[2] - ord("0") != self.display:
            raise NotMeasured("the other display")
        quantity, scale = _UNITS[code]
        digits = frame[7:15]
        if not digits.isdigit():
            if sum(byte in b"0123456789" for byte in digits) > len(digits) // 2:
                raise FrameRefused(
                    "a digit cannot be read"
                )  # damage; a meter that shows no number shows few digits
            return Decoded(quantity, Kind(self.blank_means), None)
        counts = -int(digits) if frame[5] == ord("1") else int(digits)
        resolution_si = scaled(1, scale / 10 ** (frame[6] - ord("0")))
        value_si = scaled(counts, resolution_si)
        if code == _FAHRENHEIT:
            value_si = round(value_si - 32 * 5 / 9, 6)
        return Decoded(quantity, Kind.VALUE, value_si, resolution_si, None, Origin.INFERRED)
