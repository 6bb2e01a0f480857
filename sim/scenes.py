"""Seeded scenes: which units come to the bench, and what is wrong with them.

All dice come from the seed, so the same seed brings the same units, faults and slips. The operator and the
meter never see any of it; what is true about a unit is for `truth` to say.
"""

from __future__ import annotations

import random
from collections.abc import Callable
from dataclasses import dataclass, field, replace

from sim.faults import Fault, plant
from sim.units import FATHOM_7, PLOVER_80, QUERN_12, UnitType
from sim.winding import WoundUnit

Pair = tuple[str, str]


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
        random_near: how often, at every touch, they go to another pair that shares a place with the right
            one; stubborn: how often such a pair is touched once more after it.
        own_order: the hands take the pairs of the unit as they lie at hand, whichever is asked for.
    """

    key: str
    kind: UnitType
    units: tuple[PlannedUnit, ...]
    random_wrong: float = 0.0
    random_early: float = 0.0
    random_slip: float = 0.0
    random_near: float = 0.0
    stubborn: float = 0.0
    own_order: bool = False


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


def stock_spools(kind: UnitType, seed: int) -> dict[str, float]:
    """Deviation of each gauge's spool from its nominal, about 0.9 % standard, within 1.6 %."""
    dice = dice_for(seed, kind.key, "spools")
    by_gauge = {awg: within(dice, 0.009, 0.016) for awg in sorted({c.awg for c in kind.coils})}
    return {c.name: by_gauge[c.awg] for c in kind.coils}


def roles_in_order(roles: tuple[str, ...], number: int, dice: random.Random) -> list[str]:
    """The mix of roles for any number of units, shuffled, the first one in front as it is."""
    chosen = [roles[k % len(roles)] for k in range(number)]
    first, rest = chosen[:1], chosen[1:]
    dice.shuffle(rest)
    return first + rest


def mixed(
    kind: UnitType,
    seed: int,
    roles: list[str],
    fault_of: Callable[[str, random.Random], Fault],
    wrong: dict[Pair, Pair],
) -> tuple[PlannedUnit, ...]:
    """Units of one type with a role each; `wrong` is what a unit of the role "wrong pair" suffers."""
    spools = stock_spools(kind, seed)
    units = []
    for number, role in enumerate(roles, start=1):
        dice = dice_for(seed, kind.key, "unit", number)
        fault = fault_of(role, dice)
        unit = plant(kind, wound(kind, f"{kind.prefix}-{number:04d}", dice, spools), fault)
        units.append(PlannedUnit(unit, fault, role, wrong if role == "wrong pair" else {}))
    return tuple(units)


# ------------------------------------------------------------------ Plover 80
PLOVER_ROLES = ("good", "wrong pair", "shorted", "joint", "open", "warm", "good", "good", "good", "good")


def plover_fault(role: str, dice: random.Random) -> Fault:
    """The fault of a role in a Plover 80, with its size thrown."""
    if role == "shorted":
        coil = dice.choice(("slow charge", "fast charge"))
        return Fault("shorted", coil, dice.uniform(0.15, 0.18), dice.uniform(0.0, 0.05))
    if role == "joint":
        pin, low, high = dice.choice((("2", 8.0, 14.0), ("3", 6.0, 10.0)))
        return Fault("joint", pin, dice.uniform(low, high))
    if role == "open":
        return Fault("open", dice.choice(("fast charge", "trigger")))
    if role == "warm":
        return Fault("warm", size=35.0, extra=25.0)
    return Fault()


def plover_80(seed: int, number: int) -> Scene:
    """Ten units: seven sound, of which one is warm and one probed wrongly at first; three faulty."""
    roles = roles_in_order(PLOVER_ROLES, number, dice_for(seed, "roles"))
    units = mixed(PLOVER_80, seed, roles, plover_fault, {("1", "2"): ("1", "3")})
    return Scene("plover-80", PLOVER_80, units, random_early=0.02, random_slip=0.03)


def plover_80_rough(seed: int, number: int) -> Scene:
    """The same mix in hurried hands: wrong pairs, slips and early lifts at random."""
    calm = plover_80(seed, number)
    return replace(calm, key="plover-80-rough", random_wrong=0.10, random_early=0.10, random_slip=0.10)


