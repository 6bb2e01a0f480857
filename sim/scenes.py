"""Seeded scenes: which units come to the bench, what is wrong with them, and the truth about each.

The truth goes to a log for whoever checks the verdicts afterwards; the operator and the meter never see it.
"""

from __future__ import annotations

import json
import math
import random
from collections.abc import Callable
from dataclasses import asdict, dataclass, field, replace
from typing import Any, TextIO

from sim.faults import Fault, plant
from sim.units import PLOVER_80, UNIT_TYPES, UnitType
from sim.winding import WoundUnit

Pair = tuple[str, str]


@dataclass(frozen=True, slots=True)
class PlannedUnit:
    """A unit that will come to the bench.

    Attributes:
        slips: pair asked for -> pair probed by mistake, at the first try.
        story: the role it plays.
    """

    unit: WoundUnit
    fault: Fault
    story: str
    slips: dict[Pair, Pair] = field(default_factory=dict)


@dataclass(frozen=True, slots=True)
class Scene:
    """What is put on the bench, one after the other.

    Attributes:
        random_wrong, random_early, random_slip: how often, per touch, the hands of this scene go to a wrong
            pair, lift too early or slip while holding.
    """

    key: str
    kind: UnitType
    units: tuple[PlannedUnit, ...]
    random_wrong: float = 0.0
    random_early: float = 0.0
    random_slip: float = 0.0


def dice_for(seed: int, *about: object) -> random.Random:
    """Dice of their own for one purpose, so that nothing else that is thrown changes them."""
    return random.Random(f"{seed}/" + "/".join(str(a) for a in about))


def wound(kind: UnitType, serial: str, dice: random.Random, spools: dict[str, float]) -> WoundUnit:
    """A sound unit as this shop winds it: spool, hand and turn counter make it differ from the design.

    Args:
        kind: what is wound.
        serial: its identity.
        dice: of this unit.
        spools: coil -> deviation of the spool's resistance per metre as a fraction; 0 where left out.
    """
    nominal = kind.nominal()
    coils = {c.name for c in kind.coils}
    branches = []
    for branch in nominal.branches:
        hand = max(-0.012, min(0.012, dice.gauss(0, 0.005)))
        count = dice.gauss(0, 0.0005)
        factor = (1 + spools.get(branch.name, 0.0)) * (1 + hand + count) if branch.name in coils else 1.0
        branches.append(replace(branch, ohm_20=branch.ohm_20 * factor))
    return WoundUnit(serial, tuple(branches))


def stock_spools(kind: UnitType, seed: int) -> dict[str, float]:
    """Deviation of each coil's spool, about 0.9 % standard, within ±1.6 %."""
    dice = dice_for(seed, kind.key, "spools")
    return {c.name: max(-0.016, min(0.016, dice.gauss(0, 0.009))) for c in kind.coils}


# ------------------------------------------------------------- the demo scene
PLOVER_ROLES = ("good", "wrong pair", "shorted", "joint", "open", "warm", "good", "good", "good", "good")


def plover_fault(role: str, dice: random.Random) -> Fault:
    """The fault of a role, with its size thrown."""
    if role == "shorted":
        coil = dice.choice(("charge slow", "charge fast"))
        return Fault("shorted", coil, dice.uniform(0.10, 0.16), dice.uniform(0.0, 0.05))
    if role == "joint":
        pin, low, high = dice.choice((("2", 8.0, 14.0), ("3", 6.0, 10.0)))
        return Fault("joint", pin, dice.uniform(low, high))
    if role == "open":
        return Fault("open", dice.choice(("charge fast", "trigger")))
    if role == "warm":
        return Fault("warm", size=35.0, extra=25.0)
    return Fault()


def roles_in_order(roles: tuple[str, ...], number: int, dice: random.Random) -> list[str]:
    """The mix of roles for any number of units, shuffled, the first one in front as it is."""
    chosen = [roles[k % len(roles)] for k in range(number)]
    first, rest = chosen[:1], chosen[1:]
    dice.shuffle(rest)
    return first + rest


def plover_80(seed: int, number: int) -> Scene:
    """Ten units: seven sound, of which one is warm and one probed wrongly at first; three faulty."""
    spools = stock_spools(PLOVER_80, seed)
    units = []
    for k, role in enumerate(roles_in_order(PLOVER_ROLES, number, dice_for(seed, "roles")), start=1):
        dice = dice_for(seed, "unit", k)
        fault = plover_fault(role, dice)
        unit = plant(PLOVER_80, wound(PLOVER_80, f"P80-{k:04d}", dice, spools), fault)
        slips = {("1", "2"): ("1", "3")} if role == "wrong pair" else {}
        units.append(PlannedUnit(unit, fault, role, slips))
    return Scene("plover-80", PLOVER_80, tuple(units), random_early=0.02, random_slip=0.03)


SCENES: dict[str, Callable[[int, int], Scene]] = {"plover-80": plover_80}
USUAL_NUMBER = {"plover-80": 10}


def build_scene(name: str, seed: int, number: int | None = None) -> Scene:
    """The scene of that name.

    Raises:
        KeyError: where there is none.
    """
    return SCENES[name](seed, USUAL_NUMBER[name] if number is None else number)


# ---------------------------------------------------------------------- truth
def perfect_verdicts(kind: UnitType, unit: WoundUnit) -> dict[str, dict[str, Any]]:
    """What a bench without any error would say of each step's pair, at 20 °C and at room temperature."""
    limits = kind.pair_limits_ohm()
    found: dict[str, dict[str, Any]] = {}
    for pair in kind.steps:
        nominal, low, high = limits[pair]
        true_ohm = unit.steady_ohm(*pair)
        found["-".join(pair)] = {
            "nominal_ohm": round(nominal, 6),
            "lower_ohm": round(low, 6),
            "upper_ohm": round(high, 6),
            "true_ohm_20": round(true_ohm, 6) if math.isfinite(true_ohm) else None,
            "verdict": "pass" if low <= true_ohm <= high else "fail",
        }
    return found


class TruthLog:
    """Writes what really was, one JSON object a line; writes nothing where no file is given."""

    def __init__(self, file: TextIO | None) -> None:
        self._file = file

    def write(self, what: str, **facts: Any) -> None:
        """Append one fact."""
        if self._file is not None:
            print(json.dumps({"truth": what, **facts}), file=self._file, flush=True)

    def unit(self, kind: UnitType, planned: PlannedUnit, celsius: float) -> None:
        """Append what a unit is when it comes to the bench."""
        pairs = perfect_verdicts(kind, planned.unit)
        failed = any(p["verdict"] == "fail" for p in pairs.values())
        self.write(
            "unit",
            serial=planned.unit.serial,
            type=kind.key,
            story=planned.story,
            fault=asdict(planned.fault),
            winding_celsius=round(celsius, 2),
            excess_kelvin=planned.unit.excess_kelvin,
            pairs=pairs,
            verdict="fail" if failed else "pass",
            too_warm_to_judge=planned.unit.excess_kelvin > 3.0,
        )


__all__ = ["SCENES", "UNIT_TYPES", "PlannedUnit", "Scene", "TruthLog", "build_scene", "dice_for", "wound"]
