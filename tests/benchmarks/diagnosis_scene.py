"""Units of the diagnosis benchmark, what is wrong with them, and the sheet that a shop would write for them.

Units and their faults are the simulator's: its own circuit solver and fault planting.
"""

from __future__ import annotations

import functools
import math
import random
from dataclasses import dataclass, replace
from itertools import combinations

from acquire.records import Balance, Branch, BranchKind, Pair, Pin, Purpose, Sheet, Step, StepKind
from acquire.verdict.circuits import alike
from acquire.verdict.dictionary import PRIORS, double_cases
from sim.faults import Fault, plant
from sim.units import UnitType
from sim.winding import Branch as RealBranch
from sim.winding import WoundUnit

STRAP_OHM = 0.05

ISOLATED = {
    "plover-80": (("1", "CORE"), ("2", "CORE"), ("3", "CORE")),
    "quern-12": (("N", "CORE"),),
    "fathom-7": (("1", "3"), ("1", "5"), ("1", "7"), ("5", "7"), ("1", "CORE")),
}
"""Pairs whose openness the benchmark's sheets ask for."""


@functools.cache
def sheet_of(kind: UnitType) -> Sheet:
    """The sheet a shop would write for a simulated unit type; spread is a third of the tolerance."""
    windings = tuple(
        Branch(
            coil.name,
            coil.a,
            coil.b,
            coil.ohm_20,
            acceptance=coil.tolerance,
            spread=coil.tolerance / 3,
            turns=coil.turns,
            strands=coil.strands,
        )
        for coil in kind.coils
    )
    leads = tuple(
        Branch(b.name, b.a, b.b, b.ohm_20, kind=BranchKind.STRAP, upper_ohm=STRAP_OHM, spread=0.2)
        if b.name == "earth strap"
        else Branch(b.name, b.a, b.b, b.ohm_20, kind=BranchKind.LEAD, spread=0.05)
        for b in kind.leads
    )
    steps = [Step(f"{a} {b}", Pair(a, b)) for a, b in kind.steps]
    steps += [
        Step(f"{a} {b} open", Pair(a, b), kind=StepKind.OPEN, open_above_ohm=1e6)
        for a, b in ISOLATED[kind.key]
    ]
    alike = tuple(c.name for c in kind.coils) if kind.key == "quern-12" else kind.bifilar
    return Sheet(
        name=kind.title,
        about="",
        content_hash=kind.key,
        reference_celsius=20.0,
        pins=tuple(Pin(name) for name in kind.pins),
        core=kind.core,
        branches=leads + windings,
        steps=tuple(steps),
        balances=(Balance("alike", alike, kind.balances[0][1]),) if alike else (),
        bifilar=((alike[0], alike[1]),) if kind.bifilar else (),
    )


def good_unit(kind: UnitType, dice: random.Random) -> WoundUnit:
    """A unit as the shop winds them: normally spread, no winding beyond three quarters of its tolerance.

    Windings that must agree come from one spool: a common part, and a third of what is allowed between them.
    """
    tolerance = {coil.name: coil.tolerance for coil in kind.coils}
    own = {name: limit for names, limit in alike(sheet_of(kind)) for name in names}
    while True:
        shared = within(dice)
        branches = []
        for branch in kind.nominal().branches:
            spread = tolerance[branch.name] / 3 if branch.name in tolerance else 0.05
            if branch.name in own:
                off = math.sqrt(spread**2 - own[branch.name] ** 2) * shared + own[branch.name] * within(dice)
            else:
                off = spread * within(dice)
            branches.append(replace(branch, ohm_20=branch.ohm_20 * (1 + off)))
        unit = WoundUnit("unit", tuple(branches))
        if well_inside(unit, kind):
            return unit


