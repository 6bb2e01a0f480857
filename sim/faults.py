"""Faults planted into a unit's circuit, one function each.

Every function takes the branches of a sound unit and gives those of a faulty one. Not for the meter's or the
operator's mistakes.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace

from sim.units import UnitType
from sim.winding import Branch, WoundUnit

Branches = tuple[Branch, ...]


@dataclass(frozen=True, slots=True)
class Fault:
    """What is wrong with a unit.

    Attributes:
        kind: a key of `PLANTERS`, or "none", "warm", "swapped".
        where: coil or pin; "a/b" for two swapped pins; "all" for every coil.
        size: fraction of turns, ohms of a joint, gauge steps, kelvin ... see each function.
        extra: second figure where the kind needs one (ohms of the contact of a short or a ground).
    """

    kind: str = "none"
    where: str = ""
    size: float = 0.0
    extra: float = 0.0


def _split(branches: Branches, name: str) -> tuple[Branch, Branches]:
    hit = next((b for b in branches if b.name == name), None)
    if hit is None:
        raise KeyError(f"no branch {name!r}; there are {', '.join(b.name for b in branches)}")
    return hit, tuple(b for b in branches if b is not hit)


def shorted(_kind: UnitType, branches: Branches, fault: Fault) -> Branches:
    """Shorten a fraction `size` of a coil by a contact of `extra` ohms (the far end of the coil)."""
    coil, rest = _split(branches, fault.where)
    knot = f"{coil.name} knot"
    return (
        *rest,
        replace(coil, b=knot, ohm_20=coil.ohm_20 * (1 - fault.size)),
        replace(coil, name=f"{coil.name} shorted part", a=knot, ohm_20=coil.ohm_20 * fault.size),
        Branch(f"{coil.name} short", knot, coil.b, fault.extra, copper=False),
    )


def joint(_kind: UnitType, branches: Branches, fault: Fault) -> Branches:
    """Put `size` ohms, slightly unsteady, between a pin's contact and its lead."""
    lead = next((b for b in branches if fault.where in (b.a, b.b)), None)
    if lead is None:
        raise KeyError(f"no lead at pin {fault.where!r}")
    rest = tuple(b for b in branches if b is not lead)
    knot = f"{fault.where} joint"
    moved = replace(lead, a=knot) if lead.a == fault.where else replace(lead, b=knot)
    unrest = fault.extra or 0.0003
    return (
        *rest,
        moved,
        Branch(f"joint {fault.where}", fault.where, knot, fault.size, copper=False, unrest=unrest),
    )


def opened(_kind: UnitType, branches: Branches, fault: Fault) -> Branches:
    """Break a coil or a lead."""
    coil, rest = _split(branches, fault.where)
    return (*rest, replace(coil, ohm_20=math.inf))


def _each(kind: UnitType, branches: Branches, where: str, factor: float) -> Branches:
    names = {c.name for c in kind.coils} if where == "all" else {where}
    if not names & {b.name for b in branches}:
        raise KeyError(f"no coil {where!r}")
    return tuple(replace(b, ohm_20=b.ohm_20 * factor) if b.name in names else b for b in branches)


def gauge(kind: UnitType, branches: Branches, fault: Fault) -> Branches:
    """Wind with a gauge `size` steps finer (negative: thicker): a step is 92 to the power 2/39 in area."""
    return _each(kind, branches, fault.where, math.pow(92.0, 2 * fault.size / 39))


def turns(kind: UnitType, branches: Branches, fault: Fault) -> Branches:
    """Wind a fraction `size` too many turns (negative: too few)."""
    return _each(kind, branches, fault.where, 1 + fault.size)


def grounded(kind: UnitType, branches: Branches, fault: Fault) -> Branches:
    """Touch the core through `extra` ohms at the fraction `size` of a coil, counted from its first end."""
    coil, rest = _split(branches, fault.where)
    knot = f"{coil.name} knot"
    return (
        *rest,
        replace(coil, b=knot, ohm_20=coil.ohm_20 * fault.size),
        replace(coil, name=f"{coil.name} far part", a=knot, ohm_20=coil.ohm_20 * (1 - fault.size)),
        Branch(f"{coil.name} ground", knot, kind.core, fault.extra, copper=False),
    )


def strand(kind: UnitType, branches: Branches, fault: Fault) -> Branches:
    """Break one of `size` strands wound in hand: the coil has size/(size - 1) of its resistance."""
    return _each(kind, branches, fault.where, fault.size / (fault.size - 1))


def bypassed(kind: UnitType, branches: Branches, fault: Fault) -> Branches:
    """Leave one of a winding's `size` sections out."""
    return _each(kind, branches, fault.where, 1 - 1 / fault.size)


