"""A unit's circuit that can be given faults: elements, directions in which it is unsure, and the changes.

Each fault of the dictionary is a change of the circuit, so that one solver foretells what any of them reads,
alone or two at a time. A size that is not known (how many turns, how many ohms) is a mixture of normal laws
on a logarithmic grid, and along each of them the circuit is taken as linear. Not for weighing readings (see
casebook).
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass, field, replace
from itertools import pairwise

from acquire.physics.copper import conductor_named, fraction_per_kelvin
from acquire.records import BranchKind, Sheet


@dataclass(frozen=True, slots=True)
class Element:
    """One resistance of a unit as it may really be.

    Attributes:
        name: of the branch of the sheet, or of what the fault adds.
        a, b: nodes.
        ohm: at the reference temperature; infinite for a break.
        sd_ohm: its own spread between good units.
        per_kelvin: fraction by which it grows per kelvin.
    """

    name: str
    a: str
    b: str
    ohm: float
    sd_ohm: float = 0.0
    per_kelvin: float = 0.0


@dataclass(frozen=True, slots=True)
class Direction:
    """Something unsure that moves several elements together.

    Attributes:
        sd: standard deviation of the unsure quantity, in its own unit.
        parts: element name -> ohms per unit of the quantity.
        zero_ohm: ohms that every reading moves per unit of the quantity.
        low, high: what the size of a fault cannot go beyond.
    """

    sd: float = 0.0
    parts: Mapping[str, float] = field(default_factory=dict)
    zero_ohm: float = 0.0
    low: float = 0.0
    high: float = math.inf


@dataclass(frozen=True, slots=True)
class FaultyCircuit:
    """A unit with one particular fault, or two, of about one particular size.

    Attributes:
        elements: its resistances.
        sizes: of its faults, in the units their sentences use.
        directions: what is unsure about it; those of the sizes come first, in the same order.
        zero_ohm: added to every reading.
        places: pin as the operator calls it -> node that is really touched, where the two differ.
        weight: prior probability within its fault, adding up to one over its sizes.
    """

    elements: tuple[Element, ...]
    sizes: tuple[float, ...] = ()
    directions: tuple[Direction, ...] = ()
    zero_ohm: float = 0.0
    places: Mapping[str, str] = field(default_factory=dict)
    weight: float = 1.0

    def element(self, name: str) -> Element:
        """The element of that name."""
        return next(element for element in self.elements if element.name == name)

    def with_elements(self, *changed: Element) -> FaultyCircuit:
        """The same circuit with elements changed, found by their names."""
        by_name = {element.name: element for element in changed}
        return replace(self, elements=tuple(by_name.get(e.name, e) for e in self.elements))

    def sized(
        self, size: float, weight: float, direction: Direction, elements: tuple[Element, ...] | None = None
    ) -> FaultyCircuit:
        """The same circuit with the size of its (next) fault and the direction in which that varies.

        Made some ten thousand times for a dictionary, hence at one go and without `replace`.
        """
        at = len(self.sizes)
        return FaultyCircuit(
            self.elements if elements is None else elements,
            (*self.sizes, size),
            (*self.directions[:at], direction, *self.directions[at:]),
            self.zero_ohm,
            self.places,
            self.weight * weight,
        )


Sizes = tuple[tuple[float, float, float], ...]
"""(centre, standard deviation, weight) of each normal law of a mixture."""


def log_sizes(low: float, high: float, ratio: float = 1.6) -> Sizes:
    """A mixture of normal laws that stands for "any size, each decade as likely as the next".

    Args:
        low: smallest size, > 0.
        high: largest size.
        ratio: from one centre to the next; each law is about as wide as the step, so that no gap is left.
    """
    count = max(1, round(math.log(high / low) / math.log(ratio)))
    step = (high / low) ** (1.0 / count)
    centres = [low * step ** (index + 0.5) for index in range(count)]
    return tuple((centre, 0.5 * centre * (step - 1.0), 1.0 / count) for centre in centres)


_ALIKE_SHARE = 1.0 / 3.0
"""Windings that must agree within a limit differ by a third of it (standard deviation); workshop choice."""

_BIFILAR_SHARE = 0.1
"""Windings wound together share wire and hand: what is left to each, of its spread. Workshop choice."""


def healthy(sheet: Sheet) -> FaultyCircuit:
    """A good unit of the sheet, with the spread between good units; diodes count as open.

    Windings that must agree, or are wound together, come from one spool and one hand: most of their spread is
    common to them.
    """
    spreads = {b.name: b.spread for b in sheet.branches}
    common = []
    for names, own in alike(sheet):
        shared = {n: math.sqrt(max(spreads[n] ** 2 - own**2, 0.0)) for n in names}
        spreads |= {n: min(spreads[n], own) for n in names}
        common.append(shared)
    elements = tuple(
        Element(
            b.name,
            b.a,
            b.b,
            b.reference_ohm,
            spreads[b.name] * b.reference_ohm,
            fraction_per_kelvin(sheet.reference_celsius, conductor_named(b.material)),
        )
        for b in sheet.branches
        if b.kind is not BranchKind.DIODE
    )
    ohms = {e.name: e.ohm for e in elements}
    together = (Direction(1.0, {n: s * ohms[n] for n, s in shared.items()}) for shared in common)
    return FaultyCircuit(elements, directions=tuple(together))


def alike(sheet: Sheet) -> list[tuple[tuple[str, ...], float]]:
    """Groups of windings that are wound alike, each winding in one, and what each differs by itself.

    Returns:
        (names, standard deviation of one winding about what the group shares, as a fraction).
    """
    spreads = {b.name: b.spread for b in sheet.branches}
    groups = [(rule.windings, _ALIKE_SHARE * rule.from_mean) for rule in sheet.balances]
    groups += [(pair, _BIFILAR_SHARE * min(spreads[n] for n in pair)) for pair in sheet.bifilar]
    found: list[tuple[tuple[str, ...], float]] = []
    for names, own in sorted(groups, key=lambda group: group[1]):
        if not any(set(names) & set(taken) for taken, _ in found):
            found.append((names, own))
    return found


def scaled(
    circuit: FaultyCircuit, names: Iterable[str], sizes: Sizes, sign: float = 1.0
) -> Iterator[FaultyCircuit]:
    """Elements larger by one common fraction (sign 1) or smaller by it (sign -1)."""
    elements = [circuit.element(name) for name in names]
    for size, sd, weight in sizes:
        factor = 1.0 + sign * size
        if factor <= 0.0:
            continue
        changed = [replace(e, ohm=e.ohm * factor, sd_ohm=e.sd_ohm * factor) for e in elements]
        parts = {e.name: sign * e.ohm for e in elements if math.isfinite(e.ohm)}
        direction = Direction(sd, parts, high=1.0 if sign < 0.0 else math.inf)
        yield circuit.with_elements(*changed).sized(size, weight, direction)


def broken(circuit: FaultyCircuit, name: str) -> Iterator[FaultyCircuit]:
    """One element open."""
    yield circuit.with_elements(replace(circuit.element(name), ohm=math.inf)).sized(0.0, 1.0, Direction())


def in_contact(circuit: FaultyCircuit, pin: str, sizes: Sizes) -> Iterator[FaultyCircuit]:
    """Some ohms between a pin's contact and all that hangs on it; an infinite size is a lost contact."""
    inner = f"{pin} behind"
    moved = tuple(
        replace(e, a=inner if e.a == pin else e.a, b=inner if e.b == pin else e.b) if pin in (e.a, e.b) else e
        for e in circuit.elements
    )
    name = f"joint {pin}"
    for size, sd, weight in sizes:
        joined = (*moved, Element(name, pin, inner, size))
        yield circuit.sized(size, weight, Direction(sd, {name: 1.0}), joined)


