"""A SCPI bench multimeter on any link: function and range set per step, READ? back to back.

The one rule above all: an answer belongs to the query that asked for it. Whenever a query does not end
well (timeout, cancelled, rubbish) the link counts as dirty, and nothing is read as a measurement until the
link has been drained and the meter has answered `*IDN?` and `*OPC?` in step. Not for hand meters with
SCPI-like text.
"""

from __future__ import annotations

import asyncio
import math
from collections.abc import AsyncIterator, Awaitable, Callable
from dataclasses import replace
from types import TracebackType
from typing import ClassVar, Self, TypeVar

from drivers.answers import Answer, parse_number
from drivers.errors import FrameGarbled, LinkTimeout, MeterRefused
from drivers.frame import FrameProtocol
from drivers.meter import Capabilities, ClockPair, Held, Identity, Setup, Unread, untold
from drivers.reading import Flag, Kind, Origin, Quantity, Reading
from drivers.scpi import language
from drivers.scpi.dialect import AnswerFormat, BenchMeterOptions, Dialect
from drivers.scpi.dialogue import Dialogue

T = TypeVar("T")

_AUTO_ZERO = 2
_COMPENSATION = 2
"""Each takes so many conversions for one reading (seen in manuals)."""
_SLOWEST_MAINS_HZ = 50.0
_COMPENSATED = frozenset({Flag.OFFSET_COMPENSATED})
_UNREAD_IN_A_ROW = 3  # after so many answers that are no readings the format is wrong; workshop choice
_CONFIRMED_S = (
    0.25  # so long an answer holds: a key pressed later spoils less than one conversion; our choice
)
_JUMP = 0.2  # a fifth: what a dial turned by hand nearly always exceeds; workshop choice


