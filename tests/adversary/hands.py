"""A virtual operator: reads the request as data (kind, pair, step), touches pins, presses Enter; knows no
truth.

Looks at the meter's display as a person does, to see that a pair stays open.
"""

from __future__ import annotations

import itertools
import json
import math
import random
import threading
import time
from dataclasses import dataclass, field

TOUCHES = ("touch", "touch_again")


@dataclass(frozen=True)
class Habit:
    """How somebody works; chances from 0 to 1, times in seconds.

    Attributes:
        air_s: between two touches; hurried hands take less than the meter's two conversions.
        linger_s: shortest and longest stay on a pair that has been judged.
        slip: chance of a touch on a wrong pair; mash: chance of pressing Enter without a reason.
        moves: False never moves the probes from where they first lay.
        tired_s: a request that nothing comes of is looked at again.
    """

    air_s: float = 0.12
    linger_s: tuple = (0.0, 0.02)
    slip: float = 0.0
    mash: float = 0.0
    moves: bool = True
    tired_s: float = 3.0


OBEDIENT = Habit()
LINGERING = Habit(linger_s=(0.1, 5.0))
HURRIED = Habit(air_s=0.03)
SLIPPING = Habit(slip=0.25)
MASHING = Habit(mash=0.5)
STILL = Habit(moves=False)
HABITS = {
    "obedient": OBEDIENT, "lingering": Habit(linger_s=(0.1, 1.0)), "hurried": HURRIED, "slipping": SLIPPING,
    "mashing": MASHING,
}  # fmt: skip


@dataclass
class Hands:
    """Works at one bench.

    Args:
        bench: the bench.
        seed: of slips and contacts.
        habit: how it works.
    """

    bench: object
    seed: object = 1
    habit: Habit = OBEDIENT
    unit: object = None
    unknown: list = field(default_factory=list)
    fates: list = field(default_factory=list)
    ended: threading.Event = field(default_factory=threading.Event)

    def __post_init__(self):
        self.dice = random.Random(f"{self.seed} hands")
        self._pressed = 0

    # ------------------------------------------------------------------ deeds

    def place(self, unit):
        """Lay a unit on the bench."""
        self.unit = unit
        self.bench.probes.resistance_ohm = None if unit is None else unit.resistance_ohm

    def touch(self, on, *, slip=False):
        """Both probes on a pair, together ("short"), or on the known resistor."""
        self.bench.probes.down(on, self.dice.uniform(0.002, 0.008), slip=slip)

    def lift(self, air_s=None):
        """Probes in the air."""
        if self.bench.probes.touch is not None:
            time.sleep(self.dice.uniform(*self.habit.linger_s))
        self.bench.probes.up()
        time.sleep(self.habit.air_s if air_s is None else air_s)

    # ------------------------------------------------------------------ work

    def measure(self, unit, within_s=120.0, serial=None):
        """Scan a unit and do what is asked until it has its result; gives that, None when none comes."""
        self.place(unit)
        self.lift()
        before = len(self.bench.journal.entries("unit_result", serial=serial or unit.serial))
        self.bench.type(serial or unit.serial)
        return self.go_on(serial or unit.serial, within_s=within_s, results=before)

    def go_on(self, serial, *, within_s=120.0, results=0):
        """Do what is asked until this serial has one more result than `results`."""
        ear, deadline_s = self.bench.ear, time.monotonic() + within_s
        token, acted_s = None, time.monotonic()
        while time.monotonic() < deadline_s and not self.ended.is_set():
            with ear.news:
                ear.news.wait(0.05)
                state = dict(ear.state)
            now = self._token(state)
            result = state.get("result")
            if result and result["serial"] == serial:
                told = self.bench.journal.entries("unit_result", serial=serial)
                if len(told) > results:
                    self.lift()
                    return told[-1].payload
            ask = state.get("ask") or {}
            if now != token or time.monotonic() - acted_s > self.habit.tired_s:
                again = now == token
                token = now
                if ask.get("serial") in (serial, "", None) or ask.get("kind") != "start_unit":
                    self._act(ask, again=again)
                    acted_s = time.monotonic()
        return None

    @staticmethod
    def _token(state):
        """What makes a person look up: another request, verdict or notice. Compared, never read."""
        verdict, notes = state.get("verdict") or {}, state.get("notes") or [{}]
        note = (notes[0].get("code"), notes[0].get("utc_s"))
        return json.dumps(
            [state.get("ask"), verdict.get("utc_s"), verdict.get("attempt"), note], sort_keys=True
        )

    def _act(self, ask, *, again=False):
        kind, pair = ask.get("kind"), tuple(ask.get("pair") or ())
        if self.habit.mash and self.dice.random() < self.habit.mash:
            for _ in range(self.dice.randint(1, 3)):
                self.bench.type("")
        if not self.habit.moves and self.bench.probes.touch is not None:
            return
        match kind:
            case "touch" | "touch_again":
                self._touch_asked(pair, again=again)
            case "short_probes":
                self.lift()
                self.touch("short")
            case "check_resistor":
                self.lift()
                self.touch("standard")
            case "lift":
                self.lift()
            case "start_unit" | "wait" | None:
                if not again:
                    self.lift()
            case _:
                self.unknown.append(kind)
                self.lift()
                self.bench.type("")

    def _touch_asked(self, pair, *, again):
        probes = self.bench.probes
        lying = probes.touch is not None and probes.touch.on == pair
        if again and lying and math.isinf(self.bench.instrument.display):
            self.bench.type("")  # the display has shown overload all the time: it is open
            return
        self.lift(max(self.habit.air_s, 0.4) if again else None)  # whoever is asked twice lifts properly
        if self.habit.slip and self.dice.random() < self.habit.slip:
            places = [
                other for other in itertools.combinations(self.unit.sheet.pins, 2) if set(other) != set(pair)
            ]
            self.touch(self.dice.choice(places), slip=True)
            time.sleep(self.dice.uniform(0.1, 0.6))
            self.lift()
        self.touch(pair)
