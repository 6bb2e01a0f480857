"""A meter or thermometer that sends plain `value unit` lines, by itself or when asked.

Not for SCPI dialogues (`drivers.scpi`) nor for binary frames. The link has no checksum as a rule: a line must
fit the grammar whole, and the first line after joining a stream is thrown away, since half a number is a
number, too.
"""

from __future__ import annotations

import asyncio
import re
from collections.abc import AsyncIterator
from dataclasses import replace
from types import TracebackType
from typing import Annotated, ClassVar, Self

from pydantic import BaseModel, ConfigDict, Field, field_validator

from drivers.errors import FrameGarbled, LinkTimeout, MeterError
from drivers.frame import Decoded, FrameProtocol, FrameRefused, NotMeasured
from drivers.handheld.agreement import Agreement, Rule, Stamped
from drivers.handheld.lines import FLAG_OF, GRAMMAR, QUANTITIES, LineReading, parse_line
from drivers.link.address import PLAIN_LINE
from drivers.link.framing import Framer, LineFramer
from drivers.link.opening import channel_for
from drivers.meter import Capabilities, ClockPair, Held, Identity, Setup
from drivers.reading import Origin, Quantity, Reading

_WRITE_S = 2.0
GARBLED_IN_A_ROW = 20
"""After so many lines that fit nothing the settings are wrong, not the weather; workshop choice."""


class LineMeterOptions(BaseModel):
    """How one meter's lines look.

    Attributes:
        pattern: a regular expression of your own for a whole line, with a group `value` and, where there are
            any, `prefix`, `unit` and `flags`; None takes the built-in format.
        quantity: what lines without a unit mean.
        query: text to send for each reading, line end included; None for a meter that sends
            by itself.
        poll_s: pause between two questions; seconds.
        silence_s: longest pause before the meter counts as silent; seconds.
        encoding: of the lines.
        agreement: "off" trusts each line, as befits USB and TCP, which check bytes below, and lines with
            `*HH`; "near" holds a line back until a neighbour agrees within half a percent or three counts,
            "exact" until one is the same: for long RS-232 lines.
    """

    model_config = ConfigDict(frozen=True, extra="forbid", defer_build=True)

    pattern: str | None = None
    quantity: Quantity | None = None
    query: str | None = None
    poll_s: Annotated[float, Field(ge=0, le=3600)] = 0.5
    silence_s: Annotated[float, Field(gt=0, le=3600)] = 5.0
    encoding: str = "utf-8"
    agreement: Rule = "off"

    @field_validator("pattern")
    @classmethod
    def _is_a_pattern(cls, text: str | None) -> str | None:
        if text is not None:
            try:
                groups = re.compile(text).groupindex
            except re.error as error:
                raise ValueError(f"is not a regular expression: {error}") from error
            if "value" not in groups:
                raise ValueError("needs a group named value, as in (?P<value>...)")
        return text


class LineFormat(FrameProtocol):
    """The grammar as a `FrameProtocol`."""

    name = "lines"
    usual_line = PLAIN_LINE
    quantities = QUANTITIES
    flags_visible = frozenset(FLAG_OF.values())
    verification = "standard"

    def __init__(self, options: LineMeterOptions) -> None:
        self._options = options
        self._pattern = re.compile(options.pattern) if options.pattern else GRAMMAR

    def framer(self) -> Framer:
        """Lines that end in CR, LF or both."""
        return LineFramer()

    def decode(self, frame: bytes) -> Decoded:
        """Decode one line. Raises: FrameRefused, NotMeasured (a comment)."""
        try:
            found = parse_line(frame.decode(self._options.encoding).strip("\r\n"), self._pattern)
        except ValueError as error:
            raise FrameRefused(str(error)) from error
        if found is None:
            raise NotMeasured("a comment or an empty line")
        quantity = found.quantity or self._options.quantity
        if quantity is None:
            raise NotMeasured("the line names no unit, and none is set in the options")
        return decoded_line(found, quantity)


