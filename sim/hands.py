"""A virtual operator: two hands, one pair of eyes, and no knowledge of what is wrong with a unit.

Does what the prompts say with a person's delays, and sometimes not quite: touches a wrong pair, lifts too
early, slips. Sees prompts and the meter's display, nothing else. At a fixture it clips the unit in, presses a
key and takes it out when it is done. Not for measuring or judging.
"""

from __future__ import annotations

import asyncio
import contextlib
from collections import deque
from collections.abc import Callable
from dataclasses import dataclass
from typing import Any

from sim.clock import BenchClock
from sim.meter import Meter
from sim.probes import ContactHabit, Probes, new_touch
from sim.scenes import PlannedUnit, Scene, dice_for
from sim.switch_card import BusCard
from sim.truth import TruthLog
from sim.units import Pair

Show = dict[str, Any]
Tell = Callable[[dict[str, Any]], None]

PAIR_PROMPTS = frozenset({"touch", "touch_again"})
IDLE_NEWS = frozenset({"wait", "settled"})
"""News that give no reason to move the probes."""
MOST_HINTS = 5
"""So many times a person looks again at the same pair."""


@dataclass(frozen=True, slots=True)
class Pace:
    """How quick a person is; all in simulated seconds, as shortest and longest.

    Attributes:
        scan: put the unit down and scan it; travel: from prompt to contact; react: from verdict to lifting.
        look: to find out what went wrong; turn: the dial of the meter.
        patience: holding on without any news, and at least `real_patience_s` real seconds.
        open_display: how long a display must show overload before the hands believe it.
        notices: how often a person sees, before pressing a key, that the probes are on a wrong pair.
    """

    scan: tuple[float, float] = (0.6, 1.2)
    travel: tuple[float, float] = (0.35, 0.75)
    react: tuple[float, float] = (0.15, 0.35)
    look: tuple[float, float] = (0.6, 1.2)
    turn: tuple[float, float] = (0.8, 1.5)
    patience: float = 20.0
    real_patience_s: float = 6.0
    open_display: float = 3.0
    notices: float = 0.9


PACES = {"quick": Pace(), "slow": Pace(travel=(1.5, 2.5), react=(1.0, 2.0), turn=(2.0, 4.0))}


class Operator:
    """Somebody at the bench: sees what is shown, fetches units and puts them aside.

    Args:
        scene: the units; `seed`: of every delay and slip.
        probes, clock: the bench.
        tell: takes what the hands do, as JSON objects.
        truth: the log.
    """

    def __init__(
        self, scene: Scene, seed: int, *, probes: Probes, clock: BenchClock, tell: Tell, truth: TruthLog
    ) -> None:
        self._scene, self._seed = scene, seed
        self._probes, self._clock = probes, clock
        self._tell, self._truth = tell, truth
        self._dice = dice_for(seed, "fixture hands")
        self._inbox: asyncio.Queue[Show] = asyncio.Queue()
        self._waiting = iter(scene.units)
        self._planned: PlannedUnit | None = None

    def see(self, show: Show) -> None:
        """A prompt, a colour or a sound reaches the operator."""
        self._inbox.put_nowait(show)

    async def _pause(self, limits: tuple[float, float]) -> None:
        await self._clock.pause(self._dice.uniform(*limits))

    async def _scanned(self, takes_s: tuple[float, float], *, down: bool) -> None:
        """Take the next unit and scan it; when there is none, the day is over."""
        self._planned = next(self._waiting, None)
        if self._planned is None:
            self._tell({"hands": "finished"})
            return
        await self._pause(takes_s)
        for line in self._planned.before if down else ():
            self._tell({"hands": "type", "line": line})
        self._begun(self._planned, down=down)
        self._tell({"hands": "scan", "serial": self._planned.unit.serial})

    def _begun(self, planned: PlannedUnit, *, down: bool) -> None:
        """A unit comes to the bench, and onto it if it is put down."""
        self._planned, unit = planned, planned.unit
        unit.since_s = self._clock.now_s()
        if down:
            self._probes.place(unit)
        air_celsius = self._probes.ambient.celsius(unit.since_s)
        self._truth.unit(self._scene.kind, planned, unit.celsius(air_celsius, unit.since_s))

    def _lifted(self) -> bool:
        """Take the probes up; gives whether they were down."""
        touch, now_s = self._probes.held, self._clock.now_s()
        if touch is None:
            return False
        self._probes.lift(now_s)
        unit = self._probes.unit
        air_celsius = self._probes.ambient.celsius(now_s)
        self._truth.touch(touch, unit, None if unit is None else unit.celsius(air_celsius, now_s))
        return True

    def _put_aside(self, show: Show) -> None:
        if self._planned is not None:
            serial = self._planned.unit.serial
            self._truth.write("aside", serial=serial, outcome=show.get("outcome"))
            self._tell({"hands": "aside", "serial": serial})
        self._probes.place(None)
        self._planned = None


