"""A wound unit as a graph of resistors: what an ideal ohmmeter would read between any two pins.

Copper follows its temperature; joints, faults and films do not. Not for contacts of probes (see `probes`),
inductance or insulation.
"""

from __future__ import annotations

import math
from collections import defaultdict
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field, replace

import numpy as np

COPPER_CELSIUS = 234.5
"""Where copper's straight line meets zero ohm, below 0 °C (IEEE practice; IEC writes 235)."""
REFERENCE_CELSIUS = 20.0
COPPER_OHM_MM2_PER_M = 0.017241
"""Annealed copper at 20 °C (IEC 60028: 1/58 ohm mm²/m)."""


def wire_mm2(awg: float) -> float:
    """Bare copper area of a wire gauge in mm².

    Source: ASTM B258: diameter 5 mil times 92 to the power (36 - gauge)/39, rounded to a tenth of a mil as
    in its tables (from memory).
    """
    mil = round(5.0 * math.pow(92.0, (36 - awg) / 39), 1)
    return math.pi / 4 * (0.0254 * mil) ** 2


def wire_ohm(length_m: float, awg: float, strands: int = 1) -> float:
    """Resistance at 20 °C of a length of round copper wire, `strands` in hand."""
    return COPPER_OHM_MM2_PER_M * length_m / (wire_mm2(awg) * strands)


def copper_factor(celsius: float) -> float:
    """Resistance of copper at a temperature over that at 20 °C."""
    return (COPPER_CELSIUS + celsius) / (COPPER_CELSIUS + REFERENCE_CELSIUS)


@dataclass(frozen=True, slots=True)
class Branch:
    """One resistor between two nodes.

    Attributes:
        name: of the winding, lead, strap, joint or fault.
        a, b: nodes; a pin's contact is the node of the pin's own name.
        ohm_20: resistance at 20 °C, >= 0; infinite where the branch is broken.
        copper: whether it follows the copper law.
        unrest: relative size of a slow wandering, as a bad joint shows it (rms, 0 for a sound branch).
    """

    name: str
    a: str
    b: str
    ohm_20: float
    copper: bool = True
    unrest: float = 0.0

    def ohm(self, celsius: float, t_s: float) -> float:
        """Resistance at a temperature and a simulated time."""
        value = self.ohm_20 * copper_factor(celsius) if self.copper else self.ohm_20
        return value * (1 + self.unrest * wander(t_s, self.name)) if self.unrest else value


def wander(t_s: float, seed: str) -> float:
    """A smooth random-looking function of time with about unit rms, the same for the same seed."""
    phase = sum(seed.encode()) * 0.7
    waves = ((0.31, 1.0), (0.83, 2.3), (1.9, 4.1))
    return sum(math.sin(math.tau * f * t_s + phase * k) for f, k in waves) * math.sqrt(2 / len(waves))


def ohm_between(resistors: Iterable[tuple[str, str, float]], a: str, b: str) -> float:
    """Resistance between two nodes of a network of resistors.

    Kirchhoff's current law at every node but one, unit current from a to b, solved as one linear system.

    Args:
        resistors: node, node, ohm >= 0 (infinite: no connection; zero: counted as a micro-ohm).
        a: one node.
        b: the other.

    Returns:
        Ohms; infinite where no path joins the nodes.
    """
    if a == b:
        return 0.0
    live = [(p, q, 1 / max(ohm, 1e-6)) for p, q, ohm in resistors if p != q and math.isfinite(ohm)]
    reached = _reachable(live, a)
    if b not in reached:
        return math.inf
    row = {node: k for k, node in enumerate(sorted(reached - {b}))}
    matrix = np.zeros((len(row), len(row)))
    for p, q, siemens in live:
        if p not in reached:
            continue
        for node, other in ((p, q), (q, p)):
            if node in row:
                matrix[row[node], row[node]] += siemens
                if other in row:
                    matrix[row[node], row[other]] -= siemens
    current = np.zeros(len(row))
    current[row[a]] = 1.0
    return float(np.linalg.solve(matrix, current)[row[a]])


def _reachable(live: Sequence[tuple[str, str, float]], start: str) -> set[str]:
    neighbours: dict[str, set[str]] = defaultdict(set)
    for p, q, _ in live:
        neighbours[p].add(q)
        neighbours[q].add(p)
    reached, edge = {start}, [start]
    while edge:
        fresh = neighbours[edge.pop()] - reached
        reached |= fresh
        edge.extend(fresh)
    return reached


@dataclass(slots=True)
class WoundUnit:
    """One item on the bench.

    Attributes:
        serial: its identity.
        branches: its circuit, faults planted.
        excess_kelvin: winding above ambient at `since_s`.
        cooling_s: time constant of cooling, seconds.
        since_s: simulated time at which `excess_kelvin` held.
        swapped: pin as labelled -> node really behind it.
    """

    serial: str
    branches: tuple[Branch, ...]
    excess_kelvin: float = 0.0
    cooling_s: float = 1500.0
    since_s: float = 0.0
    swapped: dict[str, str] = field(default_factory=dict)

    def celsius(self, ambient_celsius: float, t_s: float) -> float:
        """Winding temperature at a simulated time: ambient plus what has not cooled away yet."""
        return ambient_celsius + self.excess_kelvin * math.exp(-max(0.0, t_s - self.since_s) / self.cooling_s)

    def ohm(self, a: str, b: str, celsius: float, t_s: float = 0.0) -> float:
        """What an ideal ohmmeter reads between two pins with the whole winding at one temperature."""
        resistors = [(branch.a, branch.b, branch.ohm(celsius, t_s)) for branch in self.branches]
        return ohm_between(resistors, self.swapped.get(a, a), self.swapped.get(b, b))

    def steady_ohm(self, a: str, b: str, celsius: float = REFERENCE_CELSIUS) -> float:
        """Resistance between two pins without the unrest of a bad joint; by default at 20 °C."""
        calm = replace(self, branches=tuple(replace(branch, unrest=0.0) for branch in self.branches))
        return calm.ohm(a, b, celsius)
