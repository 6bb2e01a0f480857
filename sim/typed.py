"""A bench worked by whoever sits at this terminal: typed words move the probes and change the unit.

The counterpart of `hands`, for trying a real bench program in a second terminal. Shows no verdicts: those are
for that program to give.
"""

from __future__ import annotations

import re
from collections.abc import AsyncIterator, Callable
from typing import Any

from sim.faults import NoSuchFault, fault_of, plant, usual_faults
from sim.hands import Operator, Pace
from sim.probes import ContactHabit, new_touch
from sim.scenes import PlannedUnit, Scene, dice_for, stock_spools, wound

HELP = """\
  1 2            touch two places ({places})
  short          touch the tips together
  lift           take the probes up
  unit           put the next unit on the bench
  unit KIND      put one with a fault there: {kinds};
                 with place and size if you like: unit joint 2 12, unit shorted slow charge 0.12
  dial 2k        turn the meter's dial to the range that holds this; dial auto lets it range by itself
  what           what is really wrong with the unit on the bench
  help, quit"""


DIALLED = re.compile(r"(\d+(?:\.\d+)?)([kKM]?)(?:ohm|Ω)?")


class Unclear(Exception):
    """What was typed makes no sense; the message says why."""


class TypedHands(Operator):
    """Probes and units moved by typed lines.

    Args:
        scene, seed, bench: as an `Operator` takes them; good units come when those of the scene are used up.
        pace: how long the probes are in the air on their way.
        say: prints a line for a person.
        turn: the meter's dial, None for ranging by itself.
    """

    def __init__(
        self,
        scene: Scene,
        seed: int,
        *,
        pace: Pace,
        say: Callable[[str], None],
        turn: Callable[[float | None], None] = lambda _ohm: None,
        **bench: Any,
    ) -> None:
        super().__init__(scene, seed, tell=lambda _what: None, **bench)
        self._kind, self._pace, self._say, self._turn = scene.kind, pace, say, turn
        self._unit_no = 0
        self._dice = dice_for(seed, "typed")

    async def follow(self, lines: AsyncIterator[str]) -> None:
        """Follow typed lines until they end or say so."""
        self._say(self._help())
        self._new_unit([])
        async for line in lines:
            words = line.split()
            if not words:
                continue
            if words[0].lower() in {"quit", "exit"}:
                return
            try:
                await self._do(words)
            except (Unclear, NoSuchFault) as unclear:
                self._say(str(unclear))

    def _help(self) -> str:
        return HELP.format(
            places=" ".join(self._kind.places()), kinds=", ".join(["good", *usual_faults(self._kind)])
        )

    async def _do(self, words: list[str]) -> None:
        word = words[0].lower()
        if word == "help":
            self._say(self._help())
        elif word == "lift":
            self._lifted()
            self._say("probes in the air")
        elif word == "short":
            await self._touch(None)
            self._say("tips together")
        elif word == "unit":
            self._new_unit(words[1:])
        elif word == "what":
            self._tell_fault()
        elif word == "dial":
            self._dial(words[1:])
        else:
            await self._touch(self._pair(words))
            self._say(f"probes on {words[0]} and {words[1]}")

    def _dial(self, words: list[str]) -> None:
        """Turn the knob: "dial 2k", "dial 200", "dial auto"."""
        text = "".join(words)
        number = DIALLED.fullmatch(text)
        if number is None and text != "auto":
            raise Unclear(f"Not understood: {text!r}. Type dial 200, dial 2k, dial 20M or dial auto.")
        ohm = (
            None if number is None else float(number[1]) * {"": 1.0, "k": 1e3, "K": 1e3, "M": 1e6}[number[2]]
        )
        try:
            self._turn(ohm)
        except ValueError as error:
            raise Unclear(f"The dial has no such place: {error}.") from None
        self._say(f"dial on {text}")

    def _pair(self, words: list[str]) -> tuple[str, str]:
        places = {place.upper(): place for place in self._kind.places()}
        found = [places.get(word.upper()) for word in words]
        if len(found) != 2 or found[0] is None or found[1] is None or found[0] == found[1]:
            known = " ".join(self._kind.places())
            raise Unclear(f"Not understood: {' '.join(words)!r}. Type two of {known}, or help.")
        return found[0], found[1]

    async def _touch(self, pair: tuple[str, str] | None) -> None:
        if self._lifted():
            await self._clock.pause(self._dice.uniform(*self._pace.travel))
        self._probes.touch(new_touch(self._dice, ContactHabit(), pair, self._clock.now_s()))

    # ------------------------------------------------------------------ units
    def _new_unit(self, words: list[str]) -> None:
        """Put the next unit of the scene on the bench, or one with a fault by its words."""
        number = self._unit_no + 1
        planned = None if words else next(self._waiting, None)
        if planned is None:
            fault = fault_of(self._kind, words)
            dice = dice_for(self._seed, self._kind.key, "unit", number)
            serial = f"{self._kind.prefix}-{number:04d}"
            unit = plant(
                self._kind, wound(self._kind, serial, dice, stock_spools(self._kind, self._seed)), fault
            )
            planned = PlannedUnit(unit, fault, "good" if fault.kind == "none" else fault.kind)
        self._lifted()
        self._unit_no = number
        self._begun(planned, down=True)
        self._say(f"on the bench: {planned.unit.serial} ({words[0].lower() if words else 'next one'})")

    def _tell_fault(self) -> None:
        if self._planned is None or self._planned.fault.kind == "none":
            self._say("nothing is wrong with it")
            return
        fault = self._planned.fault
        where = f" at {fault.where}" if fault.where else ""
        size = f", {fault.size:g}" if fault.size else ""
        self._say(f"{fault.kind}{where}{size}")
