"""The fault dictionary of one sheet: every fault it can have, how likely, and what circuit each makes of it.

Prior weights are workshop choices (no published shares of faults exist for this trade); a shop replaces them
by its own counts. Not for weighing readings (see casebook) and not for words (acquire.words).
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from functools import partial
from itertools import combinations

from acquire.records import Branch, BranchKind, FaultPlace, Purpose, Sheet
from acquire.verdict.circuits import (
    FaultyCircuit,
    Sizes,
    bridged,
    broken,
    crossed,
    evenly,
    healthy,
    in_contact,
    log_sizes,
    off_zero,
    rewired,
    scaled,
    swapped,
    warmer,
)

PRIORS: Mapping[str, float] = {
    "healthy": 10.0,
    "warm": 1.0,
    "cold": 0.2,
    "lead_zero": 0.3,
    "open_winding": 1.0,
    "open_pin": 0.7,
    "shorted_turns": 1.5,
    "bad_joint": 1.5,
    "too_few_turns": 0.2,
    "too_many_turns": 0.2,
    "wire_too_thin": 0.1,
    "wire_too_thick": 0.1,
    "aluminium_wire": 0.03,
    "strand_broken": 0.3,
    "grounded": 0.7,
    "winding_to_winding": 0.1,
    "swapped_pins": 0.2,
    "star_delta": 0.1,
}
"""Weight of each fault before any reading, for an incoming unit; shared by the places it can be in."""

NEW_WINDING: Mapping[str, float] = {
    "shorted_turns": 0.9,
    "bad_joint": 2.5,
    "too_few_turns": 0.5,
    "too_many_turns": 0.5,
    "wire_too_thin": 0.15,
    "wire_too_thick": 0.15,
    "swapped_pins": 0.5,
    "star_delta": 0.3,
}
"""What is likelier in a unit just wound, in place of the weights above."""

UNKNOWN = 0.1
"""Weight of a fault that the dictionary does not know, on the same scale."""

TOGETHER = 0.05
"""Two faults at once: product of their weights times this, half of what independence would give."""

# Ranges of sizes; common practice, no source: a joint adds a twentieth of an ohm to fifty, a counter is off
# by some per cent at most, shorts take anything from a few turns to all.
_JOINT_OHM = log_sizes(0.05, 50.0)
_SHORTED = log_sizes(0.01, 0.9)
_TURNS = log_sizes(0.005, 0.08)
_KELVIN = log_sizes(1.5, 90.0)
_COLD_KELVIN = log_sizes(1.5, 25.0)
_ZERO_OHM = log_sizes(0.04, 2.0)
_LOST: Sizes = ((math.inf, 0.0, 1.0),)
_FAULT_OHM = log_sizes(0.1, 3e5, 2.2)
_COARSE_FAULT_OHM = log_sizes(0.1, 3e5, 6.0)
_GAUGE_UP: Sizes = ((0.122, 0.01, 0.4), (0.261, 0.02, 0.6))
_GAUGE_DOWN: Sizes = ((0.109, 0.01, 0.4), (0.207, 0.02, 0.6))
"""Half and whole steps of wire gauge: area by 1.123 and 1.261 (ASTM B258, ratio of diameters 92^(1/39))."""

_ALUMINIUM: Sizes = ((0.639, 0.03, 1.0),)
"""Resistivity of aluminium over copper at 20 °C: 0.02826 / 0.017241 (IEC 60889, IEC 60028; from memory)."""

_COARSE_JOINT_OHM = log_sizes(0.05, 50.0, 3.0)
_MOST_COMMON = 40
"""Places of common faults up to which pairs of them are weighed: some 800 pairs."""

_WHOLE, _THIRDS, _SEVENTHS = evenly(1), evenly(3), evenly(7)
_NEAR_ENDS = (0.0, 0.08, 0.33, 0.67, 0.92, 1.0)
"""Where in a winding a fault may sit. Of two windings that meet in a node, one that touches the other near it
short-circuits the rest of it, so the parts at the ends are short: even ones understate the evidence there by
up to exp(11). Against 24 even places it is within exp(1.5) on Plover and Quern, exp(0.2) in the median."""

_MOST_CROSSED = 6
"""Windings up to which the places where two touch are looked for closely."""

_COARSE_SHORTED = log_sizes(0.01, 0.9, 2.5)

Change = Callable[[FaultyCircuit], Iterator[FaultyCircuit]]
"""Gives a circuit a fault: one circuit for each of the fault's sizes."""

