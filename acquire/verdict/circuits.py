"""A unit's circuit that can be given faults: elements, directions in which it is unsure, and the changes.

Each fault of the dictionary is a change of the circuit, so that one solver foretells what any of them reads.
A size that is not known (how many turns, how many ohms) is a mixture of normal laws on a logarithmic grid,
and along each of them the circuit is taken as linear. Not for weighing readings (see casebook).
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass, field, replace

from acquire.records import BranchKind, Sheet

KELVIN_AT_REFERENCE = 254.5
"""Copper: k + 20 °C (IEC 60034-1 habit, k = 234.5); per kelvin 1/254.5 of the reference value."""


@dataclass(frozen=True, slots=True)
class Element:
    """One resistance of a unit as it may really be; `sd_ohm` is its own spread between units."""

    name: str
    a: str
    b: str
    ohm: float
    sd_ohm: float = 0.0


@dataclass(frozen=True, slots=True)
class Direction:
    """Something unsure that moves several elements together.

    Attributes:
        sd: standard deviation of the unsure quantity, in its own unit.
        parts: element name -> ohms per unit of the quantity.
        zero_ohm: ohms that every reading moves per unit of the quantity.
    """

    sd: float
    parts: Mapping[str, float] = field(default_factory=dict)
    zero_ohm: float = 0.0


@dataclass(frozen=True, slots=True)
class Circuit:
    """A unit with one particular fault of about one particular size.

    Attributes:
        elements: its resistances; infinite ohms for a break.
        directions: what is unsure about it; the size of the fault comes first.
        zero_ohm: added to every reading.
        places: pin as the operator calls it -> node that is really touched, where the two differ.
        size: of the fault, in the unit its sentence uses; 0 where it has none.
        weight: prior probability within its fault, adding up to one over its sizes.
    """

    elements: tuple[Element, ...]
    directions: tuple[Direction, ...] = ()
    zero_ohm: float = 0.0
    places: Mapping[str, str] = field(default_factory=dict)
    size: float = 0.0
    weight: float = 1.0

    def element(self, name: str) -> Element:
        """The element of that name."""
        return next(element for element in self.elements if element.name == name)

    def with_element(self, changed: Element) -> Circuit:
        """The same circuit with one element changed, found by its name."""
        return replace(self, elements=tuple(changed if e.name == changed.name else e for e in self.elements))

    def sized(self, size: float, weight: float, direction: Direction | None = None) -> Circuit:
        """The same circuit with the size of its fault, weighted, and the direction in which it varies."""
        first = (direction,) if direction else ()
        return replace(self, size=size, weight=self.weight * weight, directions=(*first, *self.directions))


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


def healthy(sheet: Sheet) -> Circuit:
    """A good unit of the sheet, with the spread between good units; diodes count as open."""
    return Circuit(
        tuple(
            Element(b.name, b.a, b.b, b.reference_ohm, b.spread * b.reference_ohm)
            for b in sheet.branches
            if b.kind is not BranchKind.DIODE
        )
    )


def scaled(circuit: Circuit, name: str, sizes: Sizes, sign: float = 1.0) -> Iterator[Circuit]:
    """One element larger by a fraction (sign 1) or smaller by it (sign -1)."""
    element = circuit.element(name)
    for size, sd, weight in sizes:
        factor = 1.0 + sign * size
        if factor <= 0.0:
            continue
        changed = replace(element, ohm=element.ohm * factor, sd_ohm=element.sd_ohm * factor)
        yield circuit.with_element(changed).sized(size, weight, Direction(sd, {name: sign * element.ohm}))


def broken(circuit: Circuit, name: str) -> Iterator[Circuit]:
    """One element open."""
    yield circuit.with_element(replace(circuit.element(name), ohm=math.inf, sd_ohm=0.0))


def in_contact(circuit: Circuit, pin: str, sizes: Sizes) -> Iterator[Circuit]:
    """Some ohms between a pin's contact and all that hangs on it; an infinite size is a lost contact."""
    inner = f"{pin} behind"
    moved = tuple(
        replace(e, a=inner if e.a == pin else e.a, b=inner if e.b == pin else e.b) for e in circuit.elements
    )
    name = f"joint {pin}"
    for size, sd, weight in sizes:
        joined = replace(circuit, elements=(*moved, Element(name, pin, inner, size)))
        yield joined.sized(size, weight, Direction(sd, {name: 1.0}) if sd else None)


def warmer(circuit: Circuit, sizes: Sizes, sign: float = 1.0) -> Iterator[Circuit]:
    """The whole unit warmer (sign 1) or colder than the thermometer says, by kelvin."""
    per_kelvin = {e.name: sign * e.ohm / KELVIN_AT_REFERENCE for e in circuit.elements}
    for size, sd, weight in sizes:
        factor = 1.0 + sign * size / KELVIN_AT_REFERENCE
        elements = tuple(replace(e, ohm=e.ohm * factor) for e in circuit.elements)
        yield replace(circuit, elements=elements).sized(size, weight, Direction(sd, per_kelvin))


def off_zero(circuit: Circuit, sizes: Sizes, sign: float = 1.0) -> Iterator[Circuit]:
    """Every reading too high (sign 1) or too low by the same ohms: the lead zero no longer holds."""
    for size, sd, weight in sizes:
        shifted = replace(circuit, zero_ohm=circuit.zero_ohm + sign * size)
        yield shifted.sized(size, weight, Direction(sd, zero_ohm=sign))


def swapped(circuit: Circuit, pin: str, other: str) -> Iterator[Circuit]:
    """Two contacts in each other's place in the connector."""
    yield replace(circuit, places={**circuit.places, pin: other, other: pin})


def bridged(
    circuit: Circuit, name: str, other: str, fractions: Iterable[float], sizes: Sizes
) -> Iterator[Circuit]:
    """A fault from somewhere along an element to another node, through some ohms.

    Args:
        circuit: to change.
        name: element that is tapped.
        other: node that it touches.
        fractions: places along the element from its end `a`, each equally likely.
        sizes: resistance of the fault in ohms.
    """
    element = circuit.element(name)
    places = tuple(fractions)
    width = 0.5 / len(places)
    for place in places:
        tap = f"{name} tap {other}"
        first = Element(f"{name} (a)", element.a, tap, place * element.ohm)
        second = Element(f"{name} (b)", tap, element.b, (1.0 - place) * element.ohm)
        kept = tuple(e for e in circuit.elements if e.name != name)
        along = Direction(width, {first.name: element.ohm, second.name: -element.ohm})
        together = Direction(element.sd_ohm, {first.name: place, second.name: 1.0 - place})
        for ohm, sd, weight in sizes:
            fault = Element(f"{name} to {other}", tap, other, ohm)
            changed = replace(
                circuit,
                elements=(*kept, first, second, fault),
                directions=(along, together, *circuit.directions),
            )
            yield changed.sized(place, weight / len(places), Direction(sd, {fault.name: 1.0}))
