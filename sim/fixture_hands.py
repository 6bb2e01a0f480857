"""A virtual operator of a fixture: takes a unit, clips it in, presses a key, takes it out when it is done.

Between the key and the result the hands have nothing to do. Not for hands that hold probes (`hands`).
"""

from __future__ import annotations

import asyncio
from collections.abc import Callable
from dataclasses import dataclass
from typing import Any

from sim.bus_card import BusCard
from sim.clock import BenchClock
from sim.probes import Probes
from sim.scenes import PlannedUnit, Scene, dice_for
from sim.truth import TruthLog


@dataclass(frozen=True, slots=True)
class FixturePace:
    """How quick a person is; simulated seconds, shortest and longest (common practice, no source).

    Attributes:
        scan: put the unit down and scan it; clip: plug it in, clip the core, press the key.
        look: find a clip that has missed its pin; press: look up, and press the key; unclip: take it out.
    """

    scan: tuple[float, float] = (0.6, 1.2)
    clip: tuple[float, float] = (2.0, 4.0)
    look: tuple[float, float] = (2.0, 5.0)
    press: tuple[float, float] = (0.8, 1.5)
    unclip: tuple[float, float] = (1.0, 2.0)


class FixtureHands:
    """The operator of one scene.

    Args:
        scene: the units; `seed`: of every delay.
        probes, clock, card: the bench.
        tell: takes what the hands do, as JSON objects.
        truth: the log.
    """

    def __init__(
        self,
        scene: Scene,
        seed: int,
        *,
        probes: Probes,
        clock: BenchClock,
        card: BusCard,
        tell: Callable[[dict[str, Any]], None],
        truth: TruthLog,
        pace: FixturePace | None = None,
    ) -> None:
        self._scene, self._card = scene, card
        self._probes, self._clock = probes, clock
        self._tell, self._truth = tell, truth
        self._pace = pace or FixturePace()
        self._dice = dice_for(seed, "fixture hands")
        self._inbox: asyncio.Queue[dict[str, Any]] = asyncio.Queue()
        self._waiting = iter(scene.units)
        self._planned: PlannedUnit | None = None

    def see(self, show: dict[str, Any]) -> None:
        """A prompt, a colour or a sound reaches the operator."""
        self._inbox.put_nowait(show)

    async def work(self) -> None:
        """Follow prompts until cancelled."""
        while True:
            show = await self._inbox.get()
            what = show.get("show")
            if what == "start_unit":
                await self._fetch()
            elif what == "clip_on":
                await self._clip_on()
            elif what == "look_at_clips":
                await self._pause(self._pace.look)
                await self._card.reseat()
                await self._pause(self._pace.press)
                self._tell({"hands": "confirm_open"})
            elif what == "unit":
                await self._put_aside(show)

    async def _pause(self, limits: tuple[float, float]) -> None:
        await self._clock.pause(self._dice.uniform(*limits))

    async def _fetch(self) -> None:
        """Take the next unit and scan it; when there is none, the day is over."""
        self._planned = next(self._waiting, None)
        if self._planned is None:
            self._tell({"hands": "finished"})
            return
        await self._pause(self._pace.scan)
        unit = self._planned.unit
        unit.since_s = self._clock.now_s()
        air_celsius = self._probes.ambient.celsius(unit.since_s)
        self._truth.unit(self._scene.kind, self._planned, unit.celsius(air_celsius, unit.since_s))
        self._tell({"hands": "scan", "serial": unit.serial})

    async def _clip_on(self) -> None:
        await self._pause(self._pace.clip)
        if self._planned is not None:
            self._probes.place(self._planned.unit)
        self._tell({"hands": "confirm_open"})

    async def _put_aside(self, show: dict[str, Any]) -> None:
        await self._pause(self._pace.unclip)
        self._probes.place(None)
        if self._planned is not None:
            serial = self._planned.unit.serial
            self._truth.write("aside", serial=serial, outcome=show.get("outcome"))
            self._tell({"hands": "aside", "serial": serial})
        self._planned = None
