"""A SCPI switch card: opens and closes relays, one set after another, and proves by asking that it did.

Break before make: everything is open, and the card has said so, before anything is closed. A card is a module
in the meter (then it shares the meter's link, between two readings) or an instrument of its own. SCPI-99, 18
(ROUTe). Scanning (ROUTe:SCAN) is not used: it moves on after a fixed delay, and a winding wants to be
waited for. Not for which pin is on which channel.
"""

from __future__ import annotations

import asyncio
from collections.abc import Awaitable, Callable, Sequence
from types import TracebackType
from typing import Annotated, ClassVar, Protocol, Self, TypeVar

from pydantic import Field, model_validator

from drivers.errors import LinkTimeout, MeterRefused
from drivers.scpi.dialect import BenchMeterOptions, Seconds
from drivers.scpi.dialogue import Dialogue

T = TypeVar("T")


class SwitchCardOptions(BenchMeterOptions):
    """How to talk to a card; what it shares with a meter (timeouts, identity, error queue) is named alike.

    Attributes:
        close: closes channels; `{channels}` stands for numbers with commas between them.
        open_all: opens every channel of the card.
        state_query: asks of channels whether they are closed; answered with 1 or 0 for each, in order.
        settle_s: after a card has said that relays are closed, they may bounce for so long; seconds.
        current_off: switches the meter's test current off, on a link that both share; empty for none.
        discharge_s: how long a coil then gets to discharge before a relay opens; seconds.
    """

    close: str = "ROUT:CLOS (@{channels})"
    open_all: str = "ROUT:OPEN:ALL"
    state_query: str = "ROUT:CLOS? (@{channels})"
    settle_s: Annotated[float, Field(ge=0, le=10)] = 0.02
    current_off: str = ""
    discharge_s: Annotated[float, Field(ge=0, le=600)] = 0.0
    remote_command: str = ""
    reply_timeout_s: Seconds = 3.0

    @model_validator(mode="after")
    def _names_its_channels(self) -> SwitchCardOptions:
        for text in (self.close, self.state_query):
            if "{channels}" not in text:
                raise ValueError(f"{text!r} has no place for {{channels}}")
        return self


class Host(Protocol):
    """A meter on whose link a card sits."""

    async def beside(self, work: Callable[[Dialogue], Awaitable[T]]) -> T:
        """Let work use the link between two readings."""
        ...


class SwitchCard:
    """One card.

    Attributes:
        closed: what the card has said is closed; empty while everything is open, or nothing is known.
    """

    Options: ClassVar[type[SwitchCardOptions]] = SwitchCardOptions

    def __init__(
        self,
        channels: Sequence[int],
        *,
        address: str = "",
        host: Host | None = None,
        options: SwitchCardOptions | None = None,
    ) -> None:
        """Make a card; opens nothing.

        Args:
            channels: every channel in use, for proof that those not wanted are open.
            address: of its own link.
            host: the meter whose link it shares; one of the two must be given.
            options: its dialect.

        Raises:
            AddressInvalid: the address cannot be understood.
            ValueError: neither link nor meter, or both.
        """
        if bool(address) == (host is not None):
            raise ValueError("a switch card has a link of its own or shares the meter's")
        self.closed: frozenset[int] = frozenset()
        self._channels = tuple(sorted(set(channels)))
        self._options = options or SwitchCardOptions()
        self._host = host
        self._own = Dialogue(address, self._options) if address else None

    async def __aenter__(self) -> Self:
        """Open the link, if it has one of its own. A shared one is open when the meter is."""
        if self._own is not None:
            await self._own.open()
        return self

    async def __aexit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        """Close the link."""
        self.closed = frozenset()
        if self._own is not None:
            await self._own.close()

    async def open_all(self) -> None:
        """Open everything, and make sure.

        Raises:
            MeterRefused: the card reported an error, or a channel that stays closed.
            LinkTimeout, LinkLost: the link.
        """
        await self._with(self._opened)

    async def connect(self, channels: Sequence[int]) -> None:
        """Open everything, then close these channels, and make sure of both.

        Raises:
            MeterRefused: the card reported an error, or its channels are not as they should be.
            LinkTimeout, LinkLost: the link.
        """
        wanted = frozenset(channels)

        async def work(talk: Dialogue) -> None:
            await self._opened(talk)
            if not wanted:
                return
            await talk.command(self._options.close.format(channels=_listed(sorted(wanted))))
            await asyncio.sleep(self._options.settle_s)
            await self._proven(talk, wanted)

        await self._with(work)

    async def _opened(self, talk: Dialogue) -> None:
        if self.closed and self._options.current_off:
            await talk.command(self._options.current_off)
        if self.closed:  # a current that is broken draws a spark, and an inductance a high voltage
            await asyncio.sleep(self._options.discharge_s)
        await talk.command(self._options.open_all)
        await self._proven(talk, frozenset())

    async def _proven(self, talk: Dialogue, wanted: frozenset[int]) -> None:
        """Ask the card what is closed.

        Raises:
            MeterRefused: something else than wanted.
            LinkTimeout: its answer was garbled.
        """
        self.closed = wanted
        answer = await talk.ask(
            self._options.state_query.format(channels=_listed(self._channels)), self._options.reply_timeout_s
        )
        states = [part.strip().lstrip("+") for part in answer.split(",")]
        if len(states) != len(self._channels) or not set(states) <= {"0", "1"}:
            talk.mark_dirty()
            raise LinkTimeout(f"answered {answer!r} when asked what is closed", port=talk.address)
        found = {channel for channel, state in zip(self._channels, states, strict=True) if state == "1"}
        if found != wanted:
            stuck, lame = sorted(found - wanted), sorted(wanted - found)
            what = "that it stays closed" if stuck else "that it does not close"
            raise MeterRefused(
                f"the card says of channel {_listed(stuck or lame)} {what}",
                port=talk.address,
                hint="Have its relays looked at.",
            )

    async def _with(self, work: Callable[[Dialogue], Awaitable[None]]) -> None:
        if self._host is not None:
            await self._host.beside(work)
        elif self._own is not None:
            await self._own.align_if_dirty()
            await work(self._own)


def _listed(channels: Sequence[int]) -> str:
    """Channels as a list of SCPI's takes them (SCPI-99, 8.3.2.2)."""
    return ",".join(str(channel) for channel in channels)
