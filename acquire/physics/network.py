"""Resistance between two points of a circuit of resistors, and how much each branch has to do with it.

Nodes are taken out one by one (star-mesh transformation, the physical form of Gaussian elimination on the
Laplacian). Conductances are only ever added, multiplied and divided, never subtracted, so a milliohm beside a
megohm costs no digits. Not for voltages, diodes or alternating current, and not for large circuits: a node
with many neighbours makes the work grow with their square.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence

from acquire.errors import InputImpossible

BranchOhm = tuple[str, str, float]
"""(node, node, resistance in ohms > 0; infinite for a broken branch)."""

_Mesh = dict[str, dict[str, float]]
"""Conductance in siemens between neighbouring nodes, parallel branches joined, kept both ways round."""


def resistance_between(branches: Iterable[BranchOhm], a: str, b: str) -> float:
    """Resistance that an ohmmeter shows between two nodes.

    Source: star-mesh transformation (Rosen 1924); equal to the resistance distance of the conductance
    Laplacian (Klein and Randic 1993).

    Args:
        branches: (node, node, ohm); ohm > 0, infinite for a broken branch. Parallel branches may repeat.
        a: one node that is touched.
        b: the other.

    Returns:
        Ohms; 0 for a node against itself, infinite where no path joins the two.

    Raises:
        InputImpossible: a branch is not above zero ohm, or is not a number.
    """
    if a == b:
        return 0.0
    mesh = _mesh(branches)
    for node in [node for node in mesh if node not in (a, b)]:
        _take_out(mesh, node)
    conductance_siemens = mesh.get(a, {}).get(b, 0.0)
    return 1.0 / conductance_siemens if conductance_siemens > 0.0 else math.inf


def sensitivities(branches: Sequence[BranchOhm], a: str, b: str) -> tuple[float, ...]:
    """How much the resistance between two nodes moves per ohm in each branch.

    The share of the test current that flows in the branch, squared (Cohn 1950). The shares also add up:
    the sum of sensitivity times branch resistance is the resistance itself.

    Args:
        branches: as for `resistance_between`.
        a: one node that is touched.
        b: the other.

    Returns:
        One number from 0 to 1 per branch, in the order given; all 0 where no path joins the two.

    Raises:
        InputImpossible: as for `resistance_between`.
    """
    volts = _potentials(branches, a, b)
    total_ohm = resistance_between(branches, a, b)
    if not 0.0 < total_ohm < math.inf:
        return tuple(0.0 for _ in branches)
    return tuple(_share(volts, branch, total_ohm) ** 2 for branch in branches)


def connected(branches: Iterable[BranchOhm], start: str) -> frozenset[str]:
    """All nodes that a path of unbroken branches joins to `start`, itself included."""
    mesh = _mesh(branches)
    seen = {start}
    front = [start]
    while front:
        for node in mesh.get(front.pop(), {}):
            if node not in seen:
                seen.add(node)
                front.append(node)
    return frozenset(seen)


def _mesh(branches: Iterable[BranchOhm]) -> _Mesh:
    mesh: _Mesh = {}
    for a, b, ohm in branches:
        if not ohm > 0.0:
            raise InputImpossible(
                f"A branch from {a} to {b} cannot have {ohm} Ω.", "Give it a resistance above zero."
            )
        mesh.setdefault(a, {})
        mesh.setdefault(b, {})
        if a != b and ohm < math.inf:
            mesh[a][b] = mesh[b][a] = mesh[a].get(b, 0.0) + 1.0 / ohm
    return mesh


def _take_out(mesh: _Mesh, node: str) -> tuple[dict[str, float], float]:
    """Replace a node by branches among its neighbours; give back its star, for the way back."""
    star = mesh.pop(node)
    total_siemens = math.fsum(star.values())
    around = list(star.items())
    for neighbour, _ in around:
        del mesh[neighbour][node]
    for index, (first, first_siemens) in enumerate(around):
        for second, second_siemens in around[index + 1 :]:
            joined = mesh[first].get(second, 0.0) + first_siemens * (second_siemens / total_siemens)
            mesh[first][second] = mesh[second][first] = joined
    return star, total_siemens


def _potentials(branches: Iterable[BranchOhm], a: str, b: str) -> dict[str, float]:
    """Potential of every node with one volt on `a` and none on `b`; nodes on neither side are left out."""
    mesh = _mesh(branches)
    order = [node for node in mesh if node not in (a, b)]
    stars = [(node, *_take_out(mesh, node)) for node in order]
    volts = {a: 1.0, b: 0.0}
    for node, star, total_siemens in reversed(stars):
        if total_siemens > 0.0 and all(neighbour in volts for neighbour in star):
            volts[node] = math.fsum(siemens * volts[near] for near, siemens in star.items()) / total_siemens
    return volts


def _share(volts: dict[str, float], branch: BranchOhm, total_ohm: float) -> float:
    a, b, ohm = branch
    if a not in volts or b not in volts or ohm == math.inf:
        return 0.0
    return (volts[a] - volts[b]) / ohm * total_ohm
