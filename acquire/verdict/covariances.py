"""How the pairs of many circuits move together, kept small: by what moves them, not as matrices.

A matrix of all pairs for every circuit grows with the square of the pairs: 20 pins would take a gigabyte.
What moves a reading is little: the windings on its path, their leads, the size of the fault. So for each of
those the pairs that it moves are kept, in blocks of circuits. Readings are set against them as matrices, or,
where there are far more readings than causes, by the causes alone. Not for solving circuits (solving) nor for
what follows from the distances (casebook).
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from acquire.verdict.solving import Bools, Floats, whitened, whitened_by_causes

Indices = NDArray[np.int64]

_BLOCK_BYTES = 24e6
_LARGEST, _SMALLEST = 2048, 16
"""How much one block of circuits may take while it is worked on, and how many circuits it may have. Workshop
choices: larger blocks are no faster."""

_ROUNDING = 1e-13
"""What is added to each variance, as a share of it: what readings share may leave less of their own than
rounding does, where a fault may have megohms."""

_MANY = 48
"""Readings up to which matrices are made. Workshop choice: more than the pairs of a unit with ten places to
touch; from there on causes are faster (tests/benchmarks/many_readings.py)."""


def block_size(pairs: int, causes: int) -> int:
    """How many circuits are worked on at once.

    Args:
        pairs: that are reckoned.
        causes: that move them.
    """
    each = 8.0 * max(pairs, 1) * max(pairs, causes, 1)
    return int(min(_LARGEST, max(_SMALLEST, _BLOCK_BYTES / each)))


@dataclass(frozen=True, slots=True)
class Cause:
    """One thing that is unsure in a block of circuits.

    Attributes:
        pairs: indices of the pairs that it moves in any of the circuits.
        ohm: [pair, circuit] by one standard deviation of it.
    """

    pairs: Indices
    ohm: Floats


@dataclass(frozen=True, slots=True)
class Block:
    """Circuits next to each other.

    Attributes:
        start, end: the first circuit, and the one after the last.
        causes: what moves their pairs.
    """

    start: int
    end: int
    causes: tuple[Cause, ...]


def sparse(start: int, moves: Floats) -> Block:
    """A block of the solver's result.

    Args:
        start: number of the first circuit.
        moves: [circuit, cause, pair], see `solving.Solved`.
    """
    causes = []
    for row in range(moves.shape[1]):
        pairs = np.flatnonzero(moves[:, row].any(axis=0))
        if len(pairs):
            causes.append(Cause(pairs, np.ascontiguousarray(moves[:, row, pairs].T)))
    return Block(start, start + len(moves), tuple(causes))


class Covariances:
    """Covariances of the pairs of all circuits."""

    def __init__(self, blocks: Sequence[Block], pairs: int) -> None:
        """Keep what moves them.

        Args:
            blocks: all circuits in order.
            pairs: number of pairs.
        """
        self.blocks = tuple(blocks)
        self.pairs = pairs

    def among(self, columns: Indices) -> Iterator[tuple[int, int, Floats]]:
        """(start, end, covariance [column, column, circuit]) of some pairs, block by block.

        Args:
            columns: indices of the pairs; one may repeat.
        """
        for block in self.blocks:
            result = np.zeros((len(columns), len(columns), block.end - block.start))
            for where, ohm in self._moved(block, columns):
                result[np.ix_(where, where)] += ohm[:, None] * ohm[None, :]
            yield block.start, block.end, result

    def distances(
        self, columns: Indices, read_by: Bools, noise: Floats, seen: Floats, shared: Floats
    ) -> Iterator[tuple[slice, Floats, Floats, Floats]]:
        """Set columns of numbers against the covariance of some pairs and the noise of their readings.

        Args:
            columns: indices of the pairs; one may repeat.
            read_by: [circuit, column] whether the circuit foretells a number there; the others have no part.
            noise: [column] variance of each reading's own error.
            shared: [cause, column] ohms by one standard deviation of each error that readings share.
            seen: [circuit, number, column] numbers in ohms, zero where `read_by` is not.

        Yields:
            (circuits; products by the covariance's inverse [number, circuit] of the first number with each,
            and of each with itself; logarithm of the determinant [circuit]).
        """
        if len(columns) > _MANY:
            yield from self._by_causes(columns, read_by, noise, seen, shared)
            return
        diagonal, together = np.arange(len(columns)), (shared.T @ shared)[:, :, None]
        for start, end, covariance in self.among(columns):
            own = slice(start, end)
            by = read_by[own].T
            block = (covariance + together) * (by[:, None] & by[None, :])
            block[diagonal, diagonal] *= 1.0 + _ROUNDING
            block[diagonal, diagonal] += np.where(by, noise[:, None], 1.0)
            white, log_det = whitened(block, seen[own].transpose(2, 1, 0))
            yield own, (white * white[:, :1]).sum(axis=0), (white**2).sum(axis=0), log_det

    def _by_causes(
        self, columns: Indices, read_by: Bools, noise: Floats, seen: Floats, shared: Floats
    ) -> Iterator[tuple[slice, Floats, Floats, Floats]]:
        for block in self.blocks:
            moved = self._moved(block, columns)
            count = len(moved) + len(shared)
            step = block_size(len(columns), count)
            for start in range(block.start, block.end, step):
                own = slice(start, min(start + step, block.end))
                inner = slice(own.start - block.start, own.stop - block.start)
                by = read_by[own]
                moves = np.zeros((len(by), count, len(columns)))
                moves[:, len(moved) :] = shared
                for row, (where, ohm) in enumerate(moved):
                    moves[:, row, where] = ohm[:, inner].T
                moves *= by[:, None]
                yield own, *whitened_by_causes(moves, np.where(by, noise, 1.0), seen[own])

    def at(self, columns: Indices, circuits: Sequence[int] | Indices) -> Floats:
        """Covariance [circuit, column, column] of some pairs in a few circuits."""
        result = np.zeros((len(circuits), len(columns), len(columns)))
        for block in self.blocks:
            places = [n for n, circuit in enumerate(circuits) if block.start <= circuit < block.end]
            own = [circuits[n] - block.start for n in places]
            for cause in block.causes if places else ():
                where, ohm = self._of(cause, columns)
                part = np.zeros((len(places), len(columns)))
                part[:, where] = ohm[:, own].T
                result[places] += part[:, :, None] * part[:, None, :]
        return result

    def _moved(self, block: Block, columns: Indices) -> list[tuple[Indices, Floats]]:
        """The same for each cause of a block that moves any of them."""
        found = (self._of(cause, columns) for cause in block.causes)
        return [(where, ohm) for where, ohm in found if len(where)]

    def _of(self, cause: Cause, columns: Indices) -> tuple[Indices, Floats]:
        """Which of the columns a cause moves, and its ohms there."""
        place = np.full(self.pairs, -1)
        place[cause.pairs] = np.arange(len(cause.pairs))
        found = place[columns]
        return np.flatnonzero(found >= 0), cause.ohm[found[found >= 0]]
