"""Seeded scenes: which units come to the bench, and what is wrong with them.

All dice come from the seed, so the same seed brings the same units, faults and slips. The operator and the
meter never see any of it; what is true about a unit is for `truth` to say. What makes a scene is written in
configs/scenes.
"""

from __future__ import annotations

import random
from collections.abc import Callable, Sequence
from dataclasses import dataclass, field, replace
from functools import partial
from itertools import cycle, islice
from typing import Any

from sim.faults import Fault, plant, usual_faults
from sim.files import Unusable, named, read
from sim.units import Pair, UnitType, unit_type
from sim.winding import WoundUnit


@dataclass(frozen=True, slots=True)
class PlannedUnit:
    """A unit that will come to the bench.

    Attributes:
        story: the role it plays.
        slips: pair asked for -> pair probed by mistake, at the first try.
        before: lines that the hands type at the bench before they scan it; after: when it has its result.
    """

    unit: WoundUnit
    fault: Fault
    story: str
    slips: dict[Pair, Pair] = field(default_factory=dict)
    before: tuple[str, ...] = ()
    after: tuple[str, ...] = ()


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


def within(dice: random.Random, sigma: float, most: float) -> float:
    """A normal deviate with a standard deviation, cut off at +-most."""
    return max(-most, min(most, dice.gauss(0, sigma)))


def wound(kind: UnitType, serial: str, dice: random.Random, spools: dict[str, float]) -> WoundUnit:
    """A sound unit as this shop winds it: spool, hand and turn counter make it differ from the design.

    Args:
        kind: what is wound.
        serial: its identity.
        dice: of this unit.
        spools: coil -> deviation of the spool's resistance per metre as a fraction; 0 where left out.
    """
    together = within(dice, 0.004, 0.010)
    branches = []
    for branch in kind.nominal().branches:
        hand = within(dice, 0.005, 0.012)
        if branch.name in kind.bifilar:
            hand = together + hand / 10
        is_coil = any(c.name == branch.name for c in kind.coils)
        factor = (1 + spools.get(branch.name, 0.0)) * (1 + hand) if is_coil else 1.0
        branches.append(replace(branch, ohm_20=branch.ohm_20 * factor))
    return WoundUnit(serial, tuple(branches))


def stock_spools(kind: UnitType, seed: int, least: float = -1.0) -> dict[str, float]:
    """Deviation of each wire's spool from its nominal, about 0.9 % standard, within 1.6 %."""
    dice = dice_for(seed, kind.key, "spools")
    by_wire = {wire: within(dice, 0.009, 0.016) for wire in sorted({c.wire for c in kind.coils})}
    return {c.name: max(least, by_wire[c.wire]) for c in kind.coils}


def of_sheet(sheet: str, seed: int, faults: Sequence[Fault], number: int | None = None) -> Scene:
    """Units of any sheet with these faults in turn, in calm hands.

    Raises:
        Unusable: there is no such sheet.
    """
    kind = unit_type(sheet)
    spools, units = stock_spools(kind, seed), []
    for n, fault in enumerate(islice(cycle(faults or [Fault()]), number or max(1, len(faults))), start=1):
        unit = wound(kind, f"{kind.prefix}-{n:04d}", dice_for(seed, kind.key, "unit", n), spools)
        story = "good" if fault.kind == "none" else fault.kind
        units.append(PlannedUnit(plant(kind, unit, fault), fault, story))
    return Scene(kind.key, kind, tuple(units))


def build_scene(name: str, seed: int, number: int | None = None) -> Scene:
    """The scene of a file, or of a shipped one by its name.

    Args:
        name: of it.
        seed: of all its dice.
        number: how many units; None: as many as it usually has.

    Raises:
        Unusable: there is no such file, or it is no scene.
    """
    path = named("scenes", name)
    told = read(path)
    if "like" in told:
        told = {**read(named("scenes", told["like"])), **told}
    try:
        return _scene(path.stem, told, seed, number or told.get("number") or len(told["units"]))
    except (KeyError, TypeError, ValueError) as error:
        raise Unusable(f"{path} is no scene: {error}") from None


def _scene(key: str, told: dict[str, Any], seed: int, number: int) -> Scene:
    kind = unit_type(told["sheet"])
    roles = list(islice(cycle(told["units"]), number))
    rest = roles[1:]
    dice_for(seed, "roles").shuffle(rest)
    roles[1:] = rest
    for at, role in told.get("at", {}).items():
        roles[int(at) - 1 : int(at)] = [role] if int(at) <= number else []
    spools = stock_spools(kind, seed, told.get("least_spool", -1.0))
    typed = {spool["from"]: spool for spool in told.get("spool", [])}
    units = []
    for n, role in enumerate(roles, start=1):
        spools |= typed.get(n, {}).get("coils", {})
        after = () if n < number else tuple(told.get("last", ()))
        dice = dice_for(seed, kind.key, "unit", n)
        sound = partial(wound, kind, f"{kind.prefix}-{n:04d}", dice, spools)
        unit = _planned(kind, told, role, dice, sound)
        before = tuple(typed.get(n, {}).get("before", ()))
        units.append(replace(unit, before=before, after=unit.after + after))
    often = {f"random_{what}": told.get(what, 0.0) for what in ("wrong", "early", "slip")}
    return Scene(key, kind, tuple(units), **often)


def _planned(
    kind: UnitType, told: dict[str, Any], role: str, dice: random.Random, sound: Callable[[], WoundUnit]
) -> PlannedUnit:
    """A unit of one role: one of the tables of its name is drawn, and sizes between their two ends."""
    tables = told.get(role, [{}])
    table = dice.choice(tables) if len(tables) > 1 else tables[0]
    fault = usual_faults(kind).get(table.get("kind", role), Fault())
    drawn = {name: dice.uniform(*table[name]) for name in ("size", "extra") if name in table}
    size, extra = drawn.get("size", fault.size), drawn.get("extra", fault.extra)
    fault = Fault(fault.kind, table.get("where", fault.where), size, extra)
    slips = {(a, b): (c, d) for (a, b), (c, d) in table.get("slips", [])}
    after = tuple(table.get("after", told.get("after", ())))
    return PlannedUnit(plant(kind, sound(), fault), fault, role, slips, after=after)
