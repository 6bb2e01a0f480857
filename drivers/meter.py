"""The contract every driver fulfils, streaming or polled.

A driver is an async context manager that owns one link. It says what it can do (`capabilities`), takes a
`Setup` and answers with what really holds (`Held`), and yields readings one conversion at a time. It never
yields a reading that the meter did not send, and it never guesses silently: what is inferred is marked so.
"""

from __future__ import annotations

from collections.abc import AsyncIterator, Callable
from dataclasses import dataclass, field
from types import TracebackType
from typing import Protocol, Self, runtime_checkable

from drivers.reading import Flag, Origin, Quantity, Reading

ClockPair = Callable[[], tuple[float, float]]
"""Gives (monotonic seconds, UTC seconds since 1970) of now. Drivers never read a clock of their own."""


Unread = Callable[[bytes, str], None]
"""Is told of bytes that gave no reading and why, in a few words, with the option that would cure it."""


def untold(raw: bytes, why: str) -> None:
    """Nobody listens to what gives no reading."""
    del raw, why


@dataclass(frozen=True, slots=True)
class Capabilities:
    """What a driver can do, stated before a link is opened.

    Attributes:
        quantities: what it can deliver.
        settable: True if function and range can be set over the link; else the operator turns the dial.
        streaming: True if the meter sends by itself; False if it is asked.
        flags_visible: signs it can report at all.
        verification: what its byte format was checked against: capture, datasheet, standard or memory.
    """

    quantities: frozenset[Quantity]
    settable: bool
    streaming: bool
    flags_visible: frozenset[Flag] = frozenset()
    verification: str = "memory"


@dataclass(frozen=True, slots=True)
class Setup:
    """What the next step wants of the meter.

    Attributes:
        quantity: what to measure.
        expected_si: the largest value to be expected, in `UNIT_OF[quantity]`; None lets the meter range by
            itself.
        integration_plc: integration time in power line cycles; None keeps the meter's own.
        offset_compensation: whether ohms with reversed or switched-off current are wanted.
    """

    quantity: Quantity
    expected_si: float | None = None
    integration_plc: float | None = None
    offset_compensation: bool = False


@dataclass(frozen=True, slots=True)
class Held:
    """What really holds after `configure`.

    Attributes:
        quantity: the function in force, or the one wanted when it cannot be known.
        range_full_scale_si: full scale in force, None when unknown or ranging by itself.
        resolution_si: worth of one count, None when unknown.
        origin: where the two are known from.
        offset_compensation: whether it is really on.
        conversion_s: how long a conversion takes by these settings; None where nobody knows.
        please_turn: sentences for the operator ("set the dial to ohms"); empty when nothing is to
            be done by hand.
    """

    quantity: Quantity
    range_full_scale_si: float | None = None
    resolution_si: float | None = None
    origin: Origin = Origin.UNKNOWN
    offset_compensation: bool = False
    conversion_s: float | None = None
    please_turn: tuple[str, ...] = field(default=())


@dataclass(frozen=True, slots=True)
class Identity:
    """Who the meter says it is; empty strings where it does not say."""

    maker: str = ""
    model: str = ""
    serial: str = ""
    firmware: str = ""
    raw: str = ""

    def __post_init__(self) -> None:
        """Leave nothing in it that a terminal or a file would obey: a meter may say anything."""
        for name in self.__slots__:
            said = getattr(self, name)
            if not said.isprintable():
                plain = "".join(sign if sign.isprintable() else "\ufffd" for sign in said)
                object.__setattr__(self, name, plain)


@runtime_checkable
class Meter(Protocol):
    """A meter on an open link.

    Guarantees: readings come in the order of their conversions; one conversion is one reading (repeated
    frames carry the same conversion number); after `configure` no reading of the former setup is yielded;
    a broken link raises `LinkLost`, silence raises `LinkTimeout`; leaving the context closes the link
    whatever happened. Bytes that give no reading are told to `unread` where they are not raised.
    """

    meter_id: str
    unread: Unread
    capabilities: Capabilities

    async def __aenter__(self) -> Self:
        """Open the link. Raises: LinkUnavailable, AddressInvalid."""
        ...

    async def __aexit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        """Close the link."""
        ...

    async def identity(self) -> Identity:
        """Ask who it is, where the protocol has a question for that."""
        ...

    async def configure(self, setup: Setup) -> Held:
        """Set function and range; say what holds. May be called while `readings` is being iterated."""
        ...

    def readings(self) -> AsyncIterator[Reading]:
        """Yield readings until closed. Raises: LinkLost, LinkTimeout, MeterRefused."""
        ...


@runtime_checkable
class Confirming(Protocol):
    """A meter whose function can be turned by hand, and that can say what it is set to."""

    async def confirm(self) -> None:
        """Make sure that what was set is in force. Raises: MeterRefused: it is not; LinkTimeout, LinkLost."""
        ...
