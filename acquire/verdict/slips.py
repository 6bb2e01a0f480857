"""Wrong probes that nobody could notice: pairs that read alike, taken for one another.

Where a star's V–N is asked for and U–N is touched, the value passes and stands under the wrong name. A
diagnosis that believes every name then sees a contradiction. So every reading may, with a small probability,
be another pair's that reads the same on a good unit. Not for wrong probes that the matcher sees.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from acquire.physics.common import PairReading
from acquire.records import Pair
from acquire.steps.pairs import PairTable
from acquire.verdict.casebook import Casebook, Explained

UNSEEN, SEEN = 0.02, 0.002
"""Share of readings that belong to a look-alike of the pair they are named after, and to any other pair with
a pin in common, in spite of hints and repeated touches; workshop choices."""

_MOST = 60
"""No more wrong probes than this are tried, the first ones in the order of the readings."""

_WORK = 2e9
"""Operations that all of them together may take, some seconds; each takes the cube of the readings for every
circuit. Reached from some 18 readings on; a fixture with 190 readings, which has no hands, tries none."""


@dataclass(frozen=True, slots=True)
class Slips:
    """Wrong probes to be reckoned with.

    Attributes:
        each: (which reading, which other pair it might be of).
        share: how often a reading that has such alternatives is really of one of them.
    """

    each: tuple[tuple[int, Pair], ...]
    share: float

    def named(self, label: int, readings: Sequence[PairReading]) -> tuple[Pair, Pair] | None:
        """(pair asked for, pair really probed) of one of them; None for a label below zero."""
        if label < 0:
            return None
        index, probed = self.each[label]
        return readings[index].pair, probed


def look_alikes(
    table: PairTable, readings: Sequence[PairReading], among: Sequence[Pair]
) -> tuple[tuple[int, Pair], ...]:
    """(which reading, which other pair it might be of), for pairs with a pin in common that read alike.

    Args:
        table: what good units read.
        readings: of one unit.
        among: pairs to think of.
    """
    found = [
        (index, other)
        for index, (pair, ohm, u_ohm, _) in enumerate(readings)
        if math.isfinite(ohm) and math.isfinite(table.nominal_ohm(pair))
        for other in among
        if len(set(other) & set(pair)) == 1 and _alike(table, pair, other, u_ohm)
    ]
    return tuple(found[:_MOST])


def neighbours(readings: Sequence[PairReading], among: Sequence[Pair]) -> tuple[tuple[int, Pair], ...]:
    """(which reading, which other pair it might be of), for all pairs with a pin in common.

    Those that were measured too come first: a wrong probe often lands where the hands have just been.

    Args:
        readings: of one unit.
        among: pairs to think of.
    """
    measured = {frozenset(reading.pair) for reading in readings}
    found = [
        (index, other)
        for index, (pair, ohm, _, _) in enumerate(readings)
        if math.isfinite(ohm)
        for other in among
        if len(set(other) & set(pair)) == 1
    ]
    return tuple(sorted(found, key=lambda each: frozenset(each[1]) not in measured)[:_MOST])


def with_slips(
    book: Casebook, readings: Sequence[PairReading], slips: Slips
) -> tuple[Explained, NDArray[np.int64]]:
    """Every circuit against the readings, with at most one of them under the wrong name.

    Args:
        book: of the sheet.
        readings: of one unit.
        slips: from `look_alikes` or `neighbours`.

    Returns:
        The explanation with all names summed over, its sizes from the likeliest one; and for each circuit the
        index of that one among the slips, -1 where all names are right.
    """
    pairs, best = [reading.pair for reading in readings], book.explain(readings)
    total, top = best.log_like, best.log_like
    chi_square, count, mean, sd = best.chi_square, best.count, best.mean, best.sd
    label = np.full(len(total), -1, dtype=np.int64)
    most = int(min(_MOST, _WORK / (len(total) * len(pairs) ** 3)))
    alternatives = [index for index, _ in slips.each]
    for number, (index, other) in enumerate(slips.each[:most]):
        one = book.explain(readings, [*pairs[:index], other, *pairs[index + 1 :]])
        log_like = one.log_like + math.log(slips.share / alternatives.count(index))
        total = np.logaddexp(total, log_like)
        better = log_like > top
        top = np.where(better, log_like, top)
        chi_square = np.where(better, one.chi_square, chi_square)
        count = np.where(better, one.count, count)
        mean = np.where(better[:, None], one.mean, mean)
        sd = np.where(better[:, None], one.sd, sd)
        label = np.where(better, number, label)
    return Explained(total, chi_square, count, mean, sd, best.high), label


def _alike(table: PairTable, pair: Pair, other: Pair, u_ohm: float) -> bool:
    apart = abs(table.nominal_ohm(pair) - table.nominal_ohm(other))
    return apart <= 3.0 * math.hypot(table.spread_ohm(pair), table.spread_ohm(other), u_ohm)