def warmer(circuit: FaultyCircuit, sizes: Sizes, sign: float = 1.0) -> Iterator[FaultyCircuit]:
    """The whole unit warmer (sign 1) or colder than the thermometer says, by kelvin."""
    per_kelvin = {e.name: sign * e.ohm * e.per_kelvin for e in circuit.elements}
    for size, sd, weight in sizes:
        warm = (replace(e, ohm=e.ohm * (1.0 + sign * size * e.per_kelvin)) for e in circuit.elements)
        yield circuit.sized(size, weight, Direction(sd, per_kelvin), tuple(warm))


def off_zero(circuit: FaultyCircuit, sizes: Sizes, sign: float = 1.0) -> Iterator[FaultyCircuit]:
    """Every reading too high (sign 1) or too low by the same ohms: the lead zero no longer holds."""
    for size, sd, weight in sizes:
        shifted = replace(circuit, zero_ohm=circuit.zero_ohm + sign * size)
        yield shifted.sized(size, weight, Direction(sd, zero_ohm=sign))


def swapped(circuit: FaultyCircuit, pin: str, other: str) -> Iterator[FaultyCircuit]:
    """Two contacts in each other's place in the connector."""
    yield replace(circuit, places={**circuit.places, pin: other, other: pin}).sized(0.0, 1.0, Direction())


