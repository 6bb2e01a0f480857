"""A hand meter on any link: framer and decoder in front, readings out. Streaming and polled look alike.

The operator turns its dial, so `configure` watches where it stands and says what to turn. Not for meters
whose function can be set over the link (`drivers.scpi`).
"""

from __future__ import annotations

import asyncio
import contextlib
from collections.abc import AsyncIterator
from inspect import signature
from types import TracebackType
from typing import ClassVar, Self

from drivers.errors import FrameGarbled, LinkTimeout, MeterError
from drivers.frame import Decoded, FrameProtocol, FrameRefused, NotMeasured
from drivers.handheld.dial import what_to_turn
from drivers.handheld.options import Agreement, HandMeterOptions, PolledOptions
from drivers.link.address import parse_address
from drivers.link.opening import channel_for
from drivers.meter import Capabilities, ClockPair, Held, Identity, Setup, Unread, untold
from drivers.reading import Flag, Reading

_WRITE_S = 2.0
REPEAT_WITHIN_S = 0.12
"""Two frames of one conversion follow each other within twice a frame's 46 ms on the wire."""
RECENT_S = 0.7
"""A frame this young still tells where the dial stands; workshop choice."""
GARBLED_IN_A_ROW = 20
_HINT_AUTO_OFF = "It may have switched itself off: switch it on, and its auto power off out if it can."
_HINT_READABLE = "`steadyohm meter-says` shows all that comes and what is made of it."
_HINT_BATTERY = "Its battery was low: put in a new one."
_GARBLED_BYTES = 600  # of nothing but rubbish: more than 40 frames of any protocol here
_BITS_PER_BYTE = 10.0


def capabilities_of(protocol: FrameProtocol, *, streaming: bool = True) -> Capabilities:
    """What a meter can do whose frames these are."""
    return Capabilities(
        protocol.quantities,
        settable=False,
        streaming=streaming,
        flags_visible=protocol.flags_visible,
        verification=protocol.verification,
    )


