"""Which fault explains all readings of a unit, how sure, and what to measure next.

Bayes' rule over the fault dictionary of the sheet: prior weight times how well each fault, of any size it can
have, foretells the readings. A catch-all for faults that are not in the dictionary keeps the others honest.
Not for verdicts: whether a unit passes is decided by limits, not by what explains it.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from functools import lru_cache
from itertools import combinations

import numpy as np
from numpy.typing import NDArray

from acquire.physics.common import PairReading, commons
from acquire.records import Hypothesis, Pair, Purpose, Sheet
from acquire.steps.pairs import PairTable
from acquire.verdict.casebook import FaultModel
from acquire.verdict.circuits import healthy
from acquire.verdict.dictionary import UNKNOWN, Case, Fault, cases, double_cases, places
from acquire.verdict.solving import Floats
from acquire.verdict.weighing import possible, unknown_weight, visible, weigh_all

_LEAST_WEIGHT = 1e-4
"""Circuits less likely than this are left out of the expectation."""

_NODES, _NODE_WEIGHTS = np.polynomial.hermite_e.hermegauss(9)
_NODE_WEIGHTS = _NODE_WEIGHTS / _NODE_WEIGHTS.sum()


def information(book: FaultModel, readings: Sequence[PairReading], posterior: Floats) -> dict[Pair, float]:
    """How much every pair that is not yet measured would tell of the fault, in nats.

    What a pair would read follows, for each circuit that is still possible, from the readings at hand; its
    worth is how far that is expected to move the probabilities of the faults: the mutual information of fault
    and reading. Source: Lindley, Ann. Math. Stat. 27 (1956) 986.

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
    book: FaultModel,
    readings: Sequence[PairReading],
    measured: NDArray[np.int64],
    likely: NDArray[np.int64],
    column: int,
    share: float,
) -> tuple[Floats, Floats, NDArray[np.bool_]]:
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
    weights: Floats, labels: NDArray[np.int64], mean: Floats, width: Floats, conducts: NDArray[np.bool_]
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


Readings = Sequence[PairReading]
"""Everything measured on a unit that counts."""

FourWire = float | frozenset[Pair]
"""Pairs that were measured with four wires, so that the lead zero has no part in them: those that should read
less than so many ohms, or just these."""

_LEAST = 0.01
"""Explanations less likely than this are not listed."""


_FEW_PINS = 10
"""Up to so many places to touch every pair is kept ready; beyond, it would take too long to solve them."""

_TOLD_HIDDEN = 3
"""Pairs at most that are named because something could hide there."""

_SETTLED = 0.95
"""A first explanation this likely needs no further measurement; workshop choice."""


_RIVAL = 0.03
"""An explanation this likely relative to the first is worth telling apart from it; workshop choice."""

_KEY_COST = 0.5
"""A pair that is open in a good unit will probably need a key or pedal: it counts half. Workshop choice."""

_WORTH_A_TOUCH = 0.05
"""Expected information in nats from which another touch is asked for; workshop choice."""


_UNKNOWN_CASE = Case((("unknown", ()),), UNKNOWN)


@dataclass(frozen=True, slots=True)
class FaultFound:
    """One fault in one place with its probability and sizes.

    Attributes:
        slip: (pair asked for, pair really probed) where the explanation needs one unnoticed wrong probe.
    """

    case: Case
    probability: float
    sizes: tuple[float, ...]
    slip: tuple[Pair, Pair] | None = None


def diagnose(
    sheet: Sheet,
    table: PairTable,
    readings: Readings,
    *,
    purpose: Purpose = Purpose.INCOMING,
    four_wire_below_ohm: FourWire = 0.0,
) -> tuple[Hypothesis, ...]:
    """Rank the explanations of a unit's readings.

    Args:
        sheet: of the unit.
        table: what good units of the sheet read.
        readings: everything measured on it that counts; a pair may repeat.
        purpose: a unit just wound fails in other ways than one that comes in.
        four_wire_below_ohm: which pairs were measured with four wires; infinite where all were.

    Returns:
        Explanations above 1 %, most likely first; empty without readings.
    """
    found = findings(sheet, table, readings, purpose=purpose, four_wire_below_ohm=four_wire_below_ohm)
    return tuple(told(finding, sheet) for finding in found if finding.probability >= _LEAST)


