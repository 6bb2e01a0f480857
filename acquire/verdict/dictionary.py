"""The fault dictionary of one sheet: every fault it can have, how likely, and what circuit each makes of it.

Prior weights are workshop choices (no published shares of faults exist for this trade); a shop replaces them
by its own counts. Not for weighing readings (see casebook) and not for words (see saying).
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from itertools import combinations

from acquire.records import Branch, BranchKind, Purpose, Sheet
from acquire.verdict.circuits import (
    Circuit,
    Sizes,
    broken,
    healthy,
    in_contact,
    log_sizes,
    off_zero,
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
    "strand_broken": 0.3,
    "grounded": 0.7,
    "winding_to_winding": 0.2,
    "swapped_pins": 0.2,
    "star_delta": 0.1,
}
"""Weight of each fault before any reading, for an incoming unit; shared by the places it can be in."""

NEW_WINDING: Mapping[str, float] = {
    "shorted_turns": 0.7,
    "too_few_turns": 0.7,
    "too_many_turns": 0.7,
    "wire_too_thin": 0.4,
    "wire_too_thick": 0.4,
    "swapped_pins": 0.5,
    "star_delta": 0.3,
}
"""What is likelier in a unit just wound, in place of the weights above."""

_JOINT_OHM = log_sizes(0.03, 100.0)
_SHORTED = log_sizes(0.01, 0.9)
_TURNS = log_sizes(0.01, 0.15)
_KELVIN = log_sizes(1.5, 90.0)
_COLD_KELVIN = log_sizes(1.5, 25.0)
_ZERO_OHM = log_sizes(0.04, 2.0)
_LOST: Sizes = ((math.inf, 0.0, 1.0),)
_GAUGE_UP: Sizes = ((0.122, 0.01, 0.4), (0.261, 0.02, 0.6))
_GAUGE_DOWN: Sizes = ((0.109, 0.01, 0.4), (0.207, 0.02, 0.6))
"""Half and whole steps of wire gauge: area by 1.123 and 1.261 (ASTM B258 ratio of diameters, 92^(1/39))."""


@dataclass(frozen=True, slots=True)
class Case:
    """One fault in one place.

    Attributes:
        fault: short name; a key of `PRIORS`.
        where: branches or pins it sits in.
        prior: weight before any reading; not normalised.
        circuits: what it makes of the unit, one per size.
    """

    fault: str
    where: tuple[str, ...]
    prior: float
    circuits: tuple[Circuit, ...]


def cases(
    sheet: Sheet, purpose: Purpose, *, two_wire: bool = True, priors: Mapping[str, float] | None = None
) -> tuple[Case, ...]:
    """All single faults that a unit of the sheet can have, a good unit first.

    Args:
        sheet: of the unit.
        purpose: a unit just wound fails in other ways than one that comes in.
        two_wire: False leaves out the lead zero, which four wires do not need.
        priors: weights of this shop in place of the built-in ones; names as in `PRIORS`.
    """
    new = purpose in (Purpose.WINDING, Purpose.FINAL)
    weights = {**PRIORS, **(NEW_WINDING if new else {}), **(priors or {})}
    good = healthy(sheet)
    by_fault: dict[str, list[tuple[tuple[str, ...], tuple[Circuit, ...]]]] = {}
    for fault, where, circuits in _every(sheet, good):
        if fault != "lead_zero" or two_wire:
            by_fault.setdefault(fault, []).append((where, tuple(circuits)))
    return tuple(
        Case(fault, where, weights[fault] / len(places), circuits)
        for fault, places in by_fault.items()
        for where, circuits in places
    )


_Entry = tuple[str, tuple[str, ...], Iterator[Circuit]]


def _every(sheet: Sheet, good: Circuit) -> Iterator[_Entry]:
    windings = [b for b in sheet.branches if b.kind is BranchKind.WINDING]
    yield "healthy", (), iter((good,))
    yield "warm", (), warmer(good, _KELVIN)
    yield "cold", (), warmer(good, _COLD_KELVIN, -1.0)
    yield "lead_zero", ("high",), off_zero(good, _ZERO_OHM)
    yield "lead_zero", ("low",), off_zero(good, _ZERO_OHM, -1.0)
    for winding in windings:
        yield from _in_winding(good, winding)
    for strap in (b for b in sheet.branches if b.kind is BranchKind.STRAP):
        yield "open_winding", (strap.name,), broken(good, strap.name)
    for pin in sheet.pin_names():
        yield "bad_joint", (pin,), in_contact(good, pin, _JOINT_OHM)
        yield "open_pin", (pin,), in_contact(good, pin, _LOST)
    for a, b in combinations([pin.name for pin in sheet.pins], 2):
        yield "swapped_pins", (a, b), swapped(good, a, b)


def _in_winding(good: Circuit, winding: Branch) -> Iterator[_Entry]:
    name = winding.name
    yield "open_winding", (name,), broken(good, name)
    yield "shorted_turns", (name,), scaled(good, name, _SHORTED, -1.0)
    yield "too_few_turns", (name,), scaled(good, name, _TURNS, -1.0)
    yield "too_many_turns", (name,), scaled(good, name, _TURNS)
    yield "wire_too_thin", (name,), scaled(good, name, _GAUGE_UP)
    yield "wire_too_thick", (name,), scaled(good, name, _GAUGE_DOWN, -1.0)
    if winding.strands > 1:
        more = 1.0 / (winding.strands - 1)
        yield "strand_broken", (name,), scaled(good, name, ((more, 0.01, 1.0),))
