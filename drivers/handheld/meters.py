"""The hand meters by protocol: what the registry names. Not for anything but putting the parts together."""

from __future__ import annotations

from typing import ClassVar, cast

from drivers.frame import FrameProtocol
from drivers.handheld.ascii14 import Ascii14
from drivers.handheld.hand_meter import HandMeter
from drivers.handheld.lines import LineFormat
from drivers.handheld.options import (
    Ascii14Options,
    HandMeterOptions,
    LineMeterOptions,
    Parity11Options,
    Segments14Options,
    Status14Options,
    Stx16Options,
    TwoLineOptions,
)
from drivers.handheld.parity11 import Parity11
from drivers.handheld.segments14 import Segments14
from drivers.handheld.status14 import Status14
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


class Status14Meter(HandMeter):
    """The 14-byte ASCII-in-binary stream."""

    Options: ClassVar[type[HandMeterOptions]] = Status14Options
    capabilities = _capabilities(Status14())

    @classmethod
    def protocol(cls, options: HandMeterOptions) -> FrameProtocol:
        """Give the protocol for these options."""
        return Status14(counts=cast("Status14Options", options).counts)


class Parity11Meter(HandMeter):
    """The 11-byte stream of range, digits, function and status."""

    Options: ClassVar[type[HandMeterOptions]] = Parity11Options
    capabilities = _capabilities(Parity11())

    @classmethod
    def protocol(cls, options: HandMeterOptions) -> FrameProtocol:
        """Give the protocol for these options."""
        return Parity11(parity=cast("Parity11Options", options).parity)


class Segments14Meter(HandMeter):
    """The 14-byte stream of LCD segments."""

    Options: ClassVar[type[HandMeterOptions]] = Segments14Options
    capabilities = _capabilities(Segments14())

    @classmethod
    def protocol(cls, options: HandMeterOptions) -> FrameProtocol:
        """Give the protocol for these options."""
        return Segments14(celsius_bit=cast("Segments14Options", options).celsius_bit)


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
    capabilities = _capabilities(TwoLine(TwoLineOptions()), streaming=False)

    @classmethod
    def protocol(cls, options: HandMeterOptions) -> FrameProtocol:
        """Give the protocol for these options."""
        return TwoLine(cast("TwoLineOptions", options))

    def _question(self) -> bytes:
        chosen = cast("TwoLineOptions", self._options)
        return (chosen.query or USUAL_QUERY[chosen.acknowledgement]).encode("ascii", "replace")


class LineMeter(HandMeter):
    """A meter or thermometer of plain `value unit` lines, by itself or when asked."""

    Options: ClassVar[type[HandMeterOptions]] = LineMeterOptions
    capabilities = _capabilities(LineFormat(LineMeterOptions()))

    @classmethod
    def protocol(cls, options: HandMeterOptions) -> FrameProtocol:
        """Give the protocol for these options."""
        chosen = cast("LineMeterOptions", options)
        return LineFormat(chosen, joins_midway=not chosen.query)

    @classmethod
    def decoder(cls, options: HandMeterOptions) -> FrameProtocol:
        """Give the sans-I/O half alone: recorded bytes begin with a whole line."""
        return LineFormat(cast("LineMeterOptions", options))

    def _question(self) -> bytes:
        chosen = cast("LineMeterOptions", self._options)
        return chosen.query.encode(chosen.encoding, "replace")
