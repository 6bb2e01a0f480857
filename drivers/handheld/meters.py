"""The hand meters by protocol: what the registry names. Not for anything but putting the parts together."""

from __future__ import annotations

from typing import ClassVar, cast

from drivers.frame import FrameProtocol
from drivers.handheld.ascii14 import Ascii14
from drivers.handheld.es519 import Es519
from drivers.handheld.fs9721 import Fs9721
from drivers.handheld.fs9922 import Fs9922
from drivers.handheld.hand_meter import HandMeter
from drivers.handheld.options import (
    Ascii14Options,
    Es519Options,
    Fs9721Options,
    Fs9922Options,
    HandMeterOptions,
    Stx16Options,
    TwoLineOptions,
)
from drivers.handheld.stx16 import Stx16
from drivers.handheld.two_line import USUAL_QUERY, TwoLine
from drivers.meter import Capabilities


def _capabilities(protocol: FrameProtocol, *, streaming: bool = True) -> Capabilities:
    return Capabilities(
        protocol.quantities,
        settable=False,
        streaming=streaming,
        flags_visible=protocol.flags_visible,
        verification=protocol.verification,
    )


class Fs9922Meter(HandMeter):
    """The 14-byte ASCII-in-binary stream."""

    Options: ClassVar[type[HandMeterOptions]] = Fs9922Options
    capabilities = _capabilities(Fs9922())

    @classmethod
    def protocol(cls, options: HandMeterOptions) -> FrameProtocol:
        """Give the protocol for these options."""
        return Fs9922(counts=cast("Fs9922Options", options).counts)


class Es519Meter(HandMeter):
    """The 11-byte stream of range, digits, function and status."""

    Options: ClassVar[type[HandMeterOptions]] = Es519Options
    capabilities = _capabilities(Es519())

    @classmethod
    def protocol(cls, options: HandMeterOptions) -> FrameProtocol:
        """Give the protocol for these options."""
        return Es519(parity=cast("Es519Options", options).parity)


class Fs9721Meter(HandMeter):
    """The 14-byte stream of LCD segments."""

    Options: ClassVar[type[HandMeterOptions]] = Fs9721Options
    capabilities = _capabilities(Fs9721())

    @classmethod
    def protocol(cls, options: HandMeterOptions) -> FrameProtocol:
        """Give the protocol for these options."""
        return Fs9721(celsius_bit=cast("Fs9721Options", options).celsius_bit)


class Stx16Meter(HandMeter):
    """The 16-character frame that begins with STX."""

    Options: ClassVar[type[HandMeterOptions]] = Stx16Options
    capabilities = _capabilities(Stx16())

    @classmethod
    def protocol(cls, options: HandMeterOptions) -> FrameProtocol:
        """Give the protocol for these options."""
        chosen = cast("Stx16Options", options)
        return Stx16(display=chosen.display, blank_means=chosen.blank_means)


class Ascii14Meter(HandMeter):
    """The 14-character answer to one letter."""

    Options: ClassVar[type[HandMeterOptions]] = Ascii14Options
    capabilities = _capabilities(Ascii14(), streaming=False)

    @classmethod
    def protocol(cls, options: HandMeterOptions) -> FrameProtocol:
        """Give the protocol for these options."""
        return Ascii14(counts=cast("Ascii14Options", options).counts)


class TwoLineMeter(HandMeter):
    """Questions answered with one or two lines."""

    Options: ClassVar[type[HandMeterOptions]] = TwoLineOptions
    capabilities = _capabilities(TwoLine(), streaming=False)

    @classmethod
    def protocol(cls, options: HandMeterOptions) -> FrameProtocol:
        """Give the protocol for these options."""
        chosen = cast("TwoLineOptions", options)
        return TwoLine(acknowledgement=chosen.acknowledgement, quantity=chosen.quantity)

    def _question(self) -> bytes:
        chosen = cast("TwoLineOptions", self._options)
        return (chosen.query or USUAL_QUERY[chosen.acknowledgement]).encode("ascii", "replace")
