"""An instrument whose readings stand in Modbus registers: insulation testers, milliohm meters, thermometers.

Read-only: an insulation tester puts hundreds of volts on the leads, so a test is started by its own key. Not
for PLCs.
"""

from __future__ import annotations

import asyncio
from collections.abc import AsyncIterator
from dataclasses import replace
from types import TracebackType
from typing import Annotated, ClassVar, Literal, Self

from pydantic import BaseModel, ConfigDict, Field

from drivers.errors import LinkTimeout, MeterRefused
from drivers.frame import Decoded, FrameProtocol, FrameRefused, WholeFramer
from drivers.link.address import SerialLine, parse_address
from drivers.link.framing import Framer
from drivers.link.opening import channel_for
from drivers.meter import Capabilities, ClockPair, Held, Identity, Setup, Unread, untold
from drivers.modbus.exchange import Exchange, Framing, RegisterChannel, decoded_of, registers_of_frame
from drivers.reading import Quantity, Reading

_USUAL_LINE = SerialLine(baud=9600, bits=8, parity="N", stop_bits=1)


class RegisterMeterOptions(BaseModel):
    """How to read one instrument.

    Attributes:
        channels: what stands where; at least one.
        framing: "rtu" or "tcp"; "auto" takes rtu on serial lines and tcp on sockets.
        poll_s: pause between two readings; seconds.
        reply_timeout_s: longest wait for an answer; seconds.
        retries: how often an unanswered question is asked again before the meter counts as silent.
    """

    model_config = ConfigDict(frozen=True, extra="forbid", defer_build=True)

    channels: Annotated[tuple[RegisterChannel, ...], Field(min_length=1)]
    framing: Literal["auto", "rtu", "tcp"] = "auto"
    poll_s: Annotated[float, Field(ge=0, le=3600)] = 0.2
    reply_timeout_s: Annotated[float, Field(gt=0, le=60)] = 0.5
    retries: Annotated[int, Field(ge=0, le=20)] = 2


class RtuAnswers(FrameProtocol):
    """Whole answers of Modbus RTU as a `FrameProtocol`."""

    name = "modbus"
    usual_line = _USUAL_LINE
    checked = True  # CRC-16
    verification = "standard"

    def __init__(self, channel: RegisterChannel) -> None:
        self._channel = channel
        self.quantities = frozenset({channel.quantity})

    def framer(self) -> Framer:
        """One answer at a time: their ends are marked by silence, not by bytes."""
        return WholeFramer()

    def decode(self, frame: bytes) -> Decoded:
        """Decode one answer. Raises: FrameRefused."""
        try:
            return decoded_of(self._channel, registers_of_frame(frame))
        except ValueError as error:
            raise FrameRefused(str(error)) from error


class RegisterMeter:
    """Fulfils `drivers.meter.Meter`. May be entered again after a broken link."""

    Options: ClassVar[type[RegisterMeterOptions]] = RegisterMeterOptions
    capabilities: Capabilities = Capabilities(
        frozenset({Quantity.INSULATION, Quantity.RESISTANCE, Quantity.RESISTANCE_4W, Quantity.TEMPERATURE}),
        settable=True,
        streaming=False,
        verification="standard",
    )

    @classmethod
    def decoder(cls, options: RegisterMeterOptions) -> FrameProtocol:
        """Give the sans-I/O half alone: whole RTU answers, read as the first channel."""
        return RtuAnswers(options.channels[0])

    def __init__(
        self, *, meter_id: str, address: str, clock: ClockPair, options: RegisterMeterOptions
    ) -> None:
        """Make a meter; opens nothing.

        Raises:
            AddressInvalid: the address cannot be understood.
        """
        self.meter_id = meter_id
        self.unread: Unread = untold
        self._address = address
        self._options = options
        self._clock = clock
        self.capabilities = replace(
            type(self).capabilities, quantities=frozenset(channel.quantity for channel in options.channels)
        )
        self._channel = channel_for(address, _USUAL_LINE)
        self._exchange = Exchange(self._channel, _framing(address, options.framing), options.reply_timeout_s)
        self._lock = asyncio.Lock()
        self._chosen = options.channels[0]
        self._conversion = 0
        self._generation = 0

    async def __aenter__(self) -> Self:
        """Open the link. Raises: LinkUnavailable."""
        self._lock = asyncio.Lock()
        self._conversion = 0
        self._exchange.reset()
        await self._channel.open()
        return self

    async def __aexit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        """Close the link."""
        await self._channel.close()

    async def identity(self) -> Identity:
        """Registers name nobody that all instruments agree on."""
        return Identity()

    async def configure(self, setup: Setup) -> Held:
        """Choose the registers to read.

        Raises:
            MeterRefused: no register holds that quantity.
        """
        for channel in self._options.channels:
            if channel.quantity is setup.quantity:
                break
        else:
            raise MeterRefused(
                f"none of its registers holds {setup.quantity.value}",
                port=self._address,
                hint="Add a channel to the meter's options in the bench file.",
            )
        self._generation += 1
        async with self._lock:  # a question under way is answered first
            self._chosen = channel
        return Held(channel.quantity, channel.full_scale_si, channel.worth_si, channel.origin)

    async def readings(self) -> AsyncIterator[Reading]:
        """Yield a reading every `poll_s`.

        Raises:
            LinkTimeout: no answer, `retries` times in a row.
            MeterRefused: the instrument answered with an exception.
            LinkLost: the link broke.
        """
        misses = 0
        while True:
            try:
                async with self._lock:
                    generation, channel = self._generation, self._chosen
                    registers, raw = await self._exchange.read(
                        channel.table, channel.unit_id, channel.address, channel.count
                    )
            except LinkTimeout as error:
                misses += 1
                if error.raw:
                    self.unread(error.raw, error.what)
                if misses > self._options.retries:
                    raise
                continue
            misses = 0
            if generation == self._generation:
                self._conversion += 1
                decoded, at_s = decoded_of(channel, registers), self._clock()
                yield decoded.as_reading(self.meter_id, self._conversion, at_s, raw)
            await asyncio.sleep(self._options.poll_s)


def _framing(address: str, wanted: Literal["auto", "rtu", "tcp"]) -> Framing:
    if wanted != "auto":
        return wanted
    return "tcp" if parse_address(address).scheme == "tcp" else "rtu"
