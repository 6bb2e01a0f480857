"""What every frame decoder gives, and what it is. Sans-I/O; not for timing or links."""

from __future__ import annotations

from abc import ABC, abstractmethod
from collections.abc import Sequence
from dataclasses import dataclass
from typing import ClassVar

from drivers.link.address import SerialLine
from drivers.link.framing import Framer
from drivers.reading import Flag, Kind, Origin, Quantity, Reading

DIAL = frozenset(
    {
        Quantity.RESISTANCE,
        Quantity.CONTINUITY,
        Quantity.DIODE,
        Quantity.VOLTAGE_DC,
        Quantity.VOLTAGE_AC,
        Quantity.CURRENT_DC,
        Quantity.CURRENT_AC,
        Quantity.CAPACITANCE,
        Quantity.FREQUENCY,
        Quantity.TEMPERATURE,
    }
)
"""What the dial of a full-grown hand meter offers."""


@dataclass(frozen=True, slots=True)
class Decoded:
    """What one frame says; fields as in `drivers.reading.Reading`."""

    quantity: Quantity
    kind: Kind
    value_si: float | None
    resolution_si: float | None = None
    range_full_scale_si: float | None = None
    range_origin: Origin = Origin.UNKNOWN
    flags: frozenset[Flag] = frozenset()

    def as_reading(
        self,
        meter_id: str,
        conversion: int,
        at_s: tuple[float, float],
        raw: bytes,
        flags_visible: frozenset[Flag] = frozenset(),
    ) -> Reading:
        """The reading that it is; arguments as in `Reading`, `at_s` monotonic and UTC seconds."""
        return Reading(
            meter_id,
            self.quantity,
            self.kind,
            self.value_si,
            *at_s,
            conversion,
            self.range_full_scale_si,
            self.resolution_si,
            self.range_origin,
            self.flags,
            flags_visible,
            raw,
        )


class FrameRefused(ValueError):
    """The bytes are no frame of this protocol; the text says in a few words why."""


class NotMeasured(FrameRefused):
    """A good frame of something that is no reading here: a blank display, a duty cycle, hFE."""


class FrameProtocol(ABC):
    """One wire protocol of one family of meters, sans-I/O.

    Attributes:
        name: as the driver is called.
        frame_bytes: length of a frame; 0 where it varies. Gives the time a frame spends on the wire.
        usual_line: serial settings where the address leaves them out.
        quantities: what it can carry.
        flags_visible: signs it can carry.
        repeats: how often a frame of one conversion is sent; repeats in a row count once.
        checked: True if a checksum guards each frame, so that no second frame needs to agree.
        verification: capture, datasheet, standard or memory.
    """

    name: ClassVar[str]
    frame_bytes: ClassVar[int] = 0
    usual_line: ClassVar[SerialLine]
    quantities: frozenset[Quantity]
    flags_visible: frozenset[Flag] = frozenset()
    repeats: ClassVar[int] = 1
    checked: ClassVar[bool] = False
    verification: ClassVar[str] = "memory"

    @abstractmethod
    def framer(self) -> Framer:
        """Make a framer for a fresh link."""

    @abstractmethod
    def decode(self, frame: bytes) -> Decoded:
        """Decode one whole frame.

        Raises:
            FrameRefused: it is none; NotMeasured: it is one, but without a reading.
        """


class WholeFramer:
    """Takes every chunk as one frame: for bytes that someone has cut out already."""

    def __init__(self) -> None:
        self.thrown_bytes = 0

    def feed(self, data: bytes) -> list[bytes]:
        """Give the bytes as they are."""
        return [data] if data else []

    def reset(self) -> None:
        """Nothing is kept."""


def decoded_counts(
    quantity: Quantity, counts: int, resolution_si: float, full_counts: int, flags: frozenset[Flag]
) -> Decoded:
    """Make a value from counts and the worth of one, with the range inferred from the display's size.

    Args:
        quantity: what was measured.
        counts: the digits, with sign.
        resolution_si: worth of one count in SI units.
        full_counts: counts of the whole display, e.g. 4000; 0 when unknown.
        flags: signs.
    """
    return Decoded(
        quantity,
        Kind.VALUE,
        scaled(counts, resolution_si),
        resolution_si,
        scaled(full_counts, resolution_si) if full_counts else None,
        Origin.INFERRED,
        flags,
    )


def overloaded(
    quantity: Quantity, kind: Kind, resolution_si: float, full_counts: int, flags: frozenset[Flag]
) -> Decoded:
    """Make an overload, with the range that point and prefix beside it name.

    Args:
        quantity: what was measured.
        kind: OVERLOAD or NEGATIVE_OVERLOAD.
        resolution_si: worth of one count where the point stands.
        full_counts: counts of the whole display; 0 when unknown, or when no point is shown: some meters
            switch it off with the digits, so that it names no range.
        flags: signs.
    """
    if not full_counts:
        return Decoded(quantity, kind, None, flags=flags)
    full_si = scaled(full_counts, resolution_si)
    return Decoded(quantity, kind, None, resolution_si, full_si, Origin.INFERRED, flags)


_SCALE = {"n": 1e-9, "u": 1e-6, "m": 1e-3, "": 1.0, "k": 1e3, "M": 1e6}
_PREFIXES_OF = {"V": "m", "A": "mu", "ohm": "kM", "Hz": "kM", "F": "num"}
_OF_SIGNS = {
    ("V", "ac"): Quantity.VOLTAGE_AC,
    ("V", "dc"): Quantity.VOLTAGE_DC,
    ("V", "diode"): Quantity.DIODE,
    ("A", "ac"): Quantity.CURRENT_AC,
    ("A", "dc"): Quantity.CURRENT_DC,
    ("ohm", "beep"): Quantity.CONTINUITY,
}
_OF_UNIT = {
    "ohm": Quantity.RESISTANCE,
    "Hz": Quantity.FREQUENCY,
    "F": Quantity.CAPACITANCE,
    "degC": Quantity.TEMPERATURE,
    "degF": Quantity.TEMPERATURE,
}


def meaning_of_signs(unit: str, prefixes: Sequence[str], signs: Sequence[str]) -> tuple[Quantity, float]:
    """What the signs around the digits of a display say.

    Args:
        unit: V, A, ohm, Hz, F, degC or degF.
        prefixes: those that are lit.
        signs: those of "ac", "dc", "beep" and "diode" that are lit.

    Returns:
        The quantity, and what one of its unit with this prefix is worth.

    Raises:
        FrameRefused: no display shows these together.
    """
    if len(prefixes) > 1 or not set(prefixes) <= set(_PREFIXES_OF.get(unit, "")):
        raise FrameRefused("prefix and unit do not go together")
    sign = "".join(signs)
    if len(signs) > 1 or (sign == "beep" and unit != "ohm") or (sign == "diode" and unit != "V"):
        raise FrameRefused("signs that contradict each other")
    quantity = _OF_SIGNS.get((unit, sign)) or _OF_UNIT.get(unit)
    if quantity is None:
        raise FrameRefused("neither AC nor DC")
    return quantity, _SCALE["".join(prefixes)]


def scaled(counts: int, resolution_si: float) -> float:
    """Multiply so that 123 counts of 0.1 give the double nearest to 12.3, not 12.300000000000001."""
    return float(f"{counts * resolution_si:.12g}")
