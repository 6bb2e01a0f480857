"""What every fault of a sheet would read on every pair, solved once, and how well it explains readings.

Each circuit of the dictionary becomes a normal law over all pairs (mean and covariance), so that weighing the
readings of a unit is a few hundred small matrix equations at once. Not for choosing faults or priors (see
dictionary).
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from itertools import combinations

import numpy as np
from numpy.typing import NDArray

from acquire.records import Pair
from acquire.verdict.circuits import Circuit, Element
from acquire.verdict.dictionary import Case

_Floats = NDArray[np.float64]
_Bools = NDArray[np.bool_]

_OPEN_SLIP = 3e-3
"""Chance that a pair confirmed as open conducts after all: the key was pressed beside the pin. Workshop
choice."""

_SHUT_SLIP = 1e-3
"""Chance that an open pair gives a value: a wrong pair, a finger across a gap. Workshop choice."""

SIZES = 3
"""Most sizes that one circuit has: two places and a resistance."""

_SPAN = math.log(1e9)
"""A reading that no circuit explains may lie anywhere from a milliohm to a megohm, log-uniform."""


@dataclass(frozen=True, slots=True)
class Laws:
    """Normal laws over pairs, one per circuit.

    Attributes:
        case: index of the case that each circuit belongs to.
        log_prior: weight of each circuit, case and size together; not normalised.
        size, size_sd: [circuit, size] of its faults.
        mean_ohm: [circuit, pair]; 0 where open.
        conducts: [circuit, pair].
        covariance: [circuit, pair, pair], without the measurement's own uncertainty.
        lean: [circuit, size, pair] ohms per unit of size.
    """

    case: NDArray[np.int64]
    log_prior: _Floats
    size: _Floats
    size_sd: _Floats
    mean_ohm: _Floats
    conducts: _Bools
    covariance: _Floats
    lean: _Floats


class Casebook:
    """All cases of a sheet with the laws of what they read.

    Attributes:
        cases: as given.
        good: what a good unit reads, alone in its laws.
        pairs: every pair of the given points, in their order.
    """

    def __init__(
        self,
        cases: Sequence[Case],
        good: Circuit,
        points: Sequence[str],
        *,
        four_wire_below_ohm: float = 0.0,
    ) -> None:
        """Solve every circuit; some tenths of a second for a dozen branches.

        Args:
            cases: from the dictionary.
            good: a unit without a fault.
            points: places a probe can touch.
            four_wire_below_ohm: pairs that read less than this on a good unit are measured with four wires,
                so that the lead zero has no part in them.
        """
        self.cases = tuple(cases)
        self.pairs = tuple(Pair(a, b) for a, b in combinations(points, 2))
        self._index = {pair: index for index, pair in enumerate(self.pairs)}
        every = np.ones(len(self.pairs), dtype=bool)
        self.good = _laws((Case((("healthy", ()),), 1.0, (good,)),), tuple(points), every)
        two_wire = ~self.good.conducts[0] | (self.good.mean_ohm[0] >= four_wire_below_ohm)
        self.laws = _laws(self.cases, tuple(points), two_wire)

    def columns(self, pairs: Sequence[Pair]) -> NDArray[np.int64]:
        """Where the pairs stand among `self.pairs`, whichever way round they are given."""
        order = [self._index[p] if p in self._index else self._index[Pair(p.b, p.a)] for p in pairs]
        return np.array(order, dtype=np.int64)

    def explain(self, pairs: Sequence[Pair], ohms: Sequence[float], u_ohms: Sequence[float]) -> Explained:
        """Weigh every circuit against readings.

        Args:
            pairs: that were measured; a pair may repeat.
            ohms: at the reference temperature, infinite where confirmed open.
            u_ohms: standard uncertainties.
        """
        every = self.columns(pairs)
        ohm = np.array(ohms, dtype=float)
        read = np.isfinite(ohm)
        columns = every[read]
        laws = self.laws
        both = laws.conducts[:, columns]
        rest = np.where(both, ohm[read] - laws.mean_ohm[:, columns], 0.0)
        block = laws.covariance[:, columns[:, None], columns] * (both[:, :, None] & both[:, None, :])
        diagonal = np.arange(len(columns))
        noise = np.square(np.array(u_ohms, dtype=float)[read]) + 1e-18
        block[:, diagonal, diagonal] += np.where(both, noise, 1.0)
        pull = np.linalg.solve(block, rest[:, :, None])[:, :, 0]
        chi_square = np.einsum("np,np->n", rest, pull)
        half_log_det = np.log(np.linalg.cholesky(block)[:, diagonal, diagonal]).sum(axis=1)
        count = both.sum(axis=1)
        log_like = -0.5 * (chi_square + count * math.log(2.0 * math.pi)) - half_log_det
        log_like += _atoms(laws.conducts[:, every], ohm)
        size = laws.size + laws.size_sd**2 * np.einsum("nsp,np->ns", laws.lean[:, :, columns], pull)
        return Explained(log_like, chi_square, count, size)


@dataclass(frozen=True, slots=True)
class Explained:
    """How well each circuit explains the readings.

    Attributes:
        log_like: natural logarithm of the density of the readings.
        chi_square: squared distance in standard deviations, over `count` finite readings.
        size: [circuit, size] of the faults, given the readings.
    """

    log_like: _Floats
    chi_square: _Floats
    count: NDArray[np.int64]
    size: _Floats


def _atoms(conducts: _Bools, ohm: _Floats) -> _Floats:
    """Log-probability of every reading that is open where the circuit conducts, or the other way round."""
    finite = np.isfinite(ohm)
    anywhere = -np.log(np.maximum(np.abs(np.where(finite, ohm, 1.0)), 1e-3) * _SPAN)
    unlike = np.where(finite, math.log(_SHUT_SLIP) + anywhere, math.log(_OPEN_SLIP))
    alike = np.where(finite, math.log1p(-_OPEN_SLIP), math.log1p(-_SHUT_SLIP))
    result: _Floats = np.where(conducts == finite, alike, unlike).sum(axis=1)
    return result


def _laws(cases: Sequence[Case], points: tuple[str, ...], two_wire: _Bools) -> Laws:
    circuits = [(index, case, circuit) for index, case in enumerate(cases) for circuit in case.circuits]
    solved = [_solve(circuit, points, two_wire) for _, _, circuit in circuits]
    count, pairs = len(circuits), len(two_wire)
    return Laws(
        case=np.array([index for index, _, _ in circuits], dtype=np.int64),
        log_prior=np.log([case.prior * circuit.weight for _, case, circuit in circuits]),
        size=_padded([circuit.sizes for _, _, circuit in circuits]),
        size_sd=_padded([[d.sd for d in c.directions[: len(c.sizes)]] for _, _, c in circuits]),
        mean_ohm=np.array([mean for mean, _, _, _ in solved]).reshape(count, pairs),
        conducts=np.array([conducts for _, conducts, _, _ in solved]).reshape(count, pairs),
        covariance=np.array([block for _, _, block, _ in solved]).reshape(count, pairs, pairs),
        lean=np.array([lean for _, _, _, lean in solved]).reshape(count, SIZES, pairs),
    )


def _padded(rows: Sequence[Sequence[float]]) -> _Floats:
    return np.array([[*row, *(0.0 for _ in range(SIZES - len(row)))] for row in rows]).reshape(-1, SIZES)


def _solve(
    circuit: Circuit, points: tuple[str, ...], two_wire: _Bools
) -> tuple[_Floats, _Bools, _Floats, _Floats]:
    """(mean, conducts, covariance, lean) of all pairs of the points.

    By the inverse of the conductance Laplacian, each island of nodes held by a rank-one term (Klein and
    Randic 1993); the sensitivity to a branch is the square of its share of the current (Cohn 1950).
    """
    elements = [e for e in circuit.elements if math.isfinite(e.ohm)]
    touched = [circuit.places.get(point, point) for point in points]
    names = list(dict.fromkeys([*touched, *(n for e in elements for n in (e.a, e.b))]))
    place = {name: index for index, name in enumerate(names)}
    island = _islands(elements, names)
    incidence = np.zeros((len(elements), len(names)))
    for row, e in enumerate(elements):
        incidence[row, place[e.a]] += 1.0
        incidence[row, place[e.b]] -= 1.0
    ohm = np.array([e.ohm for e in elements])
    same = np.equal.outer(island, island)
    laplacian = incidence.T @ (incidence / ohm[:, None]) + same * np.mean(1.0 / ohm)
    inverse = np.linalg.inv(laplacian)
    first, second = np.triu_indices(len(points), 1)
    a = np.array([place[name] for name in touched])[first]
    b = np.array([place[name] for name in touched])[second]
    conducts: _Bools = island[a] == island[b]
    across = np.where(conducts[:, None], inverse[a] - inverse[b], 0.0)
    mean = np.where(conducts, across[np.arange(len(a)), a] - across[np.arange(len(a)), b], 0.0)
    shares = (across @ incidence.T / ohm) ** 2
    sds = np.array([e.sd_ohm for e in elements])
    covariance = (shares * sds**2) @ shares.T
    lean = np.zeros((SIZES, len(a)))
    index = {e.name: row for row, e in enumerate(elements)}
    for number, direction in enumerate(circuit.directions):
        moved = np.where(conducts & two_wire, direction.zero_ohm, 0.0)
        for name, per_unit in direction.parts.items():
            if name in index:
                moved = moved + shares[:, index[name]] * per_unit
        covariance += direction.sd**2 * np.outer(moved, moved)
        if number < len(circuit.sizes):
            lean[number] = moved
    return mean + np.where(conducts & two_wire, circuit.zero_ohm, 0.0), conducts, covariance, lean


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