class HandMeter:
    """Fulfils `drivers.meter.Meter` for one frame protocol; subclasses name it. May be entered again."""

    Options: ClassVar[type[HandMeterOptions]] = HandMeterOptions
    Protocol: ClassVar[type[FrameProtocol]]
    capabilities: Capabilities

    def __init_subclass__(cls) -> None:
        """What it can do follows from its protocol, as its options are by themselves."""
        if "capabilities" not in vars(cls):
            usual = cls.Options()
            asked = isinstance(usual, PolledOptions) and bool(usual.query)
            cls.capabilities = capabilities_of(cls.protocol(usual), streaming=not asked)

    @classmethod
    def protocol(cls, options: HandMeterOptions) -> FrameProtocol:
        """Give the protocol that the options ask for: parameters of theirs by the same names, or all."""
        given = {**dict(options), "options": options}
        named = signature(cls.Protocol).parameters.keys() & given.keys()
        return cls.Protocol(**{name: given[name] for name in named})

    @classmethod
    def decoder(cls, options: HandMeterOptions) -> FrameProtocol:
        """Give the sans-I/O half alone, for `drivers.decode` and the conformance kit."""
        return cls.protocol(options)

    def __init__(
        self, *, meter_id: str, address: str, clock: ClockPair, options: HandMeterOptions | None = None
    ) -> None:
        """Make a meter; opens nothing.

        Raises:
            AddressInvalid: the address cannot be understood.
        """
        self.meter_id = meter_id
        self._options = options or self.Options()
        self._protocol = self.protocol(self._options)
        self._query = self._question()
        self.capabilities = capabilities_of(self._protocol, streaming=not self._query)
        self._clock = clock
        self._address = address
        self._channel = channel_for(address, self._protocol.usual_line, alone=bool(self._query))
        self.unread: Unread = untold
        self._air_s = _air_s(self._protocol, address)
        self._agreement = Agreement("off" if self._protocol.checked else self._options.agreement)
        self._generation = 0
        self._begin()

    def _begin(self) -> None:
        self._protocol = self.protocol(self._options)
        self._framer = self._protocol.framer()
        self._last = b""
        self._conversion = 0
        self._former: Reading | None = None
        self._repeated = 1
        self._refused = 0
        self._thrown_at_refusal = 0
        self._seen: Decoded | None = None
        self._seen_at_s = float("-inf")
        self._awaiting = False
        self._news = asyncio.Event()

    def _question(self) -> bytes:
        options = self._options
        return options.query.encode("ascii", "replace") if isinstance(options, PolledOptions) else b""

    async def __aenter__(self) -> Self:
        """Open the link. Raises: LinkUnavailable."""
        self._begin()
        self._agreement.reset()
        await self._channel.open()
        return self

    async def __aexit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        """Close the link."""
        await self._channel.close()

    async def identity(self) -> Identity:
        """These protocols name nobody."""
        return Identity()

    async def configure(self, setup: Setup) -> Held:
        """Watch where the dial stands and say what is to be turned, if anything.

        Raises:
            LinkLost: the link broke.
        """
        self._generation += 1
        self._agreement.forget_waiting()
        seen = await self._look()
        return what_to_turn(setup, seen, self.capabilities.quantities)

    async def _look(self) -> Decoded | None:
        """Give what a fresh frame says, or None if none comes in time."""
        loop = asyncio.get_running_loop()
        if loop.time() - self._seen_at_s <= RECENT_S:
            return self._seen
        self._seen = None
        if self._awaiting:  # another task iterates `readings`; its next frame is seen for us
            self._news.clear()
            with contextlib.suppress(TimeoutError):
                async with asyncio.timeout(self._options.look_s):
                    await self._news.wait()
            return self._seen
        until_s = loop.time() + self._options.look_s
        await self._start_listening()
        while self._seen is None and loop.time() < until_s:
            try:
                for frame in await self._next_frames(until_s - loop.time()):
                    self._decode(frame)
            except LinkTimeout:
                break
        return self._seen

    async def _start_listening(self) -> None:
        """Throw away what arrived while nobody listened: its time would be wrong."""
        self._framer.reset()
        self._framer.feed(await self._channel.drain(0))
        self._agreement.reset()

    async def readings(self) -> AsyncIterator[Reading]:
        """Yield one reading per conversion.

        Raises:
            LinkTimeout: silent for longer than `silence_s`.
            LinkLost: the link broke.
            FrameGarbled: bytes come, but frame after frame is none.
        """
        await self._start_listening()
        while True:
            self._awaiting = True
            try:
                frames = await self._next_frames(self._options.silence_s)
            finally:
                self._awaiting = False
            generation = self._generation
            for reading in [reading for frame in frames for reading in self._take(frame)]:
                if generation == self._generation:
                    yield reading

    async def _next_frames(self, silence_s: float) -> list[bytes]:
        """Give at least one frame. Raises: LinkTimeout, LinkLost, FrameGarbled."""
        loop = asyncio.get_running_loop()
        until_s = loop.time() + silence_s
        while True:
            if self._query:
                await self._ask(self._query)
            try:
                return await self._frames_until(min(until_s, loop.time() + self._wait_s()))
            except LinkTimeout:
                if loop.time() >= until_s - 0.001 or not self._query:
                    raise self._silent(silence_s) from None

    def _silent(self, silence_s: float) -> MeterError:
        if last := self._last:
            self._last = b""
            what = f"bytes come, but no frame of {self._protocol.name} in {silence_s:g} s"
            return FrameGarbled(what, port=self._address, raw=last)
        seen = self._seen.flags if self._seen is not None else frozenset()
        hint = _HINT_BATTERY if Flag.LOW_BATTERY in seen else _HINT_AUTO_OFF if Flag.AUTO_OFF in seen else ""
        return LinkTimeout(f"no frame for {silence_s:g} s", port=self._address, hint=hint)

    def _wait_s(self) -> float:
        options = self._options
        return options.reply_timeout_s if isinstance(options, PolledOptions) and self._query else float("inf")

    async def _frames_until(self, until_s: float) -> list[bytes]:
        loop = asyncio.get_running_loop()
        while True:
            left_s = until_s - loop.time()
            if left_s <= 0:
                raise LinkTimeout("no frame", port=self._address)
            data, thrown = await self._channel.read_some(left_s), self._framer.thrown_bytes
            frames = self._framer.feed(data)
            if self._framer.thrown_bytes > thrown and self._conversion:  # a stream is joined midway
                self.unread(data, f"bytes that belong to no frame of {self._protocol.name}")
            if frames:
                self._last = b""
                return frames
            self._last = data
            self._complain_if_rubbish(data)

    async def _ask(self, query: bytes) -> None:
        """Ask for one frame; the answer to a former question, if it came late, is thrown away first."""
        options = self._options
        if isinstance(options, PolledOptions) and options.poll_s:
            await asyncio.sleep(options.poll_s)
        await self._channel.drain(0)
        self._framer.reset()
        await self._channel.write(query, _WRITE_S)

    def _decode(self, frame: bytes) -> Decoded | None:
        try:
            decoded = self._protocol.decode(frame)
        except NotMeasured as error:
            self._refused = 0
            self._thrown_at_refusal = self._framer.thrown_bytes
            self.unread(frame, str(error))
            return None
        except FrameRefused as error:
            self._refused += 1
            self.unread(frame, str(error))
            self._complain_if_rubbish(frame, str(error))
            return None
        self._refused = 0
        self._thrown_at_refusal = self._framer.thrown_bytes
        self._seen = decoded
        self._seen_at_s = asyncio.get_running_loop().time()
        self._news.set()
        return decoded

    def _complain_if_rubbish(self, data: bytes, why: str = "") -> None:
        thrown = self._framer.thrown_bytes - self._thrown_at_refusal
        if self._refused < GARBLED_IN_A_ROW and thrown < _GARBLED_BYTES:
            return
        self._refused = 0
        self._thrown_at_refusal = self._framer.thrown_bytes
        told = f"what arrives are no frames of {self._protocol.name}{f': {why}' if why else ''}"
        hint = _HINT_READABLE if why and data.isascii() and data.decode().isprintable() else ""
        raise FrameGarbled(told, port=self._address, raw=data, hint=hint)

    def _take(self, frame: bytes) -> list[Reading]:
        decoded = self._decode(frame)
        if decoded is None:
            return []
        monotonic_s, utc_s = self._clock()
        monotonic_s, utc_s = monotonic_s - self._air_s, utc_s - self._air_s
        if self._is_repeat(frame, monotonic_s):
            return []
        self._conversion += 1
        visible, at_s = self.capabilities.flags_visible, (monotonic_s, utc_s)
        reading = decoded.as_reading(self.meter_id, self._conversion, at_s, frame, visible)
        self._former, self._repeated = reading, 1
        return self._agreement.take(reading)

    def _is_repeat(self, frame: bytes, monotonic_s: float) -> bool:
        """Some chips send each frame twice; two equal ones close together are one conversion."""
        former = self._former
        if former is None or self._repeated >= self._protocol.repeats or former.raw != frame:
            return False
        if monotonic_s - former.monotonic_s > REPEAT_WITHIN_S:
            return False
        self._repeated += 1
        return True


def _air_s(protocol: FrameProtocol, address: str) -> float:
    """Time a frame spends on a serial wire; its conversion ended before."""
    parsed = parse_address(address)
    if parsed.scheme not in {"serial", "rfc2217"} or not protocol.frame_bytes:
        return 0.0
    baud = parsed.line.filled_from(protocol.usual_line).baud
    return protocol.frame_bytes * _BITS_PER_BYTE / baud if baud else 0.0
