"""Lines of text by `drivers.answers` as a frame protocol. Sans-I/O; not for frames of bytes."""

from __future__ import annotations

import re

from drivers.answers import QUANTITIES, parse_answer
from drivers.frame import Decoded, FrameProtocol, FrameRefused, NotMeasured
from drivers.handheld.options import LineMeterOptions
from drivers.link.address import PLAIN_LINE
from drivers.link.framing import Framer, LineFramer
from drivers.reading import Flag, Kind, Origin, Quantity


class LineFormat(FrameProtocol):
    """The protocol, see `FrameProtocol`; an overload without a unit is of what was measured last.

    Args:
        options: how its lines look.
        joins_midway: the first line of a fresh link may be half a line, and half a number is a number, too.
    """

    name = "lines"
    usual_line = PLAIN_LINE
    quantities = QUANTITIES
    verification = "standard"

    def __init__(self, options: LineMeterOptions, *, joins_midway: bool = False) -> None:
        self._options = options
        self._joins_midway = joins_midway
        self._pattern = re.compile(options.pattern) if options.pattern else None
        self._seen: Quantity | None = None
        untold = self._pattern is not None and "flags" not in self._pattern.groupindex
        self.flags_visible: frozenset[Flag] = frozenset() if untold else options.flags

    def framer(self) -> Framer:
        """Lines that end in any of the terminators."""
        ends = self._options.terminator.encode(self._options.encoding)
        return LineFramer(ends, joins_midway=self._joins_midway)

    def decode(self, frame: bytes) -> Decoded:
        """Decode one line. Raises: FrameRefused, NotMeasured (a comment, or nothing says of what it is)."""
        options = self._options
        try:
            text = frame.decode(options.encoding).strip(options.terminator)
            found = parse_answer(text, options, self._pattern)
        except ValueError as error:  # UnicodeDecodeError is one, too
            raise FrameRefused(str(error)) from error
        if found is None:
            raise NotMeasured("a comment or an empty line")
        unnamed = None if found.kind is Kind.VALUE else self._seen
        quantity = found.quantity or options.quantity or unnamed
        if quantity is None:
            raise NotMeasured("the line names no unit: state quantity in [meter.options]")
        self._seen = quantity
        origin = Origin.INFERRED if found.resolution_si else Origin.UNKNOWN
        return Decoded(quantity, found.kind, found.value_si, found.resolution_si, None, origin, found.flags)