def findings(
    sheet: Sheet,
    table: PairTable,
    readings: Readings,
    *,
    purpose: Purpose = Purpose.INCOMING,
    four_wire_below_ohm: FourWire = 0.0,
) -> tuple[FaultFound, ...]:
    """As `diagnose`, with the circuits that each explanation rests on; all of them, most likely first."""
    if not readings:
        return ()
    extra = _beyond(sheet, readings)
    single = casebook(sheet, purpose, four_wire_below_ohm, extra)
    double = double_casebook(sheet, purpose, extra)
    weighed = weigh_all(single, double, table, readings, _usual(sheet))
    unknown_log = unknown_weight(table, readings)
    top = max([unknown_log, *(entry.log_weight for entry in weighed)])
    unknown = math.exp(unknown_log - top)
    total = unknown + sum(math.exp(entry.log_weight - top) for entry in weighed)
    found = [FaultFound(_UNKNOWN_CASE, unknown / total, ())]
    found += [
        FaultFound(entry.case, math.exp(entry.log_weight - top) / total, entry.sizes, entry.slip)
        for entry in weighed
    ]
    return tuple(sorted(found, key=lambda finding: -finding.probability))


def told(finding: FaultFound, sheet: Sheet) -> Hypothesis:
    """A finding as it goes on record."""
    where = places(finding.case, finding.sizes, sheet)
    return Hypothesis(finding.case.fault, finding.probability, where, finding.slip)


def log_evidence(sheet: Sheet, readings: Readings) -> float:
    """How well a type explains the readings of an incoming core, whatever is wrong with it.

    Natural logarithm of the density of the readings, all single faults of the dictionary taken together by
    their priors; comparable between sheets for the same readings. A fault that the dictionary does not know
    has no part in it: it would explain the core of any other type as well.
    """
    book = casebook(sheet, Purpose.INCOMING, extra=_beyond(sheet, readings))
    log_joint = book.laws.log_prior + book.explain(readings).log_like
    top = float(log_joint.max())
    return top + math.log(float(np.exp(log_joint - top).sum()) / float(np.exp(book.laws.log_prior).sum()))


def best_next_pair(
    sheet: Sheet,
    table: PairTable,
    readings: Readings,
    hypotheses: Sequence[Hypothesis],
    *,
    purpose: Purpose = Purpose.INCOMING,
    four_wire_below_ohm: FourWire = 0.0,
) -> Pair | None:
    """The pair not yet measured whose reading would tell the first two explanations apart best.

    Args:
        sheet: of the unit.
        table: what good units of the sheet read.
        readings: everything measured so far.
        hypotheses: from `diagnose`, for the same readings.
        purpose: as for `diagnose`.
        four_wire_below_ohm: as for `diagnose`.

    Returns:
        None where the first explanation is sure enough, or no pair would add anything worth a touch.
    """
    if not readings or len(hypotheses) < 2 or hypotheses[0].probability >= _SETTLED:
        return None
    book = casebook(sheet, purpose, four_wire_below_ohm, extra=_beyond(sheet, readings))
    seen = possible(book, readings)[book.laws.case]
    log_joint = np.where(seen, book.laws.log_prior + book.explain(readings).log_like, -np.inf)
    weights = np.exp(log_joint - log_joint.max())
    by_case = np.bincount(book.laws.case, weights)
    first, second = np.argsort(-by_case)[:2]
    if by_case[second] < _RIVAL * by_case[first]:
        return None
    weights = np.where(np.isin(book.laws.case, (first, second)), weights, 0.0)
    worth = {
        pair: gain * (1.0 if math.isfinite(table.nominal_ohm(pair)) else _KEY_COST)
        for pair, gain in information(book, readings, weights).items()
    }
    best = max(worth, key=lambda pair: worth[pair], default=None)
    return best if best is not None and worth[best] > _WORTH_A_TOUCH else None


