"""The unit as its readings show it: a linear-Gaussian model of its branches and of what all readings share.

Unknown are the ohms of every branch, with the sheet's spread (or hardly anything) known before, and one
number for each common cause of error that the readings name. Given readings, all of them follow together with
their covariance (Kalman's update at rest, Gauss-Newton where parallel paths bend the circuit). So sums and
differences of pairs are known as well as what they do not share lets them be. Not for faults (verdict/) and
not for limits.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from acquire.physics.common import Floats, PairReading, commons
from acquire.physics.network import resistance_between, sensitivities
from acquire.records import BranchKind, Pair
from acquire.steps.pairs import PairTable

_LOOSE = 0.5
"""What a winding may be off its nominal where nothing is to be known before: a fraction."""

_FOUND = 0.1
"""A winding counts as found when its uncertainty has shrunk to this share of that. Workshop choice."""

_ROUNDS = 4

_LEAST_OHM = 1e-9
"""No reading is known better; keeps the equations well-behaved when readings add up exactly."""


@dataclass(frozen=True, slots=True)
class Estimate:
    """Branches and common causes, given readings.

    Attributes:
        table: of the sheet.
        causes: names of the common causes, each counted in its own standard deviations.
        mean, covariance: of the branches in ohms, then of the causes.
    """

    table: PairTable
    causes: tuple[str, ...]
    mean: Floats
    covariance: Floats

    def pair(self, pair: Pair) -> tuple[float, float]:
        """(ohms, standard uncertainty) that a pair truly has; (infinite, 0) for an open one."""
        return self._of(pair, np.zeros(len(self.causes)))

    def reading(self, reading: PairReading) -> tuple[float, float]:
        """(ohms, standard uncertainty) predicted for a reading, its errors included."""
        parts = commons([reading])
        own = dict(zip(parts.causes, parts.moves[:, 0], strict=True))
        known = np.array([own.pop(cause, 0.0) for cause in self.causes])
        ohm, u_ohm = self._of(reading.pair, known)
        return ohm, math.hypot(u_ohm, float(parts.own[0]), *own.values())

    def branches(self) -> dict[str, tuple[float, float]]:
        """Branch -> (ohms, standard uncertainty)."""
        u = np.sqrt(np.maximum(np.diag(self.covariance), 0.0))
        return {b.name: (float(self.mean[i]), float(u[i])) for i, b in enumerate(self.table.branches)}

    def _of(self, pair: Pair, causes: Floats) -> tuple[float, float]:
        path = self.table.path(pair)
        if math.isinf(path.nominal_ohm):
            return math.inf, 0.0
        nominal = np.array([branch.reference_ohm for branch in self.table.branches])
        row = np.concatenate([path.shares, causes])
        shift = self.mean - np.concatenate([nominal, np.zeros(len(self.causes))])
        variance = max(0.0, float(row @ self.covariance @ row))
        return path.nominal_ohm + float(row @ shift), math.sqrt(variance)


def estimate(table: PairTable, readings: Sequence[PairReading], *, loose: bool = False) -> Estimate:
    """What the readings of one unit say of its branches.

    Args:
        table: of the sheet.
        readings: of one unit; open ones say nothing.
        loose: True where windings may be anything, and the circuit may bend; then the sheet's spread counts
            for leads alone.
    """
    finite = [r for r in readings if math.isfinite(r.ohm) and math.isfinite(table.path(r.pair).nominal_ohm)]
    parts, branches = commons(finite), table.branches
    nominal = np.array([branch.reference_ohm for branch in branches])
    spread = np.array([_LOOSE if loose and b.kind is BranchKind.WINDING else b.spread for b in branches])
    before = np.concatenate([nominal, np.zeros(len(parts.causes))])
    prior = np.diag(np.concatenate([(spread * nominal) ** 2, np.ones(len(parts.causes))]))
    noise = np.diag(parts.own**2 + _LEAST_OHM**2)
    read, mean, covariance = np.array([reading.ohm for reading in finite]), before, prior
    for _ in range(_ROUNDS if loose and finite else bool(finite)):
        there, shares = _linear(table, finite, mean[: len(branches)], nominal)
        rows = np.hstack([shares, parts.moves.T])
        crossed = prior @ rows.T
        gain = np.linalg.solve(rows @ crossed + noise, crossed.T).T
        seen = read - there + shares @ (mean - before)[: len(branches)]
        mean, covariance = before + gain @ seen, prior - gain @ crossed.T
    return Estimate(table, parts.causes, mean, covariance)


def winding_ohms(found: Estimate) -> dict[str, tuple[float, float]]:
    """The windings that readings determine: name -> (ohm, standard uncertainty), of a loose estimate."""
    windings = {b.name: b for b in found.table.branches if b.kind is BranchKind.WINDING}
    return {
        name: (ohm, u)
        for name, (ohm, u) in found.branches().items()
        if name in windings and u < _FOUND * _LOOSE * windings[name].reference_ohm
    }


def predicted(table: PairTable, known: Mapping[Pair, tuple[float, float]]) -> Estimate:
    """`estimate` from pair -> (ohms at the reference temperature, standard uncertainty)."""
    return estimate(table, [PairReading(pair, ohm, u) for pair, (ohm, u) in known.items()])


def _linear(
    table: PairTable, readings: Sequence[PairReading], ohms: Floats, nominal: Floats
) -> tuple[Floats, Floats]:
    """What each pair has at these branches, and its shares of them."""
    if np.array_equal(ohms, nominal):
        paths = [table.path(reading.pair) for reading in readings]
        return np.array([p.nominal_ohm for p in paths]), np.array([p.shares for p in paths])
    bounded = np.maximum(ohms, 1e-3 * nominal)
    circuit = [(b.a, b.b, float(ohm)) for b, ohm in zip(table.branches, bounded, strict=True)]
    there = np.array([resistance_between(circuit, *reading.pair) for reading in readings])
    shares = np.array([sensitivities(circuit, *reading.pair) for reading in readings])
    return there + shares @ (ohms - bounded), shares
