"""Every case of the dictionary against the readings of one unit: single faults, two at once, wrong probes.

Gives weights, not yet probabilities. These are made honest by what is weighed, not by bending them later:

* two faults are always weighed, for a second one may be too small to stand out; a fault that changes nothing
  measured is left out, alone and as one of two;
* what takes ohms from a winding (shorted or missing turns, thicker wire) is no explanation where every
  reading of that winding is at its nominal or above: high resistance is never called shorted turns, though
  beside a bad joint that makes it high they may be hidden;
* windings that must agree share most of their spread (circuits.healthy); a good unit ends at its tolerance;
* a look-alike may have been probed in any reading, any other neighbour only where nothing else explains them.

Checked on simulated units drawn from the dictionary's own priors, with seeds that no figure is quoted from
(`python -m tests.benchmarks.diagnosis`): for every fault the probability given to it, summed over all units,
must equal how often it was there. Not for words (saying) nor for choosing faults (dictionary).
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from acquire.physics.common import PairReading, commons
from acquire.records import Pair
from acquire.steps.estimate import estimate
from acquire.steps.pairs import PairTable
from acquire.verdict.casebook import Explained, FaultModel, log_anywhere
from acquire.verdict.dictionary import UNKNOWN, Case
from acquire.verdict.solving import Bools, Floats

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
    """Wrong probes that nobody could notice: pairs that read alike, taken for one another.

    Where a star's V–N is asked for and U–N is touched, the value passes and stands under the wrong name; a
    diagnosis that believes every name then sees a contradiction.

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
    book: FaultModel, readings: Sequence[PairReading], slips: Slips
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


_POOR = 3.0902
"""Standard deviations from which a best explanation is no good one: once in 1000; workshop choice."""

_LEAST_INSIDE = 1e-4
"""No reading speaks more than this against a good unit by lying outside alone: sheets can be wrong."""


@dataclass(frozen=True, slots=True)
class Weighed:
    """One case against the readings.

    Attributes:
        case: of the dictionary.
        log_weight: logarithm of prior times density.
        chi_square, count: how far its best circuit is off, over so many finite readings.
        sizes: of its faults, given the readings.
        slip: (pair asked for, pair really probed) where the best circuit supposes one.
    """

    case: Case
    log_weight: float
    chi_square: float
    count: int
    sizes: tuple[float, ...]
    slip: tuple[Pair, Pair] | None


def weigh_all(
    single: FaultModel,
    double: FaultModel,
    table: PairTable,
    readings: Sequence[PairReading],
    among: Sequence[Pair],
) -> list[Weighed]:
    """Every case that changes anything that was measured.

    Args:
        single: the dictionary, solved: one fault each.
        double: two faults each.
        table: what good units read.
        readings: of one unit, one or more.
        among: pairs that may have been probed instead of those asked for.
    """
    shows = visible(single, [reading.pair for reading in readings])
    seen = shows & _rightly_directed(single, readings)
    faults = [case.faults[0] for case in single.cases]
    alone, hidden = (dict(zip(faults, map(bool, can), strict=True)) for can in (seen, shows))
    both = []
    for case in double.cases:
        told = hidden if any(name == "bad_joint" for name, _ in case.faults) else alone
        both.append(all(told.get(fault, True) for fault in case.faults))
    unseen = Slips(look_alikes(table, readings, among), UNSEEN)
    one = _weigh(single, readings, unseen, seen)
    two = _weigh(double, readings, unseen, np.array(both))
    if _fits_poorly([*one, *two], unknown_weight(table, readings)):
        one = _weigh(single, readings, Slips(neighbours(readings, among), SEEN), seen)
    bare = _bare(table, readings)
    return [
        _within_reach(entry, table, bare) if entry.case.fault == "healthy" else entry
        for entry in (*one, *two)
    ]


def _bare(table: PairTable, readings: Sequence[PairReading]) -> list[PairReading]:
    """Readings of a good unit without what their errors share, as far as they show that together."""
    model = estimate(table, readings)
    finite = [r for r in readings if math.isfinite(r.ohm) and math.isfinite(table.nominal_ohm(r.pair))]
    parts, first = commons(finite), len(table.branches)
    shared = parts.moves.T @ model.mean[first:]
    left = parts.moves.T @ model.covariance[first:, first:] @ parts.moves
    u = np.sqrt(np.diag(left) + parts.own**2)
    return [
        r._replace(ohm=r.ohm - float(o), u_ohm=float(v)) for r, o, v in zip(finite, shared, u, strict=True)
    ]


def _within_reach(healthy: Weighed, table: PairTable, readings: Sequence[PairReading]) -> Weighed:
    """A good unit is one inside its tolerance: the normal laws of its windings end there.

    Each reading takes the chance that its true value is still inside, by its uncertainty; the one that was
    probed elsewhere is left out.
    """
    total = 0.0
    for pair, ohm, u_ohm, _ in readings:
        nominal_ohm = table.nominal_ohm(pair)
        if healthy.slip and healthy.slip[0] == pair:
            continue
        inside = (table.reach_ohm(pair) - abs(ohm - nominal_ohm)) / max(u_ohm, 1e-9)
        total += math.log(max(0.5 * math.erfc(-inside / math.sqrt(2.0)), _LEAST_INSIDE))
    return replace(healthy, log_weight=healthy.log_weight + total)