Fault = tuple[str, tuple[str, ...]]
"""(short name, branches or pins it sits in)."""


@dataclass(frozen=True, slots=True)
class Case:
    """One fault in one place, or two.

    Attributes:
        faults: what it consists of, one or two.
        prior: weight before any reading; not normalised.
        circuits: what it makes of the unit, one per size.
    """

    faults: tuple[Fault, ...]
    prior: float
    circuits: tuple[FaultyCircuit, ...] = ()

    @property
    def fault(self) -> str:
        """Short name; "two_faults" for two."""
        return self.faults[0][0] if len(self.faults) == 1 else "two_faults"

    def sizes_of(self, number: int) -> slice:
        """Which of the sizes of its circuits belong to one of its faults: all of them, or one each of two."""
        if len(self.faults) > 1:
            return slice(number, number + 1)
        return slice(0, len(self.circuits[0].sizes) if self.circuits else 0)

    @property
    def where(self) -> tuple[str, ...]:
        """Branches or pins that it sits in."""
        return tuple(name for _, where in self.faults for name in where)


def places(case: Case, sizes: Sequence[float], sheet: Sheet) -> tuple[FaultPlace, ...]:
    """A case as it goes on record: each of its faults with its place and size.

    Args:
        case: the fault and its place.
        sizes: as its circuits count them; of two faults one each.
        sheet: for numbers of turns and the ends of windings.
    """
    branches = {branch.name: branch for branch in sheet.branches}
    touchable = frozenset(sheet.pin_names())

    def place(number: int, fault: str, where: tuple[str, ...]) -> FaultPlace:
        found = [branches[name] for name in where if name in branches]
        own = tuple(sizes[case.sizes_of(number)])
        ends = [branch.a.removesuffix("'") for branch in found]
        return FaultPlace(
            fault,
            where,
            own,
            turns=found[0].turns if found else None,
            strands=found[0].strands if found else 1,
            ends=tuple(end if end in touchable else "" for end in ends),
            core=sheet.core,
        )

    return tuple(place(number, fault, where) for number, (fault, where) in enumerate(case.faults))


def cases(sheet: Sheet, purpose: Purpose) -> tuple[Case, ...]:
    """All single faults that a unit of the sheet can have, a good unit first.

    Args:
        sheet: of the unit.
        purpose: a unit just wound fails in other ways than one that comes in.
    """
    good = healthy(sheet)
    every = list(_every(sheet))
    weight = _weights(purpose, [fault for fault, _, _ in every])
    return tuple(Case(((f, where),), weight[f], tuple(change(good))) for f, where, change in every)


def double_cases(sheet: Sheet, purpose: Purpose) -> tuple[Case, ...]:
    """Two faults at once, of the kinds that come often enough: breaks, shorted turns, joints.

    Args:
        sheet: of the unit.
        purpose: as for `cases`.

    Returns:
        None at all for units of very many windings and pins, where there are too many pairs of faults.
    """
    good = healthy(sheet)
    common = list(_common(sheet))
    if len(common) > _MOST_COMMON:
        return ()
    weight = _weights(purpose, [fault for fault, _, _ in common])
    return tuple(
        Case(
            ((fault, where), (other, there)),
            TOGETHER * weight[fault] * weight[other],
            tuple(circuit for first in change(good) for circuit in also(first)),
        )
        for (fault, where, change), (other, there, also) in combinations(common, 2)
        if where != there
    )


def _weights(purpose: Purpose, faults: list[str]) -> dict[str, float]:
    """Weight of each fault in each single place."""
    new = purpose in (Purpose.WINDING, Purpose.FINAL)
    whole = {**PRIORS, **(NEW_WINDING if new else {})}
    return {fault: whole[fault] / faults.count(fault) for fault in set(faults)}


_Entry = tuple[str, tuple[str, ...], Change]