def well_inside(unit: WoundUnit, kind: UnitType) -> bool:
    """Every winding within three quarters of its tolerance, and of what is allowed between those alike."""
    nominal = {coil.name: coil.ohm_20 for coil in kind.coils}
    tolerance = {coil.name: coil.tolerance for coil in kind.coils}
    coils = [branch for branch in unit.branches if branch.name in nominal]
    even = all(most_uneven(unit, rule.windings) <= 0.75 * rule.limit for rule in sheet_of(kind).balances)
    return even and all(abs(c.ohm_20 / nominal[c.name] - 1) <= 0.75 * tolerance[c.name] for c in coils)


def within(dice: random.Random) -> float:
    """A normal deviate, cut off at three quarters of three standard deviations."""
    return max(-2.25, min(2.25, dice.gauss(0.0, 1.0)))


def most_uneven(unit: WoundUnit, names: tuple[str, ...]) -> float:
    """Largest deviation of windings from their mean, as a fraction of it."""
    ohms = [branch.ohm_20 for branch in unit.branches if branch.name in names]
    mean = sum(ohms) / len(ohms)
    return max(abs(ohm / mean - 1) for ohm in ohms)


@dataclass(frozen=True, slots=True)
class Planted:
    """A fault as the benchmark knows it, and as the diagnosis calls it."""

    name: str
    where: tuple[str, ...]
    faults: tuple[Fault, ...] = ()
    lead_zero_ohm: float = 0.0
    kelvin: float = 0.0
    bridge: tuple[str, float, str, float, float] | None = None
    kinds: tuple[str, ...] = ()


def faulty(kind: UnitType, unit: WoundUnit, planted: Planted) -> WoundUnit:
    """The unit with the fault in it."""
    for fault in planted.faults:
        at_core = fault.kind == "joint" and fault.where == kind.core
        unit = behind_clip(kind, unit, fault.size) if at_core else plant(kind, unit, fault)
    if planted.bridge:
        unit = bridged(unit, *planted.bridge)
    return unit


def behind_clip(kind: UnitType, unit: WoundUnit, ohm: float) -> WoundUnit:
    """Ohms between the core and the clip on it: a pin like any other, but many branches hang on it."""

    def moved(node: str) -> str:
        return f"{node} behind" if node == kind.core else node

    branches = tuple(replace(b, a=moved(b.a), b=moved(b.b)) for b in unit.branches)
    clip = RealBranch(f"joint {kind.core}", kind.core, moved(kind.core), ohm, copper=False, unrest=0.0003)
    return replace(unit, branches=(*branches, clip))


def bridged(unit: WoundUnit, one: str, x: float, other: str, y: float, ohm: float) -> WoundUnit:
    """Two coils that touch each other at a fraction of each."""
    branches = list(unit.branches)
    for name, share in ((one, x), (other, y)):
        coil = next(b for b in branches if b.name == name)
        branches.remove(coil)
        branches.append(replace(coil, b=f"{name} tap", ohm_20=share * coil.ohm_20))
        branches.append(replace(coil, name=f"{name} rest", a=f"{name} tap", ohm_20=(1 - share) * coil.ohm_20))
    branches.append(RealBranch("touch", f"{one} tap", f"{other} tap", ohm, copper=False))
    return replace(unit, branches=tuple(branches))


def log_uniform(dice, low, high):
    """Any decade as likely as the next."""
    return math.exp(dice.uniform(math.log(low), math.log(high)))


def places(name, kind):  # noqa: PLR0911  (one return a kind reads best)
    """Where a kind of fault can sit, as the dictionary has it: each place as likely as the next."""
    coils = [(coil.name,) for coil in kind.coils]
    straps = [(b.name,) for b in kind.leads if b.name == "earth strap"]
    alike = tuple(coil.name for coil in kind.coils) if kind.key == "quern-12" else kind.bifilar
    if name in ("warm", "cold", "healthy"):
        return [()]
    if name == "lead_zero":
        return [("high",), ("low",)]
    if name in ("bad_joint", "open_pin"):
        return [(pin,) for pin in kind.places()]
    if name == "open_winding":
        return coils + straps
    if name in ("wire_too_thin", "wire_too_thick") and alike:
        return [*coils, alike]
    if name == "winding_to_winding":
        return list(combinations((coil.name for coil in kind.coils), 2))
    if name == "swapped_pins":
        return list(combinations(kind.pins, 2))
    if name == "star_delta":
        return [tuple(coil.name for coil in kind.coils)]
    return coils


