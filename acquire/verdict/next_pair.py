"""How much another pair would tell about the fault: expected information in nats.

For each circuit that the readings leave possible, what the pair would read follows from the readings at hand;
the information is how far the answer is expected to move the probabilities of the faults (mutual information
of fault and reading, Lindley 1956). Not for deciding whether another touch is worth it.
"""

from __future__ import annotations

import math
from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from acquire.physics.common import PairReading, commons
from acquire.records import Pair
from acquire.verdict.casebook import Casebook

_Floats = NDArray[np.float64]

_LEAST_WEIGHT = 1e-4
"""Circuits less likely than this are left out of the expectation."""

_NODES, _NODE_WEIGHTS = np.polynomial.hermite_e.hermegauss(9)
_NODE_WEIGHTS = _NODE_WEIGHTS / _NODE_WEIGHTS.sum()


def information(book: Casebook, readings: Sequence[PairReading], posterior: _Floats) -> dict[Pair, float]:
    """Worth of every pair that is not yet measured.

    Args:
        book: of the sheet.
        readings: so far.
        posterior: probability of each circuit of the book, given the readings, on any scale.
    """
    measured = book.columns([reading.pair for reading in readings])
    likely = np.flatnonzero(posterior > _LEAST_WEIGHT * posterior.sum())
    weights = posterior[likely] / posterior[likely].sum()
    labels = book.laws.case[likely]
    share = max((r.u_ohm / abs(r.ohm) for r in readings if r.ohm and math.isfinite(r.ohm)), default=0.002)
    worth = {}
    for column, pair in enumerate(book.pairs):
        if column in measured:
            continue
        mean, width, conducts = _foretold(book, readings, measured, likely, column, min(share, 0.01))
        worth[pair] = _mutual(weights, labels, mean, width, conducts)
    return worth


def _foretold(
    book: Casebook,
    readings: Sequence[PairReading],
    measured: NDArray[np.int64],
    likely: NDArray[np.int64],
    column: int,
    share: float,
) -> tuple[_Floats, _Floats, NDArray[np.bool_]]:
    """Mean, width and conduction of one pair in each likely circuit, given the readings."""
    laws = book.laws
    ohm, shared = np.array([reading.ohm for reading in readings]), commons(readings).covariance
    both = laws.conducts[np.ix_(likely, measured)] & np.isfinite(ohm)
    rest = np.where(both, np.where(np.isfinite(ohm), ohm, 0.0) - laws.mean_ohm[np.ix_(likely, measured)], 0.0)
    covariance = laws.covariance.at(np.append(measured, column), likely)
    block = np.where(both[:, :, None] & both[:, None, :], covariance[:, :-1, :-1] + shared, 0.0)
    diagonal = np.arange(len(measured))
    block[:, diagonal, diagonal] += np.where(both, 1e-18, 1.0)
    cross = np.where(both, covariance[:, :-1, -1], 0.0)
    gain = np.linalg.solve(block, cross[:, :, None])[:, :, 0]
    mean = laws.mean_ohm[likely, column] + (gain * rest).sum(axis=1)
    variance = covariance[:, -1, -1] - (gain * cross).sum(axis=1)
    width = np.sqrt(np.maximum(variance, 0.0) + (share * mean) ** 2 + 1e-8)
    return mean, width, laws.conducts[likely, column]


def _mutual(
    weights: _Floats, labels: NDArray[np.int64], mean: _Floats, width: _Floats, conducts: NDArray[np.bool_]
) -> float:
    """Mutual information of the label and the reading, open being a reading of its own."""
    same = labels[:, None] == labels[None, :]
    of_label = same @ weights
    open_share = float(weights[~conducts].sum())
    total = 0.0
    if open_share > 0.0:
        within = (same @ np.where(conducts, 0.0, weights)) / of_label
        total += float(
            (weights * np.log(within / open_share, where=~conducts, out=np.zeros_like(within))).sum()
        )
    finite = np.flatnonzero(conducts)
    if len(finite):
        reading = mean[finite, None] + width[finite, None] * _NODES
        away = (reading[:, :, None] - mean[finite]) / width[finite]
        density = np.exp(-0.5 * away**2) / width[finite] * weights[finite]
        mixture = density.sum(axis=2)
        within = np.einsum("njm,nm->nj", density, same[np.ix_(finite, finite)]) / of_label[finite, None]
        total += float((weights[finite, None] * _NODE_WEIGHTS * np.log(within / mixture)).sum())
    return max(0.0, total)
