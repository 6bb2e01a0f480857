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
    overloaded,
    scaled,
)
from drivers.link.address import SerialLine
from drivers.link.framing import ExactFramer, Framer
from drivers.reading import Flag, Kind, Quantity

_OVERLOAD = b"?0:?"  # shown as blank, 0, L, blank
_DECIMALS = {0x30: 0, 0x31: 3, 0x32: 2, 0x34: 1, 0x33: 1}  # 33 in place of 34 on some sets
_UNITS = {0x80: "V", 0x40: "A", 0x20: "ohm", 0x10: "hFE", 0x08: "Hz", 0x04: "F", 0x02: "degC", 0x01: "degF"}
_PREFIX_BITS = ((1, 0x02, "n"), (2, 0x80, "u"), (2, 0x40, "m"), (2, 0x20, "k"), (2, 0x10, "M"))
_SCALE = {"n": 1e-9, "u": 1e-6, "m": 1e-3, "": 1.0, "k": 1e3, "M": 1e6}
_PREFIXES_OF = {
    "V": " m",
    "A": " mu",
    "ohm": " kM",
    "Hz": " kM",
    "F": "num",
    "degC": " ",
    "degF": " ",
    "hFE": " ",
}
_FLAG_BITS = (
    (0, 0x20, Flag.AUTO_RANGE),
    (0, 0x04, Flag.RELATIVE),
    (0, 0x02, Flag.HOLD),
    (1, 0x20, Flag.MAXIMUM),
    (1, 0x10, Flag.MINIMUM),
    (1, 0x08, Flag.AUTO_OFF),
    (1, 0x04, Flag.LOW_BATTERY),
)
_AC, _DC, _BEEP, _DIODE, _PERCENT = 0x08, 0x10, 0x08, 0x04, 0x02


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
        unit, prefix = _unit(status)
        decimals = _DECIMALS.get(frame[6])
        if decimals is None:
            raise FrameRefused("impossible decimal point")
        quantity = _quantity(unit, status)
        flags = frozenset(flag for byte, bit, flag in _FLAG_BITS if status[byte] & bit)
        return self._value(
            frame,
            quantity,
            scaled(1, _SCALE[prefix] / 10**decimals),
            flags,
            fahrenheit=unit == "degF",
            pointed=decimals > 0,
        )

    def _value(
        self,
        frame: bytes,
        quantity: Quantity,
        resolution_si: float,
        flags: frozenset[Flag],
        *,
        fahrenheit: bool,
        pointed: bool,
    ) -> Decoded:
        digits = frame[1:5]
        minus = frame[0] == ord("-")
        if digits == _OVERLOAD:
            kind = Kind.NEGATIVE_OVERLOAD if minus else Kind.OVERLOAD
            return overloaded(quantity, kind, resolution_si, self.counts if pointed else 0, flags)
        if not digits.isdigit():
            raise FrameRefused("a digit cannot be read")
        counts = -int(digits) if minus else int(digits)
        if abs(counts) > self.counts:
            raise FrameRefused(f"more counts than the display's {self.counts}")
        if fahrenheit:
            celsius = round((counts * resolution_si - 32) * 5 / 9, 6)
            return Decoded(quantity, Kind.VALUE, celsius, resolution_si * 5 / 9, flags=flags)
        return decoded_counts(quantity, counts, resolution_si, self.counts, flags)


def _unit(status: bytes) -> tuple[str, str]:
    if status[2] & _PERCENT and not status[3]:
        raise NotMeasured("the display shows a duty cycle")
    unit = _UNITS.get(status[3])
    if unit is None:
        raise FrameRefused("not exactly one unit")
    prefixes = [name for byte, bit, name in _PREFIX_BITS if status[byte] & bit]
    if len(prefixes) > 1 or (prefixes or [" "])[0] not in _PREFIXES_OF[unit]:
        raise FrameRefused("prefix and unit do not go together")
    if unit == "hFE":
        raise NotMeasured("the display shows hFE")
    return unit, prefixes[0] if prefixes else ""


def _quantity(unit: str, status: bytes) -> Quantity:
    ac, dc = bool(status[0] & _AC), bool(status[0] & _DC)
    beep, diode = bool(status[2] & _BEEP), bool(status[2] & _DIODE)
    if beep + diode + ac + dc > 1 or (beep and unit != "ohm") or (diode and unit != "V"):
        raise FrameRefused("signs that contradict each other")
    if unit in {"V", "A"} and not diode:
        if ac == dc:
            raise FrameRefused("neither AC nor DC")
        if unit == "V":
            return Quantity.VOLTAGE_AC if ac else Quantity.VOLTAGE_DC
        return Quantity.CURRENT_AC if ac else Quantity.CURRENT_DC
    if diode:
        return Quantity.DIODE
    if unit == "ohm":
        return Quantity.CONTINUITY if beep else Quantity.RESISTANCE
    return {"Hz": Quantity.FREQUENCY, "F": Quantity.CAPACITANCE}.get(unit, Quantity.TEMPERATURE)