def _every(sheet: Sheet) -> Iterator[_Entry]:
    yield "healthy", (), lambda good: iter((good,))
    yield "warm", (), partial(warmer, sizes=_KELVIN)
    yield "cold", (), partial(warmer, sizes=_COLD_KELVIN, sign=-1.0)
    yield "lead_zero", ("high",), partial(off_zero, sizes=_ZERO_OHM)
    yield "lead_zero", ("low",), partial(off_zero, sizes=_ZERO_OHM, sign=-1.0)
    windings = _windings(sheet)
    for winding in windings:
        yield from _in_winding(sheet, winding)
    for group in _same_wire(sheet):
        yield from wrong_wire(group)
    few = len(windings) <= _MOST_CROSSED
    sizes = _FAULT_OHM if few else _COARSE_FAULT_OHM
    for first, second in combinations(windings, 2):
        parts = (_NEAR_ENDS if {first.a, first.b} & {second.a, second.b} else _THIRDS) if few else _WHOLE
        change = partial(crossed, name=first.name, other=second.name, parts=parts, sizes=sizes)
        yield "winding_to_winding", (first.name, second.name), change
    for strap in (b for b in sheet.branches if b.kind is BranchKind.STRAP):
        yield "open_winding", (strap.name,), partial(broken, name=strap.name)
    for pin in sheet.pin_names():
        yield "bad_joint", (pin,), partial(in_contact, pin=pin, sizes=_JOINT_OHM)
        yield "open_pin", (pin,), partial(in_contact, pin=pin, sizes=_LOST)
    for a, b in combinations([pin.name for pin in sheet.pins], 2):
        yield "swapped_pins", (a, b), partial(swapped, pin=a, other=b)
    yield from _star_delta(windings)


def _in_winding(sheet: Sheet, winding: Branch) -> Iterator[_Entry]:
    name, where = winding.name, (winding.name,)
    yield "open_winding", where, partial(broken, name=name)
    yield "shorted_turns", where, partial(scaled, names=where, sizes=_SHORTED, sign=-1.0)
    yield "too_few_turns", where, partial(scaled, names=where, sizes=_TURNS, sign=-1.0)
    yield "too_many_turns", where, partial(scaled, names=where, sizes=_TURNS)
    yield from wrong_wire(where)
    if winding.strands > 1:
        more: Sizes = ((1.0 / (winding.strands - 1), 0.01, 1.0),)
        yield "strand_broken", where, partial(scaled, names=where, sizes=more)
    if sheet.core:
        yield (
            "grounded",
            where,
            partial(bridged, name=name, node=sheet.core, parts=_SEVENTHS, sizes=_FAULT_OHM),
        )


def wrong_wire(where: tuple[str, ...]) -> Iterator[_Entry]:
    """Wrong gauge or metal in one winding, or in all of one spool: (fault, where, what makes it)."""
    yield "wire_too_thin", where, partial(scaled, names=where, sizes=_GAUGE_UP)
    yield "wire_too_thick", where, partial(scaled, names=where, sizes=_GAUGE_DOWN, sign=-1.0)
    yield "aluminium_wire", where, partial(scaled, names=where, sizes=_ALUMINIUM)


def _common(sheet: Sheet) -> Iterator[_Entry]:
    for winding in _windings(sheet):
        where = (winding.name,)
        yield "open_winding", where, partial(broken, name=winding.name)
        yield "shorted_turns", where, partial(scaled, names=where, sizes=_COARSE_SHORTED, sign=-1.0)
    for pin in sheet.pin_names():
        yield "bad_joint", (pin,), partial(in_contact, pin=pin, sizes=_COARSE_JOINT_OHM)
        yield "open_pin", (pin,), partial(in_contact, pin=pin, sizes=_LOST)


def _windings(sheet: Sheet) -> list[Branch]:
    return [branch for branch in sheet.branches if branch.kind is BranchKind.WINDING]


def _same_wire(sheet: Sheet) -> list[tuple[str, ...]]:
    """Groups of windings that are wound with the same wire: those that must balance, and bifilar ones."""
    return list(dict.fromkeys([*(balance.windings for balance in sheet.balances), *sheet.bifilar]))


def _star_delta(windings: list[Branch]) -> Iterator[_Entry]:
    """Three windings on a common node joined as a delta, or three in a ring joined as a star."""
    for three in combinations(windings, 3):
        names = tuple(branch.name for branch in three)
        nodes = [{branch.a, branch.b} for branch in three]
        common = nodes[0] & nodes[1] & nodes[2]
        if len(common) == 1:
            u, v, w = (next(iter(pair - common)) for pair in nodes)
            ends = dict(zip(names, ((u, v), (v, w), (w, u)), strict=True))
            yield "star_delta", (*names, "delta"), partial(rewired, ends=ends)
        elif not common and len(set.union(*nodes)) == 3:
            starts = (nodes[0] - nodes[1], nodes[1] - nodes[2], nodes[2] - nodes[0])
            ends = {
                name: (next(iter(start)), "star point") for name, start in zip(names, starts, strict=True)
            }
            yield "star_delta", (*names, "star"), partial(rewired, ends=ends)
