"""What circuits read on all pairs, many at once: mean, what moves them, and lean on the size of the fault.

Circuits that differ in ohms only share one set of matrices, so a whole fault dictionary takes tens of
milliseconds. Not for single pairs (acquire.physics.network does those without numpy and without loss).
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from acquire.records import Pair
from acquire.verdict.circuits import Element, FaultyCircuit

Floats = NDArray[np.float64]
Bools = NDArray[np.bool_]

_FEW = 24
"""Pairs up to which writing the factor out is faster."""

_NO_SHARE = 1e-15
"""Of the current, squared: what the matrices leave where none flows."""

SIZES = 3
"""Most sizes that one circuit has: two places and a resistance."""


@dataclass(frozen=True, slots=True)
class Solved:
    """Normal laws over pairs, one per circuit.

    Attributes:
        mean_ohm: [circuit, pair]; 0 where open.
        conducts: [circuit, pair].
        moves: [circuit, cause, pair] ohms by one standard deviation of each thing that is unsure; the
            covariance of two pairs is the sum of their products. Causes are the elements that spread, by
            name, then the directions by number.
        lean: [circuit, size, pair] ohms per unit of size.
    """

    mean_ohm: Floats
    conducts: Bools
    moves: Floats
    lean: Floats


def causes(circuits: Sequence[FaultyCircuit]) -> tuple[dict[str, int], int]:
    """Everything that is unsure about circuits: a row for each element that spreads, and how many rows."""
    named = (e.name for circuit in circuits for e in circuit.elements if e.sd_ohm > 0.0)
    rows = {name: row for row, name in enumerate(dict.fromkeys(named))}
    return rows, len(rows) + max((len(circuit.directions) for circuit in circuits), default=0)


def solve(
    circuits: Sequence[FaultyCircuit],
    pairs: Sequence[Pair],
    two_wire: Bools,
    rows: tuple[dict[str, int], int] | None = None,
) -> Solved:
    """Solve circuits for some pairs.

    Args:
        circuits: any.
        pairs: of pins, as the operator names them.
        two_wire: [pair] whether a lead zero has a part in it.
        rows: from `causes`, of these circuits or of more.
    """
    count = len(pairs)
    by_name, total = rows or causes(circuits)
    result = Solved(
        np.zeros((len(circuits), count)),
        np.zeros((len(circuits), count), dtype=bool),
        np.zeros((len(circuits), total, count)),
        np.zeros((len(circuits), SIZES, count)),
    )
    groups: dict[object, list[int]] = {}
    for index, circuit in enumerate(circuits):
        groups.setdefault(_shape(circuit), []).append(index)
    for members in groups.values():
        _solve_alike([circuits[i] for i in members], pairs, two_wire, result, members, by_name=by_name)
    return result


def whitened(block: Floats, rest: Floats) -> tuple[Floats, Floats]:
    """Distances by many small covariance matrices at once.

    Cholesky's factor and the substitution, written out over the pairs so that every operation runs over all
    circuits together; for a few pairs that is ten times as fast as one call of LAPACK per matrix. For many it
    is slower, and LAPACK does it.

    Args:
        block: [pair, pair, circuit], positive definite; it is overwritten.
        rest: [pair, column, circuit], reading less mean, or whatever else is to be seen in the same units.

    Returns:
        (the columns in independent units of one standard deviation [pair, column, circuit], whose products
        are those of the columns with the covariance's inverse; logarithm of the determinant [circuit]).
    """
    count = len(rest)
    diagonal = np.arange(count)
    if count > _FEW:
        root = np.linalg.cholesky(block.transpose(2, 0, 1))
        log_det: Floats = 2.0 * np.log(root[:, diagonal, diagonal]).sum(axis=1)
        return np.linalg.solve(root, rest.transpose(2, 0, 1)).transpose(1, 2, 0), log_det
    white = np.array(rest)
    for j in range(count):
        for k in range(j):
            block[j:, j] -= block[j:, k] * block[j, k]
        block[j:, j] /= np.sqrt(block[j, j])
        for k in range(j):
            white[j] -= block[j, k] * white[k]
        white[j] /= block[j, j]
    log_det = 2.0 * np.log(block[diagonal, diagonal]).sum(axis=0)
    return white, log_det


def whitened_by_causes(moves: Floats, noise: Floats, rest: Floats) -> tuple[Floats, Floats, Floats]:
    """Distances by many covariance matrices that few causes make, without the matrices.

    By Woodbury's identity and the matrix determinant lemma (Press and others, Numerical Recipes, 2.7.3): the
    work grows with the readings, not with their cube. What is subtracted costs digits only where a reading is
    far beyond anything that its circuit could read.

    Args:
        moves: [circuit, cause, pair] ohms by one standard deviation of each cause.
        noise: [circuit, pair] variance of what is not caused.
        rest: [circuit, column, pair] numbers in ohms.

    Returns:
        (products by the covariance's inverse [column, circuit] of the first column with each, and of each
        with itself; logarithm of the determinant [circuit]).
    """
    sd = np.sqrt(noise)[:, None]
    moved, seen = moves / sd, rest / sd
    root = np.linalg.cholesky(np.eye(moves.shape[1]) + moved @ moved.transpose(0, 2, 1))
    explained = np.linalg.solve(root, moved @ seen.transpose(0, 2, 1))
    with_first = (seen * seen[:, :1]).sum(axis=2) - (explained * explained[:, :, :1]).sum(axis=1)
    with_itself = (seen**2).sum(axis=2) - (explained**2).sum(axis=1)
    log_det = np.log(noise).sum(axis=1) + 2.0 * np.log(np.diagonal(root, axis1=1, axis2=2)).sum(axis=1)
    return with_first.T, with_itself.T, log_det


def _shape(circuit: FaultyCircuit) -> object:
    """Equal for circuits that differ in ohms only."""
    joined = tuple((e.name, e.a, e.b) for e in circuit.elements if math.isfinite(e.ohm))
    places = tuple(sorted(circuit.places.items()))
    return joined, places, len(circuit.directions), len(circuit.sizes)


def _solve_alike(
    circuits: Sequence[FaultyCircuit],
    pairs: Sequence[Pair],
    two_wire: Bools,
    result: Solved,
    members: Sequence[int],
    *,
    by_name: dict[str, int],
) -> None:
    """Solve circuits of one shape into their places in `result`.

    By the inverse of the conductance Laplacian, each island of nodes held by a rank-one term (Klein and
    Randic 1993); the sensitivity to a branch is the square of its share of the current (Cohn 1950).
    """
    whole = [[e for e in circuit.elements if math.isfinite(e.ohm)] for circuit in circuits]
    elements, places = whole[0], circuits[0].places
    touched = [(places.get(a, a), places.get(b, b)) for a, b in pairs]
    ends = [name for pair in touched for name in pair] + [n for e in elements for n in (e.a, e.b)]
    names = list(dict.fromkeys(ends))
    place = {name: index for index, name in enumerate(names)}
    island = _islands(elements, names)
    incidence = np.zeros((len(elements), len(names)))
    for number, e in enumerate(elements):
        incidence[number, place[e.a]] += 1.0
        incidence[number, place[e.b]] -= 1.0
    a, b = np.array([[place[first], place[second]] for first, second in touched]).T
    conducts: Bools = island[a] == island[b]
    ohm = np.array([[e.ohm for e in each] for each in whole])
    siemens = (1.0 / ohm)[:, :, None]
    usual = siemens.mean(axis=1) if elements else np.ones((len(circuits), 1))  # where every path is open
    held = np.equal.outer(island, island) * usual[:, :, None]
    inverse = np.linalg.inv(incidence.T @ (incidence * siemens) + held)
    across = (inverse[:, a] - inverse[:, b]) * conducts[:, None]
    row = np.arange(len(a))
    shares = (across @ incidence.T / ohm[:, None, :]) ** 2
    shares[shares < _NO_SHARE] = 0.0
    zero = np.array([circuit.zero_ohm for circuit in circuits])[:, None] * (conducts & two_wire)
    moved, sds = _directions(circuits, elements, shares, conducts & two_wire)
    result.mean_ohm[members] = across[:, row, a] - across[:, row, b] + zero
    result.conducts[members] = conducts
    count = len(circuits[0].sizes)
    result.lean[members, :count] = moved[:, :count]
    last = len(by_name) + moved.shape[1]
    result.moves[members, len(by_name) : last] = moved * sds[:, :, None]
    sd_ohm = np.array([[e.sd_ohm for e in each] for each in whole])
    for number, element in enumerate(elements):
        if sd_ohm[:, number].any():
            result.moves[members, by_name[element.name]] = shares[:, :, number] * sd_ohm[:, number, None]


def _directions(
    circuits: Sequence[FaultyCircuit], elements: Sequence[Element], shares: Floats, zeroed: Bools
) -> tuple[Floats, Floats]:
    """How far each pair moves along each direction, per unit, and the directions' standard deviations."""
    index = {e.name: row for row, e in enumerate(elements)}
    count = len(circuits[0].directions)
    parts = np.zeros((len(circuits), count, len(elements)))
    zero = np.zeros((len(circuits), count))
    sds = np.zeros((len(circuits), count))
    for number, circuit in enumerate(circuits):
        for place, direction in enumerate(circuit.directions):
            sds[number, place], zero[number, place] = direction.sd, direction.zero_ohm
            for name, per_unit in direction.parts.items():
                if name in index:
                    parts[number, place, index[name]] = per_unit
    return parts @ shares.transpose(0, 2, 1) + zero[:, :, None] * zeroed, sds


def _islands(elements: Sequence[Element], names: Sequence[str]) -> NDArray[np.int64]:
    """A number for each node, the same for nodes that a path joins."""
    root = {name: name for name in names}

    def find(name: str) -> str:
        while root[name] != name:
            name = root[name]
        return name

    for e in elements:
        root[find(e.a)] = find(e.b)
    number = {name: index for index, name in enumerate(dict.fromkeys(find(n) for n in names))}
    return np.array([number[find(name)] for name in names])
