"""The hand meters by protocol: what the registry names. Not for anything but putting the parts together."""

from __future__ import annotations

from typing import ClassVar, cast

from drivers.frame import FrameProtocol
from drivers.handheld.ascii14 import Ascii14
from drivers.handheld.hand_meter import HandMeter, capabilities_of
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


class Status14Meter(HandMeter):
    """The 14-byte ASCII-in-binary stream."""

    Options: ClassVar[type[HandMeterOptions]] = Status14Options
    Protocol = Status14
    capabilities = capabilities_of(Status14())


class Parity11Meter(HandMeter):
    """The 11-byte stream of range, digits, function and status."""

    Options: ClassVar[type[HandMeterOptions]] = Parity11Options
    Protocol = Parity11
    capabilities = capabilities_of(Parity11())


class Segments14Meter(HandMeter):
    """The 14-byte stream of LCD segments."""

    Options: ClassVar[type[HandMeterOptions]] = Segments14Options
    Protocol = Segments14
    capabilities = capabilities_of(Segments14())


class Stx16Meter(HandMeter):
    """The 16-character frame that begins with STX."""

    Options: ClassVar[type[HandMeterOptions]] = Stx16Options
    Protocol = Stx16
    capabilities = capabilities_of(Stx16())


class Ascii14Meter(HandMeter):
    """The 14-character answer to one letter."""

    Options: ClassVar[type[HandMeterOptions]] = Ascii14Options
    Protocol = Ascii14
    capabilities = capabilities_of(Ascii14(), streaming=False)


class TwoLineMeter(HandMeter):
    """Questions answered with one or two lines."""

    Options: ClassVar[type[HandMeterOptions]] = TwoLineOptions
    capabilities = capabilities_of(TwoLine(TwoLineOptions()), streaming=False)

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
    capabilities = capabilities_of(LineFormat(LineMeterOptions()))

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