def visible(book: FaultModel, pairs: Sequence[Pair]) -> Bools:
    """Whether each case changes anything that was measured; what does not is no explanation of it."""
    columns = book.columns(pairs)
    mean, conducts = book.laws.mean_ohm[:, columns], book.laws.conducts[:, columns]
    good_mean, good_conducts = book.good.mean_ohm[0, columns], book.good.conducts[0, columns]
    alike = np.isclose(mean, good_mean, rtol=1e-9, atol=0.0) & (conducts == good_conducts)
    changed = np.logical_or.reduceat(~alike.all(axis=1), _starts(book))
    healthy = np.array([case.fault == "healthy" for case in book.cases])
    result: Bools = changed | healthy
    return result


LOWERING = frozenset({"shorted_turns", "too_few_turns", "wire_too_thick"})
"""Faults that take ohms from a winding."""

_BELOW = 1.0 - 1e-6
"""Less than this share of the nominal is below it; closer the two solvers do not agree."""


def possible(book: FaultModel, readings: Sequence[PairReading]) -> Bools:
    """Whether each single fault changes anything measured, and in no other direction than it can.

    Args:
        book: of single faults.
        readings: of one unit.
    """
    return visible(book, [reading.pair for reading in readings]) & _rightly_directed(book, readings)


def _rightly_directed(book: FaultModel, readings: Sequence[PairReading]) -> Bools:
    """Whether each single fault, if it is one that takes ohms, has a reading below nominal to explain."""
    columns = book.columns([reading.pair for reading in readings])
    ohm = np.array([reading.ohm for reading in readings])
    low = np.isfinite(ohm) & book.good.conducts[0, columns] & (ohm < _BELOW * book.good.mean_ohm[0, columns])
    leaning = np.abs(book.laws.lean[:, 0, columns]) > 0.0
    lowered = np.logical_or.reduceat((leaning & low).any(axis=1), _starts(book))
    lowering = np.array([case.fault in LOWERING for case in book.cases])
    result: Bools = lowered | ~lowering
    return result


def unknown_weight(table: PairTable, readings: Sequence[PairReading]) -> float:
    """Log of prior times density, if each reading is either a good unit's or anything at all."""
    total = math.log(UNKNOWN)
    for pair, ohm, u_ohm, _ in readings:
        nominal_ohm = table.nominal_ohm(pair)
        if math.isinf(ohm):
            total += math.log(0.55 if math.isinf(nominal_ohm) else 0.05)
            continue
        anything = float(np.exp(log_anywhere(ohm)))
        usual = 0.0
        if math.isfinite(nominal_ohm):
            width = math.hypot(table.spread_ohm(pair), u_ohm, 1e-9)
            usual = math.exp(-0.5 * ((ohm - nominal_ohm) / width) ** 2) / (width * math.sqrt(2.0 * math.pi))
        total += math.log(0.5 * usual + 0.45 * anything)
    return total


def _weigh(book: FaultModel, readings: Sequence[PairReading], slips: Slips, seen: Bools) -> list[Weighed]:
    if not book.cases:
        return []
    explained, labels = with_slips(book, readings, slips)
    log_joint = book.laws.log_prior + explained.log_like
    starts = _starts(book)
    ends = [*starts[1:].tolist(), len(log_joint)]
    tops = np.maximum.reduceat(log_joint, starts)
    shares: Floats = np.exp(log_joint - tops[book.laws.case])
    totals = np.add.reduceat(shares, starts)
    size = explained.size
    finite = np.where(np.isfinite(size), size, 0.0)
    sizes = np.add.reduceat(finite * shares[:, None], starts) / totals[:, None]
    weighed = []
    for index in np.flatnonzero(seen).tolist():
        best = starts[index] + int(log_joint[starts[index] : ends[index]].argmax())
        weighed.append(
            Weighed(
                book.cases[index],
                float(tops[index] + math.log(totals[index])),
                float(explained.chi_square[best]),
                int(explained.count[best]),
                tuple(sizes[index].tolist()),
                slips.named(int(labels[best]), readings),
            )
        )
    return weighed


def _starts(book: FaultModel) -> np.ndarray[tuple[int], np.dtype[np.int64]]:
    """Index of the first circuit of each case."""
    return np.searchsorted(book.laws.case, np.arange(len(book.cases)))


def _fits_poorly(weighed: Sequence[Weighed], unknown_log: float) -> bool:
    """Whether nothing of the dictionary explains the readings well."""
    best = max(weighed, key=lambda entry: entry.log_weight)
    if unknown_log > best.log_weight:
        return True
    return too_far(best.chi_square, best.count)


def too_far(chi_square: float, count: int) -> bool:
    """Whether readings are off by what chance makes once in 1000.

    The cube root of chi-square over its count is nearly normal. Source: Wilson and Hilferty, Proc. Natl.
    Acad. Sci. 17 (1931) 684.
    """
    count = max(count, 1)
    away: float = ((chi_square / count) ** (1 / 3) - (1 - 2 / (9 * count))) / math.sqrt(2 / (9 * count))
    return away > _POOR
