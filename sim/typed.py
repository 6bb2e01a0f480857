"""A bench worked by whoever sits at this terminal: typed words move the probes and change the unit.

The counterpart of `hands`, for trying a real bench program in a second terminal. Shows no verdicts: those are
for that program to give.
"""

from __future__ import annotations

import re
from collections.abc import AsyncIterator, Callable
from dataclasses import dataclass

from sim.clock import BenchClock
from sim.faults import PLANTERS, Fault, plant
from sim.probes import ContactHabit, Probes, new_touch
from sim.scenes import PlannedUnit, dice_for, stock_spools, wound
from sim.truth import TruthLog
from sim.units import UnitType

HELP = """\
  1 2            touch two places ({places})
  short          touch the tips together
  lift           take the probes up
  unit KIND      put another unit on the bench: {kinds};
                 with place and size if you like: unit joint 2 12, unit shorted slow charge 0.12
  dial 2k        turn the meter's dial to the range that holds this; dial auto lets it range by itself
  what           what is really wrong with the unit on the bench
  help, quit"""


DIALLED = re.compile(r"(\d+(?:\.\d+)?)([kKM]?)(?:ohm|Ω)?")


class Unclear(Exception):
    """What was typed makes no sense; the message says why."""


@dataclass(frozen=True, slots=True)
class Kind:
    """A fault by its word on the command line: where and how big unless typed otherwise."""

    where: str
    size: float
    extra: float = 0.0


def usual_faults(kind: UnitType) -> dict[str, Kind]:
    """The faults of a unit type by word."""
    coil, pin = kind.coils[0], kind.pins[0]
    usual = {
        "shorted": Kind(coil.name, 0.12, 0.01),
        "joint": Kind(pin, max(0.05, 0.08 * coil.ohm_20())),
        "open": Kind(coil.name, 0),
        "gauge": Kind("all", 1),
        "turns": Kind(coil.name, -0.1),
        "grounded": Kind(coil.name, 0.35, 3.0),
        "strand": Kind(coil.name, 2),
        "stretched": Kind(coil.name, 0.05),
        "reversed": Kind(coil.name, 0),
        "warm": Kind("", 35, 25.0),
        "swapped": Kind(f"{kind.pins[0]}/{kind.pins[1]}", 0),
    }
    if coil.sections > 1 or any(c.sections > 1 for c in kind.coils):
        usual["bypassed"] = Kind(next(c.name for c in kind.coils if c.sections > 1), 0)
    if len(kind.coils) == 3 and len({c.b for c in kind.coils}) == 1:
        usual["delta"] = Kind("", 0)
    return {word: found for word, found in usual.items() if word in PLANTERS or word in {"warm", "swapped"}}


class TypedHands:
    """Probes and units moved by typed lines.

    Args:
        kind: of the units; `seed`: of their spread and of the contacts.
        probes, clock: the bench; `turn`: its meter's dial, None for ranging by itself.
        say: prints a line for a person.
        truth: the log.
    """

    def __init__(
        self,
        kind: UnitType,
        seed: int,
        *,
        probes: Probes,
        clock: BenchClock,
        say: Callable[[str], None],
        truth: TruthLog,
        turn: Callable[[float | None], None] = lambda _ohm: None,
    ) -> None:
        self._kind, self._seed = kind, seed
        self._probes, self._clock, self._say, self._truth = probes, clock, say, truth
        self._faults, self._turn = usual_faults(kind), turn
        self._unit_no = 0
        self._dice = dice_for(seed, "typed")
        self._planned: PlannedUnit | None = None

    async def work(self, lines: AsyncIterator[str]) -> None:
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
                self._do(words)
            except Unclear as unclear:
                self._say(str(unclear))

    def _help(self) -> str:
        return HELP.format(places=" ".join(self._kind.places()), kinds=", ".join(["good", *self._faults]))

    def _do(self, words: list[str]) -> None:
        word = words[0].lower()
        if word == "help":
            self._say(self._help())
        elif word == "lift":
            self._lift()
            self._say("probes in the air")
        elif word == "short":
            self._touch(None)
            self._say("tips together")
        elif word == "unit":
            self._new_unit(words[1:])
        elif word == "what":
            self._tell_fault()
        elif word == "dial":
            self._dial(words[1:])
        else:
            self._touch(self._pair(words))
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

    def _touch(self, pair: tuple[str, str] | None) -> None:
        self._lift()
        self._probes.touch(new_touch(self._dice, ContactHabit(), pair, self._clock.now_s()))

    def _lift(self) -> None:
        touch, now_s = self._probes.held, self._clock.now_s()
        if touch is None:
            return
        self._probes.lift(now_s)
        unit = self._probes.unit
        air_celsius = self._probes.ambient.celsius(now_s)
        self._truth.touch(touch, unit, None if unit is None else unit.celsius(air_celsius, now_s))

    # ------------------------------------------------------------------ units
    def _fault(self, words: list[str]) -> Fault:
        if not words or words[0].lower() == "good":
            return Fault()
        name = words[0].lower()
        if name not in self._faults:
            raise Unclear(f"No fault is called {name!r}. Known: good, {', '.join(self._faults)}.")
        usual, rest, size = self._faults[name], words[1:], None
        if rest:
            try:
                size = float(rest[-1])
            except ValueError:
                size = None
            # a pin may be a number too: a lone word that names a pin is the place
            if size is not None and (len(rest) > 1 or rest[0] not in self._kind.pins or name == "warm"):
                rest = rest[:-1]
            else:
                size = None
        where = " ".join(rest) or usual.where
        return Fault(name, where, usual.size if size is None else size, usual.extra)

    def _new_unit(self, words: list[str]) -> None:
        fault = self._fault(words)
        number = self._unit_no + 1
        serial = f"{self._kind.prefix}-{number:04d}"
        dice = dice_for(self._seed, self._kind.key, "unit", number)
        unit = wound(self._kind, serial, dice, stock_spools(self._kind, self._seed))
        try:
            unit = plant(self._kind, unit, fault)
        except (KeyError, ZeroDivisionError) as error:
            raise Unclear(f"No such unit can be made: {error.args[0]}.") from None
        if not all(branch.ohm_20 >= 0 for branch in unit.branches):
            raise Unclear(f"No such unit can be made: {fault.size:g} is no size for {fault.kind!r}.")
        self._lift()
        self._unit_no = number
        unit.since_s = now_s = self._clock.now_s()
        self._planned = PlannedUnit(unit, fault, fault.kind if fault.kind != "none" else "good")
        self._probes.place(unit)
        celsius = unit.celsius(self._probes.ambient.celsius(now_s), now_s)
        self._truth.unit(self._kind, self._planned, celsius)
        self._say(f"on the bench: {serial} ({words[0].lower() if words else 'good'})")

    def _tell_fault(self) -> None:
        if self._planned is None or self._planned.fault.kind == "none":
            self._say("nothing is wrong with it")
            return
        fault = self._planned.fault
        where = f" at {fault.where}" if fault.where else ""
        size = f", {fault.size:g}" if fault.size else ""
        self._say(f"{fault.kind}{where}{size}")