def stretched(kind: UnitType, branches: Branches, fault: Fault) -> Branches:
    """Stretch a coil's wire by the fraction `size`: longer and thinner at the same volume."""
    return _each(kind, branches, fault.where, (1 + fault.size) ** 2)


def delta(kind: UnitType, branches: Branches, _fault: Fault) -> Branches:
    """Join three coils that meet in one star point as a triangle instead."""
    ends = [c.a for c in kind.coils]
    ring = dict(zip((c.name for c in kind.coils), ends[1:] + ends[:1], strict=True))
    return tuple(replace(b, b=ring[b.name]) if b.name in ring else b for b in branches)


Planter = Callable[[UnitType, Branches, Fault], Branches]


def reversed_coil(_kind: UnitType, branches: Branches, fault: Fault) -> Branches:
    """Join a coil the other way round: no ohmmeter can tell."""
    coil, rest = _split(branches, fault.where)
    return (*rest, replace(coil, a=coil.b, b=coil.a))


PLANTERS: dict[str, Planter] = {
    "shorted": shorted,
    "joint": joint,
    "open": opened,
    "gauge": gauge,
    "turns": turns,
    "grounded": grounded,
    "strand": strand,
    "bypassed": bypassed,
    "stretched": stretched,
    "delta": delta,
    "reversed": reversed_coil,
}


def plant(kind: UnitType, unit: WoundUnit, fault: Fault) -> WoundUnit:
    """The same unit with a fault in it.

    Raises:
        KeyError: for a fault, coil or pin that does not exist.
    """
    if fault.kind == "none":
        return unit
    if fault.kind == "warm":
        return replace(unit, excess_kelvin=fault.size, cooling_s=60 * (fault.extra or 25.0))
    if fault.kind == "swapped":
        a, b = fault.where.split("/")
        return replace(unit, swapped={a: b, b: a})
    return replace(unit, branches=PLANTERS[fault.kind](kind, unit.branches, fault))


def usual_faults(kind: UnitType) -> dict[str, Fault]:
    """The faults of a unit type by word: where and how big they are unless somebody says."""
    coil, pin = kind.coils[0].name, kind.pins[0]
    usual = {
        "shorted": Fault("shorted", coil, 0.12, 0.01),
        "joint": Fault("joint", pin, max(0.05, 0.08 * kind.coils[0].ohm_20)),
        "open": Fault("open", coil),
        "gauge": Fault("gauge", "all", 1),
        "turns": Fault("turns", coil, -0.1),
        "grounded": Fault("grounded", coil, 0.35, 3.0),
        "strand": Fault("strand", coil, 2),
        "bypassed": Fault("bypassed", coil, 4),
        "stretched": Fault("stretched", coil, 0.05),
        "reversed": Fault("reversed", coil),
        "warm": Fault("warm", "", 35, 25.0),
        "swapped": Fault("swapped", "/".join(kind.pins[:2])),
    }
    if not kind.core:
        del usual["grounded"]
    if len(kind.coils) == 3 and len({c.b for c in kind.coils}) == 1:
        usual["delta"] = Fault("delta")
    return usual


class NoSuchFault(Exception):
    """What was asked for cannot be wrong with a unit; the message says why."""


def fault_of(kind: UnitType, words: Sequence[str]) -> Fault:
    """A fault as a person names it: "open", "joint 2 12", "shorted slow charge 0.12"; "good" is none.

    Raises:
        NoSuchFault: no unit of this type can have it.
    """
    if not words or words[0].lower() == "good":
        return Fault()
    usual, rest = usual_faults(kind), list(words[1:])
    if words[0].lower() not in usual:
        raise NoSuchFault(f"No fault is called {words[0]!r}. Known: good, {', '.join(usual)}.")
    fault = usual[words[0].lower()]
    # a pin may be a number too: a lone word that names a pin is the place
    if rest and (len(rest) > 1 or rest[0] not in kind.pins or fault.kind == "warm"):
        try:
            fault = replace(fault, size=float(rest[-1]))
            rest.pop()
        except ValueError:
            pass
    fault = replace(fault, where=" ".join(rest) or fault.where)
    try:
        unit = plant(kind, kind.nominal(), fault)
    except (KeyError, ValueError, ZeroDivisionError) as error:
        raise NoSuchFault(f"No such unit can be made: {error.args[0]}.") from None
    if not all(branch.ohm_20 >= 0 for branch in unit.branches):
        raise NoSuchFault(f"No such unit can be made: {fault.size:g} is no size for {fault.kind!r}.")
    return fault