class LineMeter:
    """A meter of plain lines; fulfils `drivers.meter.Meter`. May be entered again after a broken link."""

    Options: ClassVar[type[LineMeterOptions]] = LineMeterOptions
    capabilities: Capabilities = Capabilities(
        quantities=QUANTITIES,
        settable=False,
        streaming=True,
        flags_visible=frozenset(FLAG_OF.values()),
        verification="standard",
    )

    @classmethod
    def decoder(cls, options: LineMeterOptions) -> FrameProtocol:
        """Give the sans-I/O half alone, for `drivers.decode` and the conformance kit."""
        return LineFormat(options)

    def __init__(
        self, *, meter_id: str, address: str, clock: ClockPair, options: LineMeterOptions | None = None
    ) -> None:
        """Make a meter; opens nothing.

        Raises:
            AddressInvalid: the address cannot be understood.
        """
        self.meter_id = meter_id
        self._options = options or LineMeterOptions()
        if self._options.query is not None:
            self.capabilities = replace(type(self).capabilities, streaming=False)
        if self._options.pattern is not None and "flags" not in re.compile(self._options.pattern).groupindex:
            self.capabilities = replace(self.capabilities, flags_visible=frozenset())
        self._pattern = re.compile(self._options.pattern) if self._options.pattern else GRAMMAR
        self._clock = clock
        self._address = address
        self._channel = channel_for(address)
        self._agreement = Agreement(self._options.agreement)
        self._framer = LineFramer(joins_midway=self._options.query is None)
        self._waiting: list[bytes] = []
        self._conversion = 0
        self._generation = 0
        self._seen: Quantity | None = None
        self._garbled = 0

    async def __aenter__(self) -> Self:
        """Open the link. Raises: LinkUnavailable."""
        self._conversion = 0
        self._garbled = 0
        self._seen = None
        await self._channel.open()
        self._forget()
        return self

    async def __aexit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        """Close the link."""
        await self._channel.close()

    def _forget(self) -> None:
        self._framer.reset()
        self._waiting.clear()
        self._agreement.reset()

    async def identity(self) -> Identity:
        """Plain lines name nobody."""
        return Identity()

    async def configure(self, setup: Setup) -> Held:
        """Nothing can be set over the link; says what to turn where the last reading was of another kind.

        Raises:
            LinkLost: the link broke.
        """
        self._generation += 1
        self._waiting.clear()
        self._agreement.forget_waiting()
        if self._seen is None or _alike(self._seen, setup.quantity):
            return Held(setup.quantity)
        wanted = setup.quantity.value.replace("_", " ")
        return Held(self._seen, please_turn=(f"Set the meter to {wanted}.",))

    async def readings(self) -> AsyncIterator[Reading]:
        """Yield one reading per line.

        What arrived while nobody listened is thrown away: its time would be wrong.

        Raises:
            LinkTimeout: silent for longer than `silence_s`.
            LinkLost: the link broke.
            FrameGarbled: line after line fits nothing.
        """
        self._forget()
        self._framer.feed(await self._channel.drain(0))  # what comes next may be the rest of its last line
        while True:
            line = await self._next_line()
            generation = self._generation
            for stamped in self._take(line):
                if generation == self._generation:
                    yield stamped.as_reading(self.meter_id, self.capabilities.flags_visible)

    async def _next_line(self) -> bytes:
        loop = asyncio.get_running_loop()
        if not self._waiting and self._options.query is not None:
            await self._ask(self._options.query)
        until_s = loop.time() + self._options.silence_s
        last = b""
        while not self._waiting:
            try:
                data = await self._channel.read_some(max(until_s - loop.time(), 0.001))
            except LinkTimeout:
                raise self._no_line(last) from None
            last = data
            self._waiting += self._framer.feed(data)
            if not self._waiting and loop.time() >= until_s:
                raise self._no_line(last)
        return self._waiting.pop(0)

    def _no_line(self, last: bytes) -> MeterError:
        silence_s = self._options.silence_s
        if last:
            return FrameGarbled(f"bytes come, but no line in {silence_s:g} s", port=self._address, raw=last)
        return LinkTimeout(f"no line for {silence_s:g} s", port=self._address)

    async def _ask(self, query: str) -> None:
        """Ask for one reading; an answer to a former question, if it came late, is thrown away first."""
        await asyncio.sleep(self._options.poll_s)
        await self._channel.drain(0)
        self._framer.reset()
        await self._channel.write(query.encode(self._options.encoding, "replace"), _WRITE_S)

    def _take(self, line: bytes) -> list[Stamped]:
        try:
            found = parse_line(line.decode(self._options.encoding), self._pattern)
        except ValueError:  # UnicodeDecodeError is one, too
            self._garbled += 1
            if self._garbled >= GARBLED_IN_A_ROW:
                raise FrameGarbled(
                    f"{self._garbled} lines in a row are no readings", port=self._address, raw=line
                ) from None
            return []
        if found is None:
            return []
        self._garbled = 0
        quantity = found.quantity or self._options.quantity or self._seen
        if quantity is None:
            return []  # `OL` before any unit was seen: of what?
        self._seen = quantity
        self._conversion += 1
        return self._agreement.take(
            Stamped(decoded_line(found, quantity), self._conversion, *self._clock(), line)
        )


def decoded_line(found: LineReading, quantity: Quantity) -> Decoded:
    """What a line says, once it is known what of."""
    origin = Origin.INFERRED if found.resolution_si else Origin.UNKNOWN
    return Decoded(quantity, found.kind, found.value_si, found.resolution_si, None, origin, found.flags)


def _alike(seen: Quantity, wanted: Quantity) -> bool:
    """Two- and four-wire ohms look the same on a line."""
    ohms = {Quantity.RESISTANCE, Quantity.RESISTANCE_4W}
    return seen is wanted or (seen in ohms and wanted in ohms)
