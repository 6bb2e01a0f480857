"""A unit type learnt from good units: which pins belong together.

Pins that conduct form islands; in each the pairs with the least resistance are its windings, if all others
are sums of them. What does not add up is the lead of a shared pin, or a star without a neutral (or a delta:
ohms cannot tell). Not for judging whether units are good, nor for the sheet that is made of it
(reports/lookback).
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from itertools import combinations

from acquire.errors import InputImpossible
from acquire.physics.tolerance import two_sided_k
from acquire.records import Pair

STRAP_OHM = 0.1
"""A path below this is called a strap, not a winding; common practice, no source."""

_AGREE = 0.01
"""Sums that agree within this share of the pair count as equal; workshop choice."""

_LEAD_SHARE = 0.1
"""What two windings share at a pin is its lead up to this share of the smaller one; workshop choice."""

Readings = Mapping[Pair, float]
"""What one good unit read: pair -> ohms at the reference temperature, infinite where open."""


@dataclass(frozen=True, slots=True)
class Learnt:
    """One winding or strap that the readings show.

    Attributes:
        a, b: pins, the core, or an inner point of a star.
        mean_ohm: over the units, leads of shared pins taken off.
        spread: standard deviation between the units as a fraction; None from a single unit.
        tolerance: half-width that holds 95 % of all units to come, with 95 % confidence, as a fraction.
        strap: True for a bond of hardly any ohms.
    """

    a: str
    b: str
    mean_ohm: float
    spread: float | None
    tolerance: float | None
    strap: bool = False


@dataclass(frozen=True, slots=True)
class Structure:
    """What the readings say of the circuit.

    Attributes:
        pins: all that were touched, in the order first named; the core last.
        branches: windings and straps.
        leads: pin -> ohms of its own lead, where two windings share the pin.
        islands: groups of pins that conduct among themselves.
        sums: measured pairs that are sums of branches; worth a step of their own.
        questions: what ohms cannot tell.
    """

    pins: tuple[str, ...]
    branches: tuple[Learnt, ...]
    leads: Mapping[str, float]
    islands: tuple[tuple[str, ...], ...]
    sums: tuple[Pair, ...]
    questions: tuple[str, ...]


def learn(units: Sequence[Readings], core: str = "") -> Structure:
    """Find windings, leads and tolerances from good units.

    Args:
        units: one or more, the same pairs measured on each; five or more give usable tolerances.
        core: name of the core among the pins, "" when it was not touched.

    Raises:
        InputImpossible: no unit, no pair that conducts, a pair that is open on some units only, or pairs that
            are missing on some.
    """
    pins, values = _collected(units, core)
    islands = _islands(pins, values)
    branches: list[Learnt] = []
    leads: dict[str, float] = {}
    sums: list[Pair] = []
    questions: list[str] = []
    for island in islands:
        found = _island(island, values)
        branches += found.branches
        leads |= found.leads
        sums += found.sums
        questions += found.questions
    if not branches:
        raise InputImpossible("No pair conducts on these units.", "Measure pairs that belong to a winding.")
    if len(units) < 5:
        questions.append(f"The tolerances rest on {len(units)} good unit(s) only: measure five or more.")
    return Structure(pins, tuple(branches), leads, tuple(islands), tuple(sums), tuple(questions))


MOST_PINS = 40
"""Pairs grow with the square of the pins, and the search with more; no unit of this trade has as many."""

_Values = dict[Pair, list[float]]
"""Finite pairs only: ohms of each unit, in the order of the units."""


def _collected(units: Sequence[Readings], core: str) -> tuple[tuple[str, ...], _Values]:
    if not units:
        raise InputImpossible("There is no unit to learn from.", "Measure one or more good units.")
    values: _Values = {}
    if len({pin for pair in units[0] for pin in pair}) > MOST_PINS:
        raise InputImpossible(
            f"A unit of more than {MOST_PINS} pins is not learnt from pairs.",
            "Learn its windings one group of pins at a time.",
        )
    for number, unit in enumerate(units, start=1):
        if set(unit) != set(units[0]):
            odd = next(iter(set(unit) ^ set(units[0])))
            raise InputImpossible(f"{odd} was not measured on all units.", f"Look at unit {number}.")
    for pair in units[0]:
        ohms = [unit[pair] for unit in units]
        finite = [math.isfinite(ohm) for ohm in ohms]
        if any(finite) != all(finite):
            number = finite.index(not finite[0]) + 1
            raise InputImpossible(
                f"{pair} is open on some of these units and conducts on others.",
                f"Unit {number} differs from the first: leave out the one that is not good.",
            )
        if all(finite):
            values[pair] = ohms
    pins = dict.fromkeys(pin for pair in units[0] for pin in pair if pin != core)
    return (*pins, *((core,) if core else ())), values


def _islands(pins: Sequence[str], values: _Values) -> list[tuple[str, ...]]:
    group = {pin: pin for pin in pins}
    for pair in values:
        old, new = group[pair.b], group[pair.a]
        group = {pin: new if name == old else name for pin, name in group.items()}
    return [tuple(pin for pin in pins if group[pin] == name) for name in dict.fromkeys(group.values())]


@dataclass(frozen=True, slots=True)
class _Island:
    branches: list[Learnt]
    leads: dict[str, float]
    sums: list[Pair]
    questions: list[str]


def _island(island: tuple[str, ...], values: _Values) -> _Island:
    inside = {pair: ohms for pair, ohms in values.items() if pair.a in island}
    tree = _tree(inside)
    others = [pair for pair in inside if pair not in tree]
    leads = _leads(tree, others, inside)
    apart = [pair for pair in others if not _adds_up(pair, tree, leads, inside)]
    if not apart:
        return _Island([_learnt(pair, _bare(pair, inside, leads)) for pair in tree], leads, others, [])
    if len(island) == 3:
        return _star(island, inside)
    names = ", ".join(str(pair) for pair in apart)
    question = (
        f"{names} do not follow from windings one after another: describe how {', '.join(island)} are joined."
    )
    return _Island([_learnt(pair, inside[pair]) for pair in tree], {}, [], [question])


def _tree(inside: _Values) -> list[Pair]:
    """The pairs with the least ohms that join all pins of the island (Kruskal 1956)."""
    group: dict[str, str] = {pin: pin for pair in inside for pin in pair}
    chosen = []
    for pair in sorted(inside, key=lambda pair: _mean(inside[pair])):
        if group[pair.a] != group[pair.b]:
            old, new = group[pair.b], group[pair.a]
            group = {pin: new if name == old else name for pin, name in group.items()}
            chosen.append(pair)
    return [pair for pair in inside if pair in chosen]


def _leads(tree: Sequence[Pair], others: Sequence[Pair], inside: _Values) -> dict[str, float]:
    """What neighbouring windings share at a pin: (R12 + R23 - R13) / 2, where it is small and steady."""
    shared: dict[str, list[float]] = {}
    for one, two in combinations(tree, 2):
        common = set(one) & set(two)
        far = [pin for pair in (one, two) for pin in pair if pin not in common]
        across = next((pair for pair in others if set(pair) == set(far)), None)
        if len(common) == 1 and across is not None:
            excess = [
                (x + y - z) / 2.0 for x, y, z in zip(inside[one], inside[two], inside[across], strict=True)
            ]
            limit = _LEAD_SHARE * min(_mean(inside[one]), _mean(inside[two]))
            if 0.0 < _mean(excess) <= limit and _mean(excess) > 3.0 * _sd(excess) / math.sqrt(len(excess)):
                shared.setdefault(common.pop(), []).append(_mean(excess))
    return {pin: _mean(found) for pin, found in shared.items()}


def _adds_up(pair: Pair, tree: Sequence[Pair], leads: Mapping[str, float], inside: _Values) -> bool:
    """Whether a pair is the sum of the windings between its pins, shared leads counted once only."""
    path = _path(pair, tree)
    inner = set().union(*path) - set(pair)
    expected = sum(_mean(inside[part]) for part in path) - 2.0 * sum(leads.get(pin, 0.0) for pin in inner)
    return abs(expected - _mean(inside[pair])) <= _AGREE * _mean(inside[pair])


def _path(pair: Pair, tree: Sequence[Pair]) -> list[Pair]:
    """The branches of the tree between two pins."""
    front: list[tuple[str, list[Pair]]] = [(pair.a, [])]
    while front:
        here, way = front.pop()
        if here == pair.b:
            return way
        front += [
            (part.b if part.a == here else part.a, [*way, part])
            for part in tree
            if here in part and part not in way
        ]
    return []


def _bare(pair: Pair, inside: _Values, leads: Mapping[str, float]) -> list[float]:
    known = sum(leads.get(pin, 0.0) for pin in pair)
    return [ohm - known for ohm in inside[pair]]


def _star(island: tuple[str, ...], inside: _Values) -> _Island:
    """Three pins whose pairs do not add up: a star with a hidden middle, or a delta that reads the same."""
    u, v, w = island
    lines = [_of(inside, u, v), _of(inside, v, w), _of(inside, u, w)]
    stars = [_star_of_lines(*three) for three in zip(*lines, strict=True)]
    middle = f"star_{u}"
    branches = [_learnt(Pair(pin, middle), [star[i] for star in stars]) for i, pin in enumerate(island)]
    question = (
        f"Ohms cannot tell whether {u}, {v} and {w} are a star or a delta: a star is written here; "
        f"the phases of a delta would be three times as large."
    )
    return _Island(branches, {}, [], [question])


def _star_of_lines(uv: float, vw: float, wu: float) -> tuple[float, float, float]:
    """Phases of a star from its terminal readings: U = (UV + WU - VW) / 2 and in turn.

    Raises:
        InputImpossible: one is larger than the other two together.
    """
    phases = ((uv + wu - vw) / 2.0, (uv + vw - wu) / 2.0, (vw + wu - uv) / 2.0)
    if min(phases) <= 0.0:
        raise InputImpossible(
            f"Terminal readings of {uv:g}, {vw:g} and {wu:g} Ω belong to no star or delta.",
            "One of them is larger than the other two together: measure again.",
        )
    return phases


def _of(inside: _Values, a: str, b: str) -> list[float]:
    return inside[Pair(a, b)] if Pair(a, b) in inside else inside[Pair(b, a)]


def _learnt(pair: Pair, ohms: Sequence[float]) -> Learnt:
    mean = _mean(ohms)
    strap = mean < STRAP_OHM
    if len(ohms) < 2:
        return Learnt(pair.a, pair.b, mean, None, None, strap)
    spread = _sd(ohms) / mean
    return Learnt(pair.a, pair.b, mean, spread, two_sided_k(len(ohms)) * spread, strap)


def _mean(values: Sequence[float]) -> float:
    return math.fsum(values) / len(values)


def _sd(values: Sequence[float]) -> float:
    if len(values) < 2:
        return 0.0
    mean = _mean(values)
    return math.sqrt(math.fsum((value - mean) ** 2 for value in values) / (len(values) - 1))