class Hands(Operator):
    """The operator of one scene with the probes in hand.

    Args:
        scene, seed, bench: as an `Operator` takes them.
        meter: its display is looked at, its dial turned.
        pace: how quick the hands are; `habit`: how clean the contacts.
    """

    def __init__(
        self,
        scene: Scene,
        seed: int,
        *,
        meter: Meter,
        pace: Pace | None = None,
        habit: ContactHabit | None = None,
        **bench: Any,
    ) -> None:
        super().__init__(scene, seed, **bench)
        self._meter = meter
        self._pace, self._habit = pace or Pace(), habit or ContactHabit()
        self._again: deque[Show] = deque()
        self._unit_no = self._touch_no = 0
        self._slipped: set[Pair] = set()
        self._asking: Show = {}

    async def work(self) -> None:
        """Follow prompts until cancelled."""
        while True:
            # A screen that still asks for a pair is looked at again after a while.
            show = await self._next(self._patience_s() if self._asking else None) or self._asking
            what = show.get("show")
            if what == "start_unit":
                await self._fetch()
            elif what == "short_probes":
                await self._short(show)
            elif what in PAIR_PROMPTS:
                await self._measure(show)
            elif what == "unit":
                for line in self._planned.after if self._planned is not None else ():
                    self._tell({"hands": "type", "line": line})
                self._put_aside(show)

    async def _next(self, within_s: float | None = None) -> Show:
        """The next thing to be seen; an empty one when nothing comes within a simulated time."""
        if self._again:
            return self._again.popleft()
        show: Show = {}
        if within_s is None:
            show = await self._inbox.get()
        else:
            with contextlib.suppress(TimeoutError):
                async with asyncio.timeout(within_s / self._clock.speed):
                    show = await self._inbox.get()
        return self._noted(show)

    def _noted(self, show: Show) -> Show:
        """Keep in mind which pair the screen asks for."""
        if show.get("show") in PAIR_PROMPTS:
            self._asking = show
        elif show.get("show") in {"verdict", "lift", "unit", "start_unit", "short_probes"}:
            self._asking = {}
        return show

    async def _fetch(self) -> None:
        self._probes.place(None)
        self._unit_no, self._touch_no, self._slipped = self._unit_no + 1, 0, set()
        self._dice = dice_for(self._seed, "hands", self._unit_no, 0)
        await self._scanned(self._pace.scan, down=True)

    # ---------------------------------------------------------------- touches
    def _down(self, pair: Pair | None) -> None:
        self._touch_no += 1
        self._dice = dice_for(self._seed, "hands", self._unit_no, self._touch_no)
        touch = new_touch(self._dice, self._habit, pair, self._clock.now_s())
        self._probes.touch(touch)
        if pair is None:
            self._tell({"hands": "short"})
        else:
            self._tell({"hands": "touch", "pins": list(pair)})

    def _up(self) -> None:
        if self._lifted():
            self._tell({"hands": "lift"})

    async def _turn(self, show: Show) -> bool:
        """Turn the dial where it is to be turned, and say where it stands if asked; gives whether."""
        ohm = show.get("turn_ohm")
        if ohm is None or not self._meter.kind.dial:
            return False
        if self._meter.range.nominal_ohm != ohm:
            await self._pause(self._pace.turn)
            self._meter.turn(ohm)
        if show.get("untold"):
            self._tell({"hands": "type", "line": f".dial {ohm:.0f} ohm"})
        return True

    async def _short(self, show: Show) -> None:
        """Hold the tips together until told that it is enough; anew where nothing comes of it."""
        await self._turn(show)
        show = {}
        while show.get("show") in {None, "hint"}:
            await self._pause(self._pace.travel)
            self._down(None)
            show = await self._next(self._patience_s())
            while show.get("show") in {"short_probes", *IDLE_NEWS}:
                await self._turn(show)
                show = await self._next(self._patience_s())
            await self._pause(self._pace.react)
            self._up()
        if show["show"] not in {"lift", "verdict"}:
            self._again.append(show)

    def _patience_s(self) -> float:
        """A person waits some seconds of real time too, however fast the bench runs."""
        return max(self._pace.patience, self._pace.real_patience_s * self._clock.speed)

    def _where_to_go(self, asked: Pair) -> Pair:
        """The pair the hands go to: the right one, or the one of a slip, once per pair."""
        if self._planned is None or asked in self._slipped:
            return asked
        self._slipped.add(asked)
        mistaken = {frozenset(k): v for k, v in self._planned.slips.items()}.get(frozenset(asked))
        if mistaken is not None:
            return mistaken
        if self._dice.random() < self._scene.random_wrong:
            others = [p for p in self._scene.kind.steps if frozenset(p) != frozenset(asked)]
            return self._dice.choice(others)
        return asked

    def _at_hand(self, asked: Pair) -> Pair:
        """Which pair is taken next: the one that is asked for."""
        return asked

    def _asked(self, show: Show) -> Pair | None:
        """The two places of a prompt, by the unit's own names; None where the unit has no such places."""
        places = {p.upper(): p for p in self._scene.kind.places()}
        pins = [places.get(str(p).upper()) for p in show.get("pins", ())]
        if len(pins) != 2 or pins[0] is None or pins[1] is None or pins[0] == pins[1]:
            return None
        return pins[0], pins[1]

    async def _measure(self, show: Show) -> None:
        """Bring the probes to a pair and hold them until something tells otherwise."""
        asked = self._asked(show)
        if asked is None:
            self._tell({"hands": "puzzled", "pins": show.get("pins")})
            return
        await self._turn(show)
        await self._pause(self._pace.travel)
        if show.get("show") == "touch":
            asked = self._at_hand(asked)
        self._down(self._where_to_go(asked))
        hints = 0
        while True:
            news = await self._hold(asked)
            self._up()
            what = news.get("show")
            if what in {"hint", None}:
                hints += what == "hint"
                if hints > MOST_HINTS:
                    return  # puzzled: wait for another prompt
                await self._pause(self._pace.look)
                self._take_as_done(asked)
                self._down(self._where_to_go(asked))
            elif what == "touch_again" and self._asked(news) in {asked, None}:
                await self._pause(self._pace.travel)
                self._down(self._where_to_go(asked))
            else:
                if what not in {"lift", "verdict", "settled", "early", "misplaced"}:
                    self._again.append(news)
                if what not in {"early", "misplaced"}:
                    return
                await self._pause(self._pace.look)
                self._down(asked)

    async def _hold(self, asked: Pair) -> Show:
        """Keep the probes where they are until there is a reason to lift; gives that reason."""
        early_s, slip_s = self._mishaps()
        start_s = self._clock.now_s()
        give_up_s = start_s + self._patience_s()
        told_open = False
        while True:
            now_s = self._clock.now_s()
            if now_s >= give_up_s:
                return {}
            if slip_s is not None and now_s >= start_s + slip_s:
                slip_s = None
                await self._slip()
            if early_s is not None and now_s >= start_s + early_s:
                return {"show": "early"}
            if not told_open and self._display_open_s() >= self._pace.open_display:
                told_open = True
                if self._misplaced(asked) and self._dice.random() < self._pace.notices:
                    return {"show": "misplaced"}
                self._tell({"hands": "confirm_open", "pins": list(asked)})
            news = await self._next(within_s=0.25)
            if await self._turn(news):
                told_open = False  # a key was of no use before: once more
            if not news or news.get("show") in IDLE_NEWS or self._same_prompt(news, asked):
                continue
            await self._pause(self._pace.react)
            return news

    def _misplaced(self, asked: Pair) -> bool:
        """Whether the probes are on another pair than meant."""
        touch = self._probes.held
        return touch is not None and touch.pair is not None and set(touch.pair) != set(asked)

    def _take_as_done(self, asked: Pair) -> None:
        """A hint is followed by a prompt for the same pair: going there once does for both."""
        while not self._inbox.empty():
            news = self._noted(self._inbox.get_nowait())
            if news.get("show") not in PAIR_PROMPTS or self._asked(news) != asked:
                self._again.append(news)
                return

    def _same_prompt(self, news: Show, asked: Pair) -> bool:
        pair = self._asked(news)
        return news.get("show") == "touch" and pair is not None and frozenset(pair) == frozenset(asked)

    def _mishaps(self) -> tuple[float | None, float | None]:
        early = self._dice.uniform(0.3, 1.0) if self._dice.random() < self._scene.random_early else None
        slip = self._dice.uniform(0.4, 1.6) if self._dice.random() < self._scene.random_slip else None
        return early, slip

    async def _slip(self) -> None:
        """Lose the contact for a moment and find it again, without noticing much."""
        touch = self._probes.held
        if touch is None or touch.pair is None:
            return
        now_s = self._clock.now_s()
        touch.gaps.append((now_s, now_s + self._dice.uniform(0.05, 0.5)))

    def _display_open_s(self) -> float:
        """For how long the display has shown overload while the probes were held."""
        touch, shown = self._probes.held, self._meter.shown
        if touch is None or shown is None or not shown.overload:
            return 0.0
        last_value_s = self._meter.last_value_s
        return shown.end_s - max(touch.start_s, last_value_s)


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


class FixtureHands(Operator):
    """The operator of one scene at a fixture.

    Args:
        scene, seed, bench: as an `Operator` takes them.
        card: of the fixture.
        pace: how quick the hands are.
    """

    def __init__(
        self, scene: Scene, seed: int, *, card: BusCard, pace: FixturePace | None = None, **bench: Any
    ) -> None:
        super().__init__(scene, seed, **bench)
        self._card, self._pace = card, pace or FixturePace()

    async def work(self) -> None:
        """Follow prompts until cancelled."""
        while True:
            show = await self._inbox.get()
            what = show.get("show")
            if what == "start_unit":
                await self._scanned(self._pace.scan, down=False)
            elif what == "clip_on":
                await self._pause(self._pace.clip)
                if self._planned is not None:
                    self._probes.place(self._planned.unit)
                self._tell({"hands": "confirm_open"})
            elif what == "look_at_clips":
                await self._pause(self._pace.look)
                await self._card.reseat()
                await self._pause(self._pace.press)
                self._tell({"hands": "confirm_open"})
            elif what == "unit":
                await self._pause(self._pace.unclip)
                self._put_aside(show)
