"""Faults planted into a unit's circuit, one function each.

Every function takes the branches of a sound unit and gives those of a faulty one. Not for the meter's or the
operator's mistakes.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass, replace

from sim.units import UnitType
from sim.winding import Branch, WoundUnit, wire_mm2

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


def _each(kind: UnitType, branches: Branches, where: str, scale: Callable[[str], float]) -> Branches:
    names = {c.name for c in kind.coils} if where == "all" else {where}
    if not names & {b.name for b in branches}:
        raise KeyError(f"no coil {where!r}")
    return tuple(replace(b, ohm_20=b.ohm_20 * scale(b.name)) if b.name in names else b for b in branches)


def gauge(kind: UnitType, branches: Branches, fault: Fault) -> Branches:
    """Wind with a gauge `size` steps finer (negative: thicker)."""

    def scale(name: str) -> float:
        coil = kind.coil(name)
        return wire_mm2(coil.awg) / wire_mm2(coil.awg + fault.size)

    return _each(kind, branches, fault.where, scale)


def turns(kind: UnitType, branches: Branches, fault: Fault) -> Branches:
    """Wind a fraction `size` too many turns (negative: too few)."""

    def scale(name: str) -> float:
        coil = kind.coil(name)
        return coil.ohm_20(turns=coil.turns * (1 + fault.size)) / coil.ohm_20()

    return _each(kind, branches, fault.where, scale)


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
    return _each(kind, branches, fault.where, lambda _: fault.size / (fault.size - 1))


def bypassed(kind: UnitType, branches: Branches, fault: Fault) -> Branches:
    """Leave one of a winding's sections out."""
    return _each(kind, branches, fault.where, lambda name: 1 - 1 / kind.coil(name).sections)


def stretched(kind: UnitType, branches: Branches, fault: Fault) -> Branches:
    """Stretch a coil's wire by the fraction `size`: longer and thinner at the same volume."""
    return _each(kind, branches, fault.where, lambda _: (1 + fault.size) ** 2)


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