def draw(name, kind, dice):  # noqa: PLR0911  (as above)
    """One fault of a kind, anywhere it can be, of any size it can have."""
    if name == "two_faults":
        return draw_two(kind, dice)
    where = dice.choice(places(name, kind))
    one = where[0] if where else ""
    if name in ("warm", "cold"):
        kelvin = log_uniform(dice, 1.5, 90.0 if name == "warm" else 25.0)
        return Planted(name, (), kelvin=kelvin if name == "warm" else -kelvin)
    if name == "lead_zero":
        ohm = log_uniform(dice, 0.04, 2.0)
        return Planted(name, where, lead_zero_ohm=ohm if one == "high" else -ohm)
    if name == "open_winding":
        return Planted(name, where, (Fault("open", one),))
    if name == "open_pin":
        return Planted(name, where, (Fault("joint", one, math.inf),))
    if name == "bad_joint":
        return Planted(name, where, (Fault("joint", one, log_uniform(dice, 0.05, 50.0)),))
    if name == "shorted_turns":
        return Planted(name, where, (Fault("shorted", one, log_uniform(dice, 0.01, 0.9)),))
    if name in ("too_many_turns", "too_few_turns"):
        share = log_uniform(dice, 0.005, 0.08)
        return Planted(name, where, (Fault("turns", one, share if name == "too_many_turns" else -share),))
    if name in ("wire_too_thin", "wire_too_thick"):
        steps = dice.choices((0.5, 1.0), (0.4, 0.6))[0] * (1 if name == "wire_too_thin" else -1)
        return Planted(name, where, tuple(Fault("gauge", coil, steps) for coil in where))
    if name == "grounded":
        ground = Fault("grounded", one, dice.random(), extra=log_uniform(dice, 0.1, 3e5))
        return Planted(name, where, (ground,))
    if name == "winding_to_winding":
        ohm = log_uniform(dice, 0.1, 3e5)
        return Planted(name, where, bridge=(one, dice.random(), where[1], dice.random(), ohm))
    if name == "swapped_pins":
        return Planted(name, where, (Fault("swapped", "/".join(where)),))
    if name == "star_delta":
        return Planted(name, where, (Fault("delta"),))
    return Planted(name, where)


COMMON = ("open_winding", "shorted_turns", "bad_joint", "open_pin")
"""Kinds that come two at a time, as in the dictionary."""


def draw_two(kind, dice):
    """Two common faults in two places, each kind as often as its weight says."""
    weights = [PRIORS[name] for name in COMMON]
    while True:
        one, two = (draw(name, kind, dice) for name in dice.choices(COMMON, weights, k=2))
        straps = {"earth strap"} & {*one.where, *two.where}
        if one.where != two.where and not straps:
            first, second = sorted((one, two), key=lambda each: each.name in ("bad_joint", "open_pin"))
            faults = (*second.faults, *first.faults)  # joints first: a coil that is cut has no ends any more
            return Planted(
                "two_faults", (*first.where, *second.where), faults, kinds=(first.name, second.name)
            )


def kinds_of(kind):
    """What can be planted in a unit type."""
    skipped = {"strand_broken", "aluminium_wire"}
    if kind.key != "quern-12":
        skipped.add("star_delta")
    return [name for name in PRIORS if name not in skipped] + ["two_faults"]


def weight_of(name, kind):
    """How often a shop meets a kind of fault, by the dictionary."""
    return _weight_of_two(kind) if name == "two_faults" else PRIORS[name]


@functools.cache
def _weight_of_two(kind):
    return sum(case.prior for case in double_cases(sheet_of(kind), Purpose.INCOMING))
