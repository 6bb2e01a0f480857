"""What every fault of a sheet would read on every pair, solved once, and how well it explains readings.

Each circuit of the dictionary becomes a normal law over all pairs (mean and covariance), so that weighing the
readings of a unit is a few hundred small matrix equations at once. A size keeps within its bounds: a circuit
that explains the readings only by a joint of less than no ohms does not explain them (`log_between`). Not for
choosing faults or priors (see dictionary).
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from acquire.physics.common import PairReading, commons
from acquire.records import Pair
from acquire.verdict.circuits import Direction, FaultyCircuit
from acquire.verdict.covariances import Covariances, block_size, sparse
from acquire.verdict.dictionary import Case
from acquire.verdict.solving import SIZES, Bools, Floats, causes, solve

_TAIL = -4.0
_ERFC = np.frompyfunc(math.erfc, 1, 1)
_LOG_ROOT_TWO_PI = 0.5 * math.log(2.0 * math.pi)
_FAR = 6.0
"""Standard deviations from an end beyond which it takes nothing off."""

_LEAST = -700.0
"""Logarithms below this are as good as never, and still numbers."""


def log_below(x: Floats) -> Floats:
    """Logarithm of the normal law's probability below x standard deviations, to a quarter of a per cent.

    Source: Abramowitz and Stegun 1964, 26.2.12, in the lower tail.
    """
    tail = np.minimum(x, _TAIL)
    inverse = 1.0 / tail**2
    series = 1.0 - inverse * (1.0 - 3.0 * inverse * (1.0 - 5.0 * inverse))
    low = -0.5 * tail**2 - np.log(-tail) - _LOG_ROOT_TWO_PI + np.log(series)
    middle = np.log(0.5 * np.asarray(_ERFC(-np.maximum(x, _TAIL) / math.sqrt(2.0)), dtype=float))
    result: Floats = np.where(x < _TAIL, low, middle)
    return result


def log_anywhere(ohm: Floats | float) -> Floats:
    """Log-density of what nothing explains: anywhere from a milliohm to a megohm, each decade alike."""
    result: Floats = -np.log(np.maximum(np.abs(ohm), 1e-3) * math.log(1e9))
    return result


def log_between(mean: Floats, sd: Floats, low: Floats, high: Floats) -> Floats:
    """Logarithm of the probability that a normal law gives to an interval; 0 for a law without width.

    Args:
        mean: of the law.
        sd: of the law.
        low: where the interval begins.
        high: where it ends; infinite where it does not.
    """
    below, above, near = _in_widths(mean, sd, low, high)
    result = np.zeros_like(mean)
    result[near] = _between(below, above)
    return result


def mean_between(mean: Floats, sd: Floats, low: Floats, high: Floats) -> Floats:
    """Mean of a normal law of which only what lies in an interval is left (arguments: `log_between`)."""
    below, above, near = _in_widths(mean, sd, low, high)
    log_inside = _between(below, above) + _LOG_ROOT_TWO_PI
    ends = (np.minimum(np.abs(end), 1e6) for end in (below, above))
    at_low, at_high = (np.exp(np.minimum(-0.5 * end**2 - log_inside, 50.0)) for end in ends)
    result = np.array(mean)
    result[near] = np.clip(mean[near] + sd[near] * (at_low - at_high), low[near], high[near])
    return result


def _in_widths(
    mean: Floats, sd: Floats, low: Floats, high: Floats
) -> tuple[Floats, Floats, NDArray[np.bool_]]:
    """Ends of the interval as seen from the mean, in standard deviations, of those that are near enough."""
    wide = sd > 0.0
    width = np.where(wide, sd, 1.0)
    centre = np.where(wide, mean, 0.0)
    below, above = (low - centre) / width, (high - centre) / width
    near = wide & ((below > -_FAR) | (above < _FAR))
    return below[near], above[near], near


def _between(below: Floats, above: Floats) -> Floats:
    flip = below > 0.0  # in the upper tail differences of probabilities near one would be lost
    start, end = np.where(flip, -above, below), np.where(flip, -below, above)
    log_end = log_below(np.clip(end, -1e6, 40.0))
    log_start = log_below(np.clip(start, -1e6, 40.0))
    rest = -np.expm1(np.minimum(log_start - log_end, 0.0))
    return np.maximum(log_end + np.log(np.maximum(rest, np.finfo(np.float64).tiny)), _LEAST)


_OPEN_SLIP, _OPEN_TWICE = 3e-3, 3e-4
"""Chance that a pair confirmed as open conducts after all, the key pressed beside the pin: once, which passes
a pair that must be open, and twice on request, without which no winding counts as open (a slip is repeated in
one of ten). Workshop choices."""

_SHUT_SLIP = 1e-3
"""Chance that an open pair gives a value: a wrong pair, a finger across a gap. Workshop choice."""

_LEAST_U_OHM, _LEAST_U_SHARE = 1e-7, 1e-6
"""No reading is known better than this; keeps the equations well-behaved when readings add up exactly."""

_HOPELESS = 100.0
"""Circuits less likely than the best by exp(100) are not asked whether their sizes are possible too."""


@dataclass(frozen=True, slots=True)
class Laws:
    """Normal laws over pairs, one per circuit.

    Attributes:
        case: index of the case that each circuit belongs to.
        log_prior: weight of each circuit, case and size together; not normalised.
        size, size_sd, size_high: [circuit, size] of its faults; no size is below zero.
        log_bounded: [circuit, size] logarithm of what of each size's law lies within its bounds.
        mean_ohm: [circuit, pair]; 0 where open.
        conducts: [circuit, pair].
        covariance: of the pairs, without the measurement's own uncertainty.
        lean: [circuit, size, pair] ohms per unit of size.
    """

    case: NDArray[np.int64]
    log_prior: Floats
    size: Floats
    size_sd: Floats
    size_high: Floats
    log_bounded: Floats
    mean_ohm: Floats
    conducts: Bools
    covariance: Covariances
    lean: Floats


class FaultModel:
    """All cases of a sheet with the laws of what they read.

    Attributes:
        cases: as given.
        good: what a good unit reads, alone in its laws.
        pairs: as given.
    """

    def __init__(
        self,
        cases: Sequence[Case],
        good: FaultyCircuit,
        pairs: Sequence[Pair],
        *,
        four_wire_below_ohm: float | frozenset[Pair] = 0.0,
    ) -> None:
        """Solve every circuit.

        Args:
            cases: from the dictionary.
            good: a unit without a fault.
            pairs: that can be asked about.
            four_wire_below_ohm: pairs that read less than this on a good unit, or just these, are measured
                with four wires, so that the lead zero has no part in them.
        """
        self.cases = tuple(cases)
        self.pairs = tuple(pairs)
        self._index = {pair: index for index, pair in enumerate(self.pairs)}
        every = np.ones(len(self.pairs), dtype=bool)
        self.good = _laws((Case((("healthy", ()),), 1.0, (good,)),), self.pairs, every)
        if isinstance(four_wire_below_ohm, frozenset):
            named = [not {pair, Pair(pair.b, pair.a)} & four_wire_below_ohm for pair in self.pairs]
            two_wire = np.array(named, dtype=bool)
        else:
            two_wire = ~self.good.conducts[0] | (self.good.mean_ohm[0] >= four_wire_below_ohm)
        self.laws = _laws(self.cases, self.pairs, two_wire)

    def columns(self, pairs: Sequence[Pair]) -> NDArray[np.int64]:
        """Where the pairs stand among `self.pairs`, whichever way round they are given."""
        order = [self._index[p] if p in self._index else self._index[Pair(p.b, p.a)] for p in pairs]
        return np.array(order, dtype=np.int64)

    def explain(self, readings: Sequence[PairReading], probed: Sequence[Pair] | None = None) -> Explained:
        """Weigh every circuit against readings.

        Args:
            readings: of one unit, infinite where confirmed open; a pair may repeat. What their budgets share
                moves them together.
            probed: the pairs that were really touched, where those are not the readings' own.
        """
        every = self.columns([reading.pair for reading in readings] if probed is None else probed)
        ohm = np.array([reading.ohm for reading in readings], dtype=float)
        read = np.isfinite(ohm)
        columns, parts = every[read], commons([reading for reading in readings if math.isfinite(reading.ohm)])
        laws = self.laws
        both = laws.conducts[:, columns]
        rest = np.where(both, ohm[read] - laws.mean_ohm[:, columns], 0.0)
        noise = np.square(np.maximum(parts.own, _LEAST_U_OHM + _LEAST_U_SHARE * np.abs(ohm[read])))
        lean = np.where(both[:, None], laws.lean[:, :, columns], 0.0)
        seen = np.concatenate([rest[:, None], lean], axis=1)
        chi_square, log_det = np.zeros(len(rest)), np.zeros(len(rest))
        mean, sd = np.array(laws.size), np.array(laws.size_sd)
        for own, with_rest, with_itself, log_det[own] in laws.covariance.distances(
            columns, both, noise, seen, parts.moves
        ):
            chi_square[own] = with_rest[0]
            mean[own] += sd[own] ** 2 * with_rest[1:].T
            sd[own] *= np.sqrt(np.maximum(1.0 - sd[own] ** 2 * with_itself[1:].T, 1e-12))
        count = both.sum(axis=1)
        log_like = -0.5 * (chi_square + log_det + count * math.log(2.0 * math.pi))
        log_like += _atoms(laws.conducts[:, every], self.good.conducts[0, every], ohm)
        near = log_like > log_like.max() - _HOPELESS
        low, high = np.zeros_like(mean[near]), laws.size_high[near]
        possible = (log_between(mean[near], sd[near], low, high) - laws.log_bounded[near]).sum(axis=1)
        log_like[near] += possible
        chi_square[near] -= 2.0 * np.minimum(possible, 0.0)
        return Explained(log_like, chi_square, count, mean, sd, laws.size_high)


@dataclass(frozen=True, slots=True)
class Explained:
    """How well each circuit explains the readings.

    Attributes:
        log_like: natural logarithm of the density of the readings.
        chi_square: squared distance in standard deviations, over `count` finite readings; a size that would
            have to be beyond its bounds adds its share.
        mean, sd: [circuit, size] of the faults, given the readings, as if sizes had no bounds.
        high: [circuit, size] their upper bounds; the lower ones are zero.
    """

    log_like: Floats
    chi_square: Floats
    count: NDArray[np.int64]
    mean: Floats
    sd: Floats
    high: Floats

    @property
    def size(self) -> Floats:
        """[circuit, size] of the faults, given the readings; within their bounds."""
        return mean_between(self.mean, self.sd, np.zeros_like(self.mean), self.high)


def _atoms(conducts: Bools, usual: Bools, ohm: Floats) -> Floats:
    """Log-probability of every reading that is open where the circuit conducts, or the other way round.

    Args:
        conducts: [circuit, reading] whether its pair does.
        usual: [reading] whether its pair does on a good unit, so that open is a fault and confirmed twice.
        ohm: [reading] infinite where open.
    """
    slip = np.where(usual, _OPEN_TWICE, _OPEN_SLIP)
    finite = np.isfinite(ohm)
    anywhere = log_anywhere(np.where(finite, ohm, 1.0))
    unlike = np.where(finite, math.log(_SHUT_SLIP) + anywhere, np.log(slip))
    alike = np.where(finite, np.log1p(-slip), math.log1p(-_SHUT_SLIP))
    result: Floats = np.where(conducts == finite, alike, unlike).sum(axis=1)
    return result


def _laws(cases: Sequence[Case], pairs: Sequence[Pair], two_wire: Bools) -> Laws:
    circuits = [(index, case, circuit) for index, case in enumerate(cases) for circuit in case.circuits]
    alone = [circuit for _, _, circuit in circuits]
    rows = causes(alone)
    step = block_size(len(pairs), rows[1])
    starts = range(0, max(len(alone), 1), step)
    solved, blocks = [], []
    for start in starts:
        part = solve(alone[start : start + step], pairs, two_wire, rows)
        blocks.append(sparse(start, part.moves))
        solved.append((part.mean_ohm, part.conducts, part.lean))
    mean_ohm, conducts, lean = (np.concatenate(parts) for parts in zip(*solved, strict=True))
    size, size_sd = _padded([c.sizes for c in alone]), _padded([[d.sd for d in _of_sizes(c)] for c in alone])
    size_high = _padded([[d.high for d in _of_sizes(c)] for c in alone], math.inf)
    return Laws(
        case=np.array([index for index, _, _ in circuits], dtype=np.int64),
        log_prior=np.log([case.prior * circuit.weight for _, case, circuit in circuits]),
        size=size,
        size_sd=size_sd,
        size_high=size_high,
        log_bounded=log_between(size, size_sd, np.zeros_like(size), size_high),
        mean_ohm=mean_ohm,
        conducts=conducts,
        covariance=Covariances(blocks, len(pairs)),
        lean=lean,
    )


def _of_sizes(circuit: FaultyCircuit) -> tuple[Direction, ...]:
    return circuit.directions[: len(circuit.sizes)]


def _padded(rows: Sequence[Sequence[float]], filler: float = 0.0) -> Floats:
    return np.array([[*row, *(filler for _ in range(SIZES - len(row)))] for row in rows]).reshape(-1, SIZES)