class BenchMeter:
    """A meter that speaks SCPI; fulfils `drivers.meter.Meter`.

    After a broken link the same object may be entered again; the last setup is then set anew.
    """

    Options: ClassVar[type[BenchMeterOptions]] = BenchMeterOptions
    capabilities: Capabilities = Capabilities(
        quantities=frozenset(language.FUNCTION_OF),
        settable=True,
        streaming=False,
        flags_visible=frozenset({Flag.OFFSET_COMPENSATED}),
        verification="standard",
    )

    @classmethod
    def decoder(cls, options: BenchMeterOptions) -> FrameProtocol:
        """Give the sans-I/O half alone, for `drivers.decode` and the conformance kit."""
        return AnswerFormat(Dialect(options), Quantity.RESISTANCE)

    def __init__(
        self, *, meter_id: str, address: str, clock: ClockPair, options: BenchMeterOptions | None = None
    ) -> None:
        """Make a meter; opens nothing.

        Raises:
            AddressInvalid: the address cannot be understood.
        """
        self.meter_id = meter_id
        self.unread: Unread = untold
        self._clock = clock
        self._options = options or BenchMeterOptions()
        self._talk = Dialogue(address, self._options)
        self._dialect = self._make_dialect()
        self.capabilities = replace(
            type(self).capabilities,
            quantities=frozenset(self._dialect.functions),
            flags_visible=type(self).capabilities.flags_visible
            | frozenset(self._options.flag_words.values()),
        )
        self._lock = asyncio.Lock()
        self._setup: Setup | None = None
        self._held: Held | None = None
        self._generation = 0
        self._conversion = 0
        self._unchecked = 0
        self._confirmed_s = float("-inf")
        self._unread = 0
        self._fresh = False  # no reading yet since the last configure
        self._former: Reading | None = None

    def _make_dialect(self) -> Dialect:
        return Dialect(self._options)

    async def __aenter__(self) -> Self:
        """Open the link, prove that questions and answers are in step, set the last setup again."""
        self._lock = asyncio.Lock()
        self._conversion = 0
        self._former = None
        try:
            await self._talk.open()
            await self._set_again()
        except BaseException:
            await self._talk.close()
            raise
        return self

    async def _set_again(self) -> None:
        """Set the last setup again; one that is refused now is for the next `configure` to tell."""
        self._held = None
        if self._setup is not None:
            try:
                await self._apply(self._setup)
            except MeterRefused:
                self._setup = None

    async def __aexit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        """Close the link."""
        await self._talk.close()

    async def identity(self) -> Identity:
        """Say who it is, as asked when the link was opened; empty if the meter knows no `*IDN?`."""
        return language.parse_identity(self._talk.identity_text)

    async def configure(self, setup: Setup) -> Held:
        """Set function and range and read back what holds.

        Raises:
            MeterRefused: the meter cannot do that, or reported an error; says which command.
            LinkTimeout, LinkLost: the link.
        """
        if setup.quantity not in self._dialect.functions:
            raise MeterRefused(
                f"this meter does not measure {setup.quantity.value}",
                port=self._talk.address,
                hint="Give this step to another meter in the bench file.",
            )
        async with self._lock:
            self._generation += 1
            self._setup = setup
            await self._talk.align_if_dirty()
            try:
                return await self._apply(setup)
            except MeterRefused:
                self._setup = None  # not tried again by itself
                raise

    async def _apply(self, setup: Setup) -> Held:
        self._held = None
        await self._talk.drop_old_errors()
        try:
            commands = self._dialect.setup_commands(setup)
            known = self._dialect.range_for(setup)
        except ValueError as error:
            raise MeterRefused(
                str(error), port=self._talk.address, hint="Give this step to another meter."
            ) from error
        for text in commands:
            await self._talk.command(text)
        if text := self._dialect.integration_command(setup):
            await self._talk.command(text, needed=False)
        compensated = False
        if text := self._dialect.compensation_command(setup):
            compensated = await self._talk.command(text, needed=False)
        held = await self._read_back(setup)
        if held.range_full_scale_si is None and known is not None:
            held = replace(
                held,
                range_full_scale_si=known.full_scale_si,
                resolution_si=known.resolution_si,
                origin=Origin.SENT,
            )
        longest_s = self.conversion_s(setup, compensated=compensated)
        self._held = replace(held, offset_compensation=compensated, conversion_s=longest_s)
        self._fresh = True
        self._former = None
        self._unchecked = 0
        return self._held

    async def _read_back(self, setup: Setup) -> Held:
        found = await self._talk.configuration()
        if found is None:  # the meter cannot be asked: nothing is known but what was sent
            return Held(setup.quantity)
        function = self._dialect.functions[setup.quantity]
        if not language.same_function(found.function, function):
            raise MeterRefused(
                f"it was told {function} but says it is set to {found.function}",
                port=self._talk.address,
                hint="Press the meter's Local key, set it to remote again, and retry.",
            )
        if setup.expected_si is None:
            return Held(setup.quantity)
        full_scale_si = found.range_full_scale_si or await self._ask_range(setup.quantity)
        known = full_scale_si is not None or found.resolution_si is not None
        origin = Origin.READ_BACK if known else Origin.UNKNOWN
        return Held(setup.quantity, full_scale_si, found.resolution_si, origin)

    async def _ask_range(self, quantity: Quantity) -> float | None:
        answer = await self._talk.optional(self._dialect.range_query(quantity))
        if answer is None:
            return None
        try:
            return parse_number(answer).value_si
        except ValueError:
            return None  # a code, not a range

    async def beside(self, work: Callable[[Dialogue], Awaitable[T]]) -> T:
        """Let something else on this link (a switch card in the meter) be talked to between two readings.

        Raises:
            LinkTimeout, LinkLost: the link; and whatever the work raises.
        """
        async with self._lock:
            await self._talk.align_if_dirty()
            return await work(self._talk)

    async def readings(self) -> AsyncIterator[Reading]:
        """Yield one reading per conversion, as fast as the meter converts.

        One late answer costs a gap, not the link; after `silent_after` in a row it is over.

        Raises:
            LinkTimeout: the meter stays silent, or questions and answers cannot be brought in step.
            FrameGarbled: answer after answer is no reading.
            LinkLost: the link broke.
            MeterRefused: the meter reports an error, or somebody changed its function.
        """
        misses = 0
        while True:
            try:
                async with self._lock:
                    generation = self._generation
                    reading = await self._read_once()
            except LinkTimeout:
                misses += 1
                if misses >= self._options.silent_after:
                    raise
                continue  # the next one first brings the link in step
            misses = 0
            if reading is not None and generation == self._generation:
                yield reading

    async def _read_once(self) -> Reading | None:
        held = await self._ready()
        answer = await self._talk.ask(self._options.read_query, self._reply_s())
        try:
            found = self._dialect.parse_reading(answer, held.quantity)
        except ValueError as error:
            self._talk.mark_dirty()
            self.unread(answer.encode(), str(error))
            self._unread += 1
            if self._unread < _UNREAD_IN_A_ROW:
                return None  # rubbish, or an answer to something else: aligned again before the next
            self._unread = 0
            raise FrameGarbled(
                f"it answers {answer!r} to {self._options.read_query}, and {error}",
                port=self._talk.address,
                raw=answer.encode("ascii", "replace"),
                hint="Choose the profile of this meter, or state in [meter.options] how its answers look.",
            ) from error
        self._unread = 0
        return await self._checked(self._reading_of(held, found, answer))

    async def _ready(self) -> Held:
        """Make sure that the link is in step and the setup in force."""
        if self._talk.dirty:
            await self._talk.align_if_dirty()
            self._held = None  # the meter may have been off and on meanwhile
        if self._held is None:
            self._held = await (self._apply(self._setup) if self._setup is not None else self._find_out())
        return self._held

    async def _checked(self, reading: Reading) -> Reading:
        """Before a reading that jumped is trusted, make sure nobody has turned the meter to volts."""
        former, self._former = self._former, reading
        fresh, self._fresh = self._fresh, False
        if fresh and reading.kind is not Kind.VALUE:
            await self._talk.raise_queued_error()  # some meters answer 9.9E37 to a refused command, too
        self._unchecked += 1
        every = self._options.check_every
        due = former is not None and _jumped(former, reading)
        if due or (every and self._unchecked >= every):
            await self._ask_function(reading.quantity)
        return reading

    async def confirm(self) -> None:
        """Ask for the function, unless that was just done: a verdict is about to rest on it.

        Raises:
            MeterRefused: somebody has turned it; it is set anew before the next reading.
            LinkTimeout, LinkLost: the link.
        """
        async with self._lock:
            held, recent = self._held, self._clock()[0] - self._confirmed_s < _CONFIRMED_S
            if held is not None and not recent and not self._talk.dirty:
                await self._ask_function(held.quantity)

    async def _ask_function(self, quantity: Quantity) -> None:
        self._unchecked, self._confirmed_s = 0, self._clock()[0]
        what, hint = await self._meddled(quantity)
        if what:
            self._held = None
            self._former = None
            raise MeterRefused(what, port=self._talk.address, hint=hint)

    async def _meddled(self, quantity: Quantity) -> tuple[str, str]:
        """What somebody else has done to the meter since it was set, and the cure; both empty if nothing."""
        if await self._talk.another_drives():
            return "another program drives this meter, too", "Let one bench have it, and stop the other."
        found = await self._talk.configuration()
        if found is None:
            return "", ""
        keys = "Leave the meter's keys alone while it is read; it is set right again by itself."
        wanted, held = self._dialect.functions[quantity], self._held
        if not language.same_function(found.function, wanted):
            return f"somebody turned it from {wanted} to {found.function}", keys
        before, now = held and held.range_full_scale_si, found.range_full_scale_si
        if before and now and held and held.origin is Origin.READ_BACK and not math.isclose(before, now):
            return f"somebody turned its range from {before:g} to {now:g}", keys
        return "", ""

    def _reading_of(self, held: Held, found: Answer, answer: str) -> Reading:
        monotonic_s, utc_s = self._clock()
        self._conversion += 1
        return Reading(
            meter_id=self.meter_id,
            quantity=held.quantity,
            kind=found.kind,
            value_si=found.value_si,
            monotonic_s=monotonic_s,
            utc_s=utc_s,
            conversion=self._conversion,
            range_full_scale_si=held.range_full_scale_si,
            resolution_si=held.resolution_si,
            range_origin=held.origin,
            flags=found.flags | (_COMPENSATED if held.offset_compensation else frozenset()),
            raw=answer.encode("ascii", "replace"),
        )

    async def _find_out(self) -> Held:
        """Learn the function in force when nobody has called `configure` yet."""
        found = await self._talk.configuration()
        for quantity, function in self._dialect.functions.items():
            if found is not None and language.same_function(found.function, function):
                return Held(quantity)
        raise MeterRefused(
            "it does not say which function it is set to",
            port=self._talk.address,
            hint="Let the bench file's step set the function.",
        )

    def _reply_s(self) -> float:
        longest_s = None if self._setup is None else self.conversion_s(self._setup, compensated=True)
        return self._options.reply_timeout_s + (longest_s or 0.0)

    @staticmethod
    def conversion_s(setup: Setup, *, compensated: bool) -> float | None:
        """The longest that a reading takes; None where the meter keeps its own integration time."""
        if setup.integration_plc is None:
            return None
        return setup.integration_plc / _SLOWEST_MAINS_HZ * _AUTO_ZERO * (_COMPENSATION if compensated else 1)


def _jumped(former: Reading, now: Reading) -> bool:
    if former.kind is not now.kind:
        return True
    if former.value_si is None or now.value_si is None:
        return False
    return abs(now.value_si - former.value_si) > _JUMP * max(abs(former.value_si), abs(now.value_si))
