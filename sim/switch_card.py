"""A switch card in the meter: relays that bring the pins of a unit in a fixture to the meter, pair by pair.

One channel is closed at a time, as a multiplexer with one output has it. Not for hands: a fixture needs none.
"""

from __future__ import annotations

import re
from collections.abc import Container

from sim.clock import BenchClock
from sim.probes import ContactHabit, Probes, new_touch
from sim.scenes import dice_for
from sim.scpi_answers import Row
from sim.scpi_grammar import Refused
from sim.units import Pair

RELAY_S = 0.015
"""Time of a reed or signal relay with its bounce; common practice, no source."""
RELAY_HABIT = ContactHabit(
    lead_ohm=0.35, contact_ohm=(0.02, 0.06), pressure_ohm=(1e-5, 1e-4), film_chance=0.0, bounces=0
)
FIRST_CHANNEL = 101


def listed(arguments: list[str], known: Container[int]) -> list[int]:
    """Channels of a list such as `(@101,103:105)`.

    Raises:
        Refused: when it is none (-104), is missing (-109), or names a channel that is not there (-222).
    """
    if not arguments:
        raise Refused(-109)
    match = re.fullmatch(r"\(@([\d,:\s]*)\)", ",".join(arguments))
    if not match:
        raise Refused(-104)
    found: list[int] = []
    for part in filter(None, (p.strip() for p in match[1].split(","))):
        ends = re.fullmatch(r"(\d{1,4})(?::(\d{1,4}))?", part)
        if not ends:
            raise Refused(-104)
        first, last = int(ends[1]), int(ends[2] or ends[1])
        found += range(first, last + 1)
    if not all(channel in known for channel in found):
        raise Refused(-222)
    return found


class SwitchCard:
    """Channels from 101 up, one for each pair.

    Args:
        pairs: of the unit in the fixture, in order of channels.
        seed: of the contacts.
        probes: the meter's terminals.
        clock: the bench's.
    """

    def __init__(self, pairs: tuple[Pair, ...], seed: int, probes: Probes, clock: BenchClock) -> None:
        self.channels = dict(enumerate(pairs, start=FIRST_CHANNEL))
        self.scan: list[int] = []
        self._closed: int | None = None
        self._dice = dice_for(seed, "switch card")
        self._probes, self._clock = probes, clock

    async def close(self, channel: int) -> None:
        """Close a channel, after opening any other; takes the relays' time."""
        if self._closed == channel:
            return
        await self.open()
        touch = new_touch(self._dice, RELAY_HABIT, self.channels[channel], self._clock.now_s() + RELAY_S)
        self._probes.touch(touch)
        self._closed = channel
        await self._clock.pause(RELAY_S)

    async def open(self) -> None:
        """Open whatever is closed."""
        if self._closed is not None:
            self._probes.lift(self._clock.now_s())
            self._closed = None
            await self._clock.pause(RELAY_S)

    def forget(self) -> None:
        """What a reset does: no scan list, everything open."""
        self.scan = []
        self._probes.lift(self._clock.now_s())
        self._closed = None

    # ---------------------------------------------------------------- commands
    def rows(self) -> list[Row]:
        """The card's commands for the meter's table."""
        return [
            ("ROUTe:CLOSe", False, self._close_command),
            ("ROUTe:CLOSe", True, self._is_closed),
            ("ROUTe:OPEN", False, self._open_command),
            ("ROUTe:OPEN:ALL", False, self._open_all),
            ("ROUTe:SCAN", False, self._set_scan),
            ("ROUTe:SCAN", True, self._get_scan),
        ]

    async def _open_all(self, arguments: list[str]) -> None:
        if arguments:
            raise Refused(-108)
        await self.open()

    def listed(self, arguments: list[str]) -> list[int]:
        """Channels of a list; see `listed`."""
        return listed(arguments, self.channels)

    async def _close_command(self, arguments: list[str]) -> None:
        channels = self.listed(arguments)
        if len(channels) != 1:
            raise Refused(-221)
        await self.close(channels[0])

    async def _is_closed(self, arguments: list[str]) -> str:
        return ",".join("1" if channel == self._closed else "0" for channel in self.listed(arguments))

    async def _open_command(self, arguments: list[str]) -> None:
        if self._closed in self.listed(arguments):
            await self.open()

    async def _set_scan(self, arguments: list[str]) -> None:
        self.scan = self.listed(arguments)

    async def _get_scan(self, arguments: list[str]) -> str:
        if arguments:
            raise Refused(-108)
        return f"(@{','.join(str(channel) for channel in self.scan)})"
