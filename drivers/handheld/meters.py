"""The hand meters by protocol: what the registry names. Not for anything but putting the parts together."""

from __future__ import annotations

from typing import cast

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
from drivers.handheld.two_line import TwoLine


class Status14Meter(HandMeter):
    """The 14-byte ASCII-in-binary stream."""

    Options = Status14Options
    Protocol = Status14


class Parity11Meter(HandMeter):
    """The 11-byte stream of range, digits, function and status."""

    Options = Parity11Options
    Protocol = Parity11


class Segments14Meter(HandMeter):
    """The 14-byte stream of LCD segments."""

    Options = Segments14Options
    Protocol = Segments14


class Stx16Meter(HandMeter):
    """The 16-character frame that begins with STX."""

    Options = Stx16Options
    Protocol = Stx16


class Ascii14Meter(HandMeter):
    """The 14-character answer to one letter."""

    Options = Ascii14Options
    Protocol = Ascii14


class TwoLineMeter(HandMeter):
    """Questions answered with one or two lines."""

    Options = TwoLineOptions
    Protocol = TwoLine


class LineMeter(HandMeter):
    """A meter or thermometer of plain `value unit` lines, by itself or when asked."""

    Options = LineMeterOptions
    Protocol = LineFormat

    @classmethod
    def protocol(cls, options: HandMeterOptions) -> FrameProtocol:
        """Give the protocol for these options; a stream is joined midway, an answer is not."""
        chosen = cast("LineMeterOptions", options)
        return LineFormat(chosen, joins_midway=not chosen.query)

    @classmethod
    def decoder(cls, options: HandMeterOptions) -> FrameProtocol:
        """Give the sans-I/O half alone: recorded bytes begin with a whole line."""
        return LineFormat(cast("LineMeterOptions", options))

    def _question(self) -> bytes:
        chosen = cast("LineMeterOptions", self._options)
        return chosen.query.encode(chosen.encoding, "replace")