# ------------------------------------------------------------------- Quern 12
QUERN_ROLES = ("good", "shorted", "joint", "delta", "warm", "good", "gauge", "bypassed", "good", "good")


def quern_fault(role: str, dice: random.Random) -> Fault:
    """The fault of a role in a Quern 12, with its size thrown."""
    phase = f"phase {dice.choice('UVW')}"
    faults = {
        "shorted": Fault("shorted", phase, dice.randint(10, 16) / 152, 0.001),
        "joint": Fault("joint", phase[-1], dice.uniform(0.05, 0.08)),
        "delta": Fault("delta"),
        "warm": Fault("warm", size=dice.uniform(30, 42), extra=30.0),
        "gauge": Fault("gauge", "all", 1),
        "bypassed": Fault("bypassed", phase),
    }
    return faults.get(role, Fault())


def quern_12(seed: int, number: int) -> Scene:
    """Stators in star with the neutral brought out: milliohms, so a 4-wire job."""
    roles = roles_in_order(QUERN_ROLES, number, dice_for(seed, "roles"))
    return Scene("quern-12", QUERN_12, mixed(QUERN_12, seed, roles, quern_fault, {}), random_slip=0.02)


# ------------------------------------------------------------------- Fathom 7
SPOOL_A, SPOOL_B = 0.012, -0.024
FIRST_OF_SPOOL_B, SHORT_S2, REVERSED_P2 = 23, 17, 31
LEAST_SPOOL = -0.013
"""On a thicker wire, unit 17 could be outside its limits as well, and not only unlike its sister coil."""


OPENING = (".batch F7 autumn, 40 units", ".spool 36-A for P1, P2", ".spool 24-K for S1, S2")
NEXT_SPOOL = (".spool 36-B for P1, P2",)
"""What the hands type when they begin the batch, and when they hang up the other spool."""

AIDING = (".result polarity = aiding, pass, by LCR-1",)
OPPOSING = (".result polarity = opposing, fail, by LCR-1",)
"""Series inductance of the two primaries, read on another instrument and typed."""


def fathom_7(seed: int, number: int) -> Scene:
    """A batch of forty: a new spool at 23, unit 17 short of turns on S2, unit 31 with P2 the wrong way.

    Ohms know nothing of a winding the wrong way round: the hands type what an inductance meter shows.
    """
    stock = {coil: max(LEAST_SPOOL, spool) for coil, spool in stock_spools(FATHOM_7, seed).items()}
    units = []
    for n in range(1, number + 1):
        dice = dice_for(seed, FATHOM_7.key, "unit", n)
        spool = SPOOL_B if n >= FIRST_OF_SPOOL_B else SPOOL_A
        unit = wound(FATHOM_7, f"F7-{n:04d}", dice, {**stock, "P1": spool, "P2": spool})
        fault, story = Fault(), "good"
        if n == SHORT_S2:
            fault, story = Fault("turns", "S2", -0.015), "few turns"
        if n == REVERSED_P2:
            fault, story = Fault("reversed", "P2"), "reversed"
        before = OPENING if n == 1 else NEXT_SPOOL if n == FIRST_OF_SPOOL_B else ()
        typed = OPPOSING if n == REVERSED_P2 else AIDING
        after = (*typed, ".finish") if n == number else typed
        units.append(PlannedUnit(plant(FATHOM_7, unit, fault), fault, story, before=before, after=after))
    return Scene("fathom-7", FATHOM_7, tuple(units))


SCENES: dict[str, tuple[Callable[[int, int], Scene], int]] = {
    "plover-80": (plover_80, 10),
    "plover-80-rough": (plover_80_rough, 20),
    "quern-12": (quern_12, 10),
    "fathom-7": (fathom_7, 40),
}
"""Name -> how to build it from seed and number, and the usual number of units."""


def build_scene(name: str, seed: int, number: int | None = None) -> Scene:
    """The scene of that name.

    Raises:
        KeyError: where there is none.
    """
    build, usual = SCENES[name]
    return build(seed, usual if number is None else number)
