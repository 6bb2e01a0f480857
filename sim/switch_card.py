"""Relays that bring the pins of a unit in a fixture to the meter, by two buses.

Channels 101 up bring a pin to the meter's high side, 201 up to its low side; relays can be welded or dead,
and a clip can miss its pin. With four wires the sense relays move along by themselves. Not for hands.
"""

from __future__ import annotations

import re
from collections.abc import Container
from dataclasses import dataclass, field

from sim.clock import BenchClock
from sim.probes import ContactHabit, Probes, new_touch
from sim.scenes import dice_for
from sim.scpi_grammar import Refused, Row, alone

RELAY_S = 0.015
"""Time of a reed or signal relay with its bounce; common practice, no source."""
RELAY_HABIT = ContactHabit(
    lead_ohm=0.35, contact_ohm=(0.02, 0.06), pressure_ohm=(1e-5, 1e-4), film_chance=0.0, bounces=0
)


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


HIGH, LOW = 101, 201


@dataclass(slots=True)
class Wear:
    """What is wrong with a fixture.

    Attributes:
        welded: channels that never open; dead: channels that never close, whatever the card says.
        loose: pins that their clips miss.
        plug: a plug joins all pins, in place of a unit.
    """

    welded: set[int] = field(default_factory=set)
    dead: set[int] = field(default_factory=set)
    loose: set[str] = field(default_factory=set)
    plug: bool = False


class BusCard:
    """One relay for each pin on either bus.

    Args:
        places: pins of the unit in the fixture, in order of channels.
        seed: of the contacts.
        probes: the meter's terminals.
        clock: the bench's.
        kelvin: each bus reaches a pin by a contact of its own; else both by the same clip.
    """

    def __init__(
        self, places: tuple[str, ...], seed: int, probes: Probes, clock: BenchClock, *, kelvin: bool = False
    ) -> None:
        self.high = {HIGH + k: place for k, place in enumerate(places)}
        self.low = {LOW + k: place for k, place in enumerate(places)}
        self.kelvin = kelvin
        self.wear = Wear()
        self._told: set[int] = set()
        self._dice = dice_for(seed, "bus card")
        self._probes, self._clock = probes, clock

    @property
    def channels(self) -> dict[int, tuple[str, str]]:
        """What each channel leads to: the bus and the pin."""
        return {n: ("high", p) for n, p in self.high.items()} | {n: ("low", p) for n, p in self.low.items()}

    async def close(self, channels: set[int]) -> None:
        """Close relays; takes their time."""
        self._told |= channels
        await self._moved()

    async def open(self, channels: set[int]) -> None:
        """Open relays; takes their time."""
        if self._told & channels:
            self._told -= channels
            await self._moved()

    async def reseat(self) -> None:
        """Somebody has found the clip that missed its pin."""
        self.wear.loose.clear()
        await self._moved()

    def forget(self) -> None:
        """What a reset does: everything open."""
        self._told = set()
        self._probes.lift(self._clock.now_s())

    async def _moved(self) -> None:
        """The meter sees something new, once the relays have come to rest."""
        self._probes.lift(self._clock.now_s())
        pair, joined = self._joined()
        if joined:
            start_s = self._clock.now_s() + RELAY_S
            self._probes.touch(new_touch(self._dice, RELAY_HABIT, pair, start_s))
        await self._clock.pause(RELAY_S)

    def _joined(self) -> tuple[tuple[str, str] | None, bool]:
        """The two pins that the meter's terminals are on, None where it is one; and whether on any at all."""
        closed = (self._told | self.wear.welded) - self.wear.dead
        highs = [self.high[n] for n in sorted(closed) if n in self.high]
        lows = [self.low[n] for n in sorted(closed) if n in self.low]
        clipped = self.wear.plug or self._probes.unit is not None
        if not highs or not lows:
            return None, False
        both = set(highs) & set(lows)
        if not self.kelvin and both:
            return None, True  # the two relays meet in the wire to the clip
        if not clipped or self.wear.loose & {highs[0], lows[0]}:
            return None, False
        return (None, True) if both or self.wear.plug else ((highs[0], lows[0]), True)

    # ---------------------------------------------------------------- commands
    def rows(self) -> list[Row]:
        """The card's commands for the meter's table."""
        return [
            ("ROUTe:CLOSe", False, self._close_command),
            ("ROUTe:CLOSe", True, self._is_closed),
            ("ROUTe:OPEN", False, self._open_command),
            ("ROUTe:OPEN:ALL", False, alone(self._open_all)),
        ]

    async def _close_command(self, arguments: list[str]) -> None:
        await self.close(set(listed(arguments, self.channels)))

    async def _is_closed(self, arguments: list[str]) -> str:
        return ",".join("1" if n in self._told else "0" for n in listed(arguments, self.channels))

    async def _open_command(self, arguments: list[str]) -> None:
        await self.open(set(listed(arguments, self.channels)))

    async def _open_all(self) -> None:
        await self.open(set(self.channels))