@dataclass(frozen=True, slots=True)
class Hidden:
    """A pair that was not measured, and what no measured pair would show.

    Attributes:
        faults: (fault, where), the likelier first.
    """

    pair: Pair
    faults: tuple[Fault, ...]


def hidden(sheet: Sheet, readings: Readings, *, purpose: Purpose = Purpose.INCOMING) -> tuple[Hidden, ...]:
    """Which pairs were not measured, and which faults could hide there; few pairs that show most come first.

    Args:
        sheet: of the unit.
        readings: of it.
        purpose: as for `diagnose`.
    """
    pairs = [reading.pair for reading in readings]
    measured = set(map(frozenset, pairs))
    book = casebook(sheet, purpose, extra=_beyond(sheet, readings))
    single = [(case.faults[0], case.prior) for case in book.cases]
    unseen = ~visible(book, pairs) if pairs else np.ones(len(single), bool)
    shows = {pair: unseen & visible(book, [pair]) for pair in book.pairs if frozenset(pair) not in measured}
    found: list[Hidden] = []
    while shows and len(found) < _TOLD_HIDDEN:
        best = max(shows, key=lambda pair: float(shows[pair] @ np.array([prior for _, prior in single])))
        told = sorted((single[index] for index in np.flatnonzero(shows[best])), key=lambda each: -each[1])
        if not told:
            break
        found.append(Hidden(best, tuple(fault for fault, _ in told)))
        seen = shows.pop(best)
        shows = {pair: still & ~seen for pair, still in shows.items()}
    return tuple(found)


def prepare(sheet: Sheet, purpose: Purpose, four_wire_below_ohm: FourWire = 0.0) -> None:
    """Solve the fault dictionary of a sheet, so that the first unit that fails need not wait for it.

    Takes some tenths of a second, and may run in a thread beside everything else.

    Args:
        sheet: of the units to come.
        purpose: as for `diagnose`.
        four_wire_below_ohm: as for `diagnose`.
    """
    casebook(sheet, purpose, four_wire_below_ohm)
    double_casebook(sheet, purpose)


def casebook(
    sheet: Sheet,
    purpose: Purpose,
    four_wire_below_ohm: FourWire = 0.0,
    extra: tuple[Pair, ...] = (),
) -> FaultModel:
    """The solved fault dictionary of a sheet, kept.

    Args:
        sheet: of the unit.
        purpose: as for `diagnose`.
        four_wire_below_ohm: as for `diagnose`.
        extra: pairs that are asked about beyond the usual ones.
    """
    return _solved(cases, sheet, purpose, four_wire_below_ohm, extra)


def double_casebook(
    sheet: Sheet,
    purpose: Purpose,
    extra: tuple[Pair, ...] = (),
) -> FaultModel:
    """The solved pairs of faults of a sheet, kept."""
    return _solved(double_cases, sheet, purpose, 0.0, extra)


@lru_cache(maxsize=16)
def _solved(
    every: Callable[[Sheet, Purpose], tuple[Case, ...]],
    sheet: Sheet,
    purpose: Purpose,
    four_wire_below_ohm: FourWire,
    extra: tuple[Pair, ...],
) -> FaultModel:
    """Shared in a process, since it depends on nothing else; at worst two threads solve the same.

    Those of the sheets that ship take 1 to 12 MB each, one of twenty pins in every pair 17.
    """
    pairs = (*_usual(sheet), *extra)
    return FaultModel(every(sheet, purpose), healthy(sheet), pairs, four_wire_below_ohm=four_wire_below_ohm)


def _usual(sheet: Sheet) -> tuple[Pair, ...]:
    """All pairs of a unit with few pins; of one with many, those of its steps."""
    names = sheet.pin_names()
    if len(names) <= _FEW_PINS:
        return tuple(Pair(a, b) for a, b in combinations(names, 2))
    return tuple(dict.fromkeys(step.pair for step in sheet.steps))


def _beyond(sheet: Sheet, readings: Sequence[PairReading]) -> tuple[Pair, ...]:
    """Pairs that were measured and are not among the usual ones."""
    usual = {frozenset(pair) for pair in _usual(sheet)}
    return tuple(sorted({reading.pair for reading in readings if frozenset(reading.pair) not in usual}))