def rewired(circuit: FaultyCircuit, ends: Mapping[str, tuple[str, str]]) -> Iterator[FaultyCircuit]:
    """Elements between other nodes than the sheet says: a delta in place of a star, or the other way."""
    changed = (replace(circuit.element(name), a=a, b=b) for name, (a, b) in ends.items())
    yield circuit.with_elements(*changed).sized(0.0, 1.0, Direction())


Parts = tuple[float, ...]
"""Where an element is divided, from 0 to 1; a fault sits about in the middle of a part."""


def evenly(count: int) -> Parts:
    """An element in parts of one length."""
    return tuple(number / count for number in range(count + 1))


def bridged(
    circuit: FaultyCircuit, name: str, node: str, parts: Parts, sizes: Sizes
) -> Iterator[FaultyCircuit]:
    """A fault from somewhere along an element to a node, through some ohms.

    Its sizes are the place, as a fraction of the element from its end `a`, and the ohms of the fault.

    Args:
        circuit: to change.
        name: element that is touched.
        node: what it touches.
        parts: of the element that may be touched; where it ends on the node itself, a little place makes much
            of a difference near that end.
        sizes: resistance of the fault in ohms.
    """
    for tapped, tap in _tapped(circuit, name, parts):
        fault = f"{name} to {node}"
        for ohm, sd, weight in sizes:
            joined = (*tapped.elements, Element(fault, tap, node, ohm))
            yield tapped.sized(ohm, weight, Direction(sd, {fault: 1.0}), joined)


def crossed(
    circuit: FaultyCircuit, name: str, other: str, parts: Parts, sizes: Sizes
) -> Iterator[FaultyCircuit]:
    """A fault between somewhere along one element and somewhere along another.

    Its sizes are the place along `other`, the place along `name`, and the ohms of the fault.
    """
    for tapped, tap in _tapped(circuit, other, parts):
        yield from bridged(tapped, name, tap, parts, sizes)


def _tapped(circuit: FaultyCircuit, name: str, parts: Parts) -> Iterator[tuple[FaultyCircuit, str]]:
    """The circuit with an element cut in two at each of several places, and the node between the parts."""
    element = circuit.element(name)
    tap = f"{name} tap"
    kept = tuple(e for e in circuit.elements if e.name != name)
    for start, end in pairwise(parts):
        share, length = 0.5 * (start + end), end - start
        first = replace(element, name=f"{name} (a)", b=tap, ohm=share * element.ohm, sd_ohm=0.0)
        second = replace(element, name=f"{name} (b)", a=tap, ohm=(1.0 - share) * element.ohm, sd_ohm=0.0)
        together = Direction(element.sd_ohm, {first.name: share, second.name: 1.0 - share})
        along = Direction(0.5 * length, {first.name: element.ohm, second.name: -element.ohm}, high=1.0)
        shared = tuple(
            _split_part(d, name, ((first.name, share), (second.name, 1.0 - share)))
            for d in circuit.directions
        )
        cut = replace(circuit, elements=(*kept, first, second), directions=(*shared, together))
        yield cut.sized(share, length, along), tap


def _split_part(direction: Direction, name: str, shares: Iterable[tuple[str, float]]) -> Direction:
    """The same direction where an element has been cut into parts."""
    if name not in direction.parts:
        return direction
    parts = {n: ohm for n, ohm in direction.parts.items() if n != name}
    parts |= {part: share * direction.parts[name] for part, share in shares}
    return replace(direction, parts=parts)
