"""The 14-character answer of meters that are asked with one letter. Sans-I/O.

Source: two frames printed in the trade press and mailing lists, `DC-1.9999   V<CR>` and `   1.9999Mohm<CR>`;
columns 0-1 function, 2-8 value, 9-12 unit, 13 CR. How overload looks is from memory. No checksum.
"""

from __future__ import annotations

import re
from dataclasses import dataclass
from typing import ClassVar

from drivers.answers import PREFIXES, last_digit
from drivers.frame import Decoded, FrameProtocol, FrameRefused, NotMeasured, scaled
from drivers.link.address import SerialLine
from drivers.link.framing import ExactFramer, Framer
from drivers.reading import Kind, Origin, Quantity

_VALUE = re.compile(r" *[+-]? *(?:\d+\.?\d*|\.\d+)")
_OVER = re.compile(r" *(?P<minus>-)? *[\d.]*O?\.?L[\d.]*")
_UNIT = re.compile(r"(?P<prefix>[pnuµmkKM]?)(?P<unit>V|A|ohm|F|Hz|H|C|%)", re.IGNORECASE)
_BY_UNIT = {
    "ohm": Quantity.RESISTANCE,
    "f": Quantity.CAPACITANCE,
    "hz": Quantity.FREQUENCY,
    "h": Quantity.INDUCTANCE,
    "c": Quantity.TEMPERATURE,
}
_UNITS_OF = {
    "DC": {"v": Quantity.VOLTAGE_DC, "a": Quantity.CURRENT_DC},
    "AC": {"v": Quantity.VOLTAGE_AC, "a": Quantity.CURRENT_AC},
    "DI": {"v": Quantity.DIODE},
    "OH": {"ohm": Quantity.RESISTANCE},
    "CA": {"f": Quantity.CAPACITANCE},
    "FR": {"hz": Quantity.FREQUENCY},
    "TE": {"c": Quantity.TEMPERATURE},  # codespell:ignore te
    "": _BY_UNIT,
}


@dataclass(frozen=True, slots=True)
class Ascii14(FrameProtocol):
    """The protocol, see `FrameProtocol`. No signs are sent: HOLD cannot be seen.

    Attributes:
        counts: of the display, e.g. 2000 or 20000; 0 when unknown.
        overload_words: what stands for "beyond range" besides digits with an L.
    """

    counts: int = 2000
    overload_words: tuple[str, ...] = ()
    name: ClassVar[str] = "ascii14"
    frame_bytes: ClassVar[int] = 14
    usual_line: ClassVar[SerialLine] = SerialLine(
        baud=1200, bits=7, parity="N", stop_bits=2, dtr=True, rts=False
    )
    quantities = frozenset(quantity for units in _UNITS_OF.values() for quantity in units.values())
    flags_visible = frozenset()
    verification: ClassVar[str] = "memory"

    def framer(self) -> Framer:
        """Exactly 14 characters up to CR."""
        return ExactFramer(14, b"\r", mask=0x7F)

    def decode(self, frame: bytes) -> Decoded:
        """Decode one frame. Raises: FrameRefused, NotMeasured."""
        text = bytes(byte & 0x7F for byte in frame).decode("ascii")
        if len(text) != 14 or text[13] != "\r" or "\r" in text[:13]:
            raise FrameRefused("length or CR")
        function, value, unit = text[:2].strip().upper(), text[2:9], text[9:13].strip()
        quantity, scale = _meaning(function, unit)
        over, word = _OVER.fullmatch(value.upper()), value.strip()
        if over is not None or word.upper() in map(str.upper, self.overload_words):
            kind = Kind.NEGATIVE_OVERLOAD if over is not None and over["minus"] else Kind.OVERLOAD
            return Decoded(quantity, kind, None)
        if _VALUE.fullmatch(value) is None:
            raise FrameRefused(
                f"{word!r} is no value: overload_words in [meter.options] would say what it is"
            )
        return self._value(quantity, value.replace(" ", ""), scale)

    def _value(self, quantity: Quantity, number: str, scale: float) -> Decoded:
        digit = last_digit(number)
        counts = round(float(number) / digit)
        resolution_si = scaled(1, digit * scale)
        full = scaled(self.counts, digit * scale) if self.counts and abs(counts) <= self.counts else None
        return Decoded(
            quantity, Kind.VALUE, scaled(counts, digit * scale), resolution_si, full, Origin.INFERRED
        )


def _meaning(function: str, unit: str) -> tuple[Quantity, float]:
    match = _UNIT.fullmatch(unit)
    if match is None:
        raise FrameRefused("unit")
    name, prefix = match["unit"].lower(), match["prefix"]
    if name == "%":
        raise NotMeasured("the display shows a duty cycle")
    if name in {"ohm", "hz"} and prefix == "m":
        prefix = "M"  # no such meter reads milliohms; some write mega with a small letter
    if function not in _UNITS_OF:
        raise FrameRefused("function letters")
    quantity = _UNITS_OF[function].get(name)
    if quantity is None:
        raise FrameRefused("function and unit do not go together")
    return quantity, PREFIXES[prefix] if prefix in PREFIXES else PREFIXES[prefix.lower()]
