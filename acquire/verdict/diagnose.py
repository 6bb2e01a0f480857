"""Which fault explains all readings of a unit, how sure, and what to measure next.

Bayes' rule over the fault dictionary of the sheet: prior weight times how well each fault, of any size it can
have, foretells the readings. A catch-all for faults that are not in the dictionary keeps the others honest.
Not for verdicts: whether a unit passes is decided by limits, not by what explains it.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from functools import lru_cache
from itertools import combinations

import numpy as np

from acquire.records import Hypothesis, Pair, Purpose, Sheet
from acquire.verdict.casebook import Casebook, Explained
from acquire.verdict.circuits import healthy
from acquire.verdict.dictionary import UNKNOWN, Case, cases, double_cases
from acquire.verdict.next_pair import information
from acquire.verdict.saying import sentence
from acquire.verdict.slips import PairLaws, look_alikes, with_slips

PairReading = tuple[Pair, float, float]
"""(pair, ohms at the reference temperature or infinite, standard uncertainty in ohms)."""

_POOR = 1e-3
"""Where single faults leave a distance this unlikely, pairs of faults are weighed too; workshop choice."""

_LEAST = 0.01
"""Explanations less likely than this are not listed."""


_FEW_PINS = 10
"""Up to so many places to touch every pair is kept ready; beyond, memory would grow with their fourth
power."""

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
class Finding:
    """One fault in one place with its probability and sizes, before it is put into words.

    Attributes:
        slip: (pair asked for, pair really probed) where the explanation needs one unnoticed wrong probe.
    """

    case: Case
    probability: float
    sizes: tuple[float, ...]
    slip: tuple[Pair, Pair] | None = None


def diagnose(
    sheet: Sheet,
    table: PairLaws,
    readings: Sequence[PairReading],
    *,
    purpose: Purpose = Purpose.INCOMING,
    four_wire_below_ohm: float = 0.0,
    priors: Mapping[str, float] | None = None,
) -> tuple[Hypothesis, ...]:
    """Rank the explanations of a unit's readings.

    Args:
        sheet: of the unit.
        table: what good units of the sheet read.
        readings: everything measured on it that counts; a pair may repeat.
        purpose: a unit just wound fails in other ways than one that comes in.
        four_wire_below_ohm: pairs that should read less were measured with four wires, so that the lead zero
            has no part in them; infinite where all were.
        priors: weights of this shop by fault, in place of the built-in ones.

    Returns:
        Explanations above 1 %, most likely first; empty without readings.
    """
    found = findings(
        sheet, table, readings, purpose=purpose, four_wire_below_ohm=four_wire_below_ohm, priors=priors
    )
    return tuple(
        Hypothesis(finding.case.fault, finding.probability, said(finding, sheet))
        for finding in found
        if finding.probability >= _LEAST
    )


def findings(
    sheet: Sheet,
    table: PairLaws,
    readings: Sequence[PairReading],
    *,
    purpose: Purpose = Purpose.INCOMING,
    four_wire_below_ohm: float = 0.0,
    priors: Mapping[str, float] | None = None,
) -> tuple[Finding, ...]:
    """As `diagnose`, before the explanations are put into words; all of them, most likely first."""
    if not readings:
        return ()
    own_priors = tuple(sorted((priors or {}).items()))
    slips = look_alikes(table, readings, _usual(sheet))
    extra = _beyond(sheet, readings)
    weighed = _weigh(casebook(sheet, purpose, four_wire_below_ohm, own_priors, extra), readings, slips)
    unknown_log = _unknown(table, readings)
    if _fits_poorly(weighed, unknown_log):
        weighed += _weigh(double_casebook(sheet, purpose, own_priors, extra), readings, slips)
    top = max([unknown_log, *(entry.log_weight for entry in weighed)])
    unknown = math.exp(unknown_log - top)
    total = unknown + sum(math.exp(entry.log_weight - top) for entry in weighed)
    found = [Finding(_UNKNOWN_CASE, unknown / total, ())]
    found += [
        Finding(entry.case, math.exp(entry.log_weight - top) / total, entry.sizes, entry.slip)
        for entry in weighed
    ]
    return tuple(sorted(found, key=lambda finding: -finding.probability))


def said(finding: Finding, sheet: Sheet) -> str:
    """A finding in words, with the wrong probe that it supposes, if any."""
    words = sentence(finding.case, finding.sizes, sheet)
    if finding.slip is None:
        return words
    asked, probed = finding.slip
    return f"{words} That supposes that the probes were on {probed} when {asked} was asked for."


def log_evidence(sheet: Sheet, table: PairLaws, readings: Sequence[PairReading]) -> float:
    """How well a type explains the readings of an incoming core, whatever is wrong with it.

    Natural logarithm of the density of the readings, all single faults of the dictionary taken together by
    their priors; comparable between sheets for the same readings.
    """
    book = casebook(sheet, Purpose.INCOMING, extra=_beyond(sheet, readings))
    log_joint = book.laws.log_prior + _explain(book, readings).log_like
    unknown_log = _unknown(table, readings)
    top = max(float(log_joint.max()), unknown_log)
    total = float(np.exp(log_joint - top).sum()) + math.exp(unknown_log - top)
    return top + math.log(total) - math.log(float(np.exp(book.laws.log_prior).sum()) + UNKNOWN)


def best_next_pair(
    sheet: Sheet,
    table: PairLaws,
    readings: Sequence[PairReading],
    hypotheses: Sequence[Hypothesis],
    *,
    purpose: Purpose = Purpose.INCOMING,
    four_wire_below_ohm: float = 0.0,
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
    seen = np.array(_visible(book, [pair for pair, _, _ in readings]))[book.laws.case]
    log_joint = np.where(seen, book.laws.log_prior + _explain(book, readings).log_like, -np.inf)
    weights = np.exp(log_joint - log_joint.max())
    by_case = np.bincount(book.laws.case, weights)
    first, second = np.argsort(-by_case)[:2]
    if by_case[second] < _RIVAL * by_case[first]:
        return None
    weights = np.where(np.isin(book.laws.case, (first, second)), weights, 0.0)
    worth = {
        pair: gain * (1.0 if math.isfinite(table.nominal_ohm(pair)) else _KEY_COST)
        for pair, gain in information(book, readings, weights / weights.sum()).items()
    }
    best = max(worth, key=lambda pair: worth[pair], default=None)
    return best if best is not None and worth[best] > _WORTH_A_TOUCH else None


@lru_cache(maxsize=8)
def casebook(
    sheet: Sheet,
    purpose: Purpose,
    four_wire_below_ohm: float = 0.0,
    priors: tuple[tuple[str, float], ...] = (),
    extra: tuple[Pair, ...] = (),
) -> Casebook:
    """The solved fault dictionary of a sheet, kept; worth calling once before the first unit fails.

    Args:
        sheet: of the unit.
        purpose: as for `diagnose`.
        four_wire_below_ohm: as for `diagnose`.
        priors: as for `diagnose`, sorted.
        extra: pairs that are asked about beyond the usual ones.
    """
    return Casebook(
        cases(sheet, purpose, priors=dict(priors)),
        healthy(sheet),
        (*_usual(sheet), *extra),
        four_wire_below_ohm=four_wire_below_ohm,
    )


@lru_cache(maxsize=2)
def double_casebook(
    sheet: Sheet,
    purpose: Purpose,
    priors: tuple[tuple[str, float], ...] = (),
    extra: tuple[Pair, ...] = (),
) -> Casebook:
    """The solved pairs of faults of a sheet, kept; solved when a unit first needs them."""
    doubles = double_cases(sheet, purpose, priors=dict(priors))
    return Casebook(doubles, healthy(sheet), (*_usual(sheet), *extra))


def _usual(sheet: Sheet) -> tuple[Pair, ...]:
    """All pairs of a unit with few pins; of one with many, those of its steps."""
    names = sheet.pin_names()
    if len(names) <= _FEW_PINS:
        return tuple(Pair(a, b) for a, b in combinations(names, 2))
    return tuple(dict.fromkeys(step.pair for step in sheet.steps))


def _beyond(sheet: Sheet, readings: Sequence[PairReading]) -> tuple[Pair, ...]:
    """Pairs that were measured and are not among the usual ones."""
    usual = {frozenset(pair) for pair in _usual(sheet)}
    return tuple(sorted({pair for pair, _, _ in readings if frozenset(pair) not in usual}))


@dataclass(frozen=True, slots=True)
class _Weighed:
    """One case against the readings: log of prior times density, and how far its best circuit is off."""

    case: Case
    log_weight: float
    chi_square: float
    count: int
    sizes: tuple[float, ...]
    slip: tuple[Pair, Pair] | None


def _weigh(
    book: Casebook, readings: Sequence[PairReading], slips: Sequence[tuple[int, Pair]]
) -> list[_Weighed]:
    """Every case that changes anything that was measured, unnoticed wrong probes allowed for."""
    if not book.cases:
        return []
    explained, labels = with_slips(book, readings, slips)
    log_joint = book.laws.log_prior + explained.log_like
    visible = _visible(book, [pair for pair, _, _ in readings])
    weighed = []
    for index, case in enumerate(book.cases):
        if not visible[index]:
            continue
        first, last = np.searchsorted(book.laws.case, (index, index + 1))
        own = log_joint[first:last]
        top = float(own.max())
        shares = np.exp(own - top)
        total = float(shares.sum())
        sizes = np.where(np.isfinite(explained.size[first:last]), explained.size[first:last], 0.0)
        best = first + int(own.argmax())
        weighed.append(
            _Weighed(
                case,
                top + math.log(total),
                float(explained.chi_square[best]),
                int(explained.count[best]),
                tuple(float(size) for size in shares @ sizes / total),
                _slip_of(int(labels[best]), readings, slips),
            )
        )
    return weighed


def _explain(book: Casebook, readings: Sequence[PairReading]) -> Explained:
    pairs, ohms, u_ohms = zip(*readings, strict=True)
    return book.explain(pairs, ohms, u_ohms)


def _slip_of(
    label: int, readings: Sequence[PairReading], slips: Sequence[tuple[int, Pair]]
) -> tuple[Pair, Pair] | None:
    if label < 0:
        return None
    index, probed = slips[label]
    return readings[index][0], probed


def _fits_poorly(weighed: Sequence[_Weighed], unknown_log: float) -> bool:
    """Whether no single fault explains the readings well."""
    best = max(weighed, key=lambda entry: entry.log_weight)
    if unknown_log > best.log_weight:
        return True
    # Wilson and Hilferty 1931: the cube root of chi-square over its count is nearly normal.
    count = max(best.count, 1)
    away = ((best.chi_square / count) ** (1 / 3) - (1 - 2 / (9 * count))) / math.sqrt(2 / (9 * count))
    return 0.5 * math.erfc(away / math.sqrt(2.0)) < _POOR


def _visible(book: Casebook, pairs: Sequence[Pair]) -> list[bool]:
    """Whether a fault changes anything that was measured; what does not is no explanation of it."""
    columns = book.columns(pairs)
    mean, conducts = book.laws.mean_ohm[:, columns], book.laws.conducts[:, columns]
    good_mean, good_conducts = book.good.mean_ohm[0, columns], book.good.conducts[0, columns]
    alike = np.isclose(mean, good_mean, rtol=1e-9, atol=1e-12) & (conducts == good_conducts)
    first = np.searchsorted(book.laws.case, np.arange(len(book.cases)))
    changed = np.maximum.reduceat((~alike.all(axis=1)).astype(np.int64), first) > 0
    return [bool(seen) or case.fault == "healthy" for seen, case in zip(changed, book.cases, strict=True)]


def _unknown(table: PairLaws, readings: Sequence[PairReading]) -> float:
    """Log of prior times density, if each reading is either a good unit's or anything at all."""
    total = math.log(UNKNOWN)
    for pair, ohm, u_ohm in readings:
        nominal_ohm = table.nominal_ohm(pair)
        if math.isinf(ohm):
            total += math.log(0.55 if math.isinf(nominal_ohm) else 0.05)
            continue
        anything = 1.0 / (max(abs(ohm), 1e-3) * math.log(1e9))
        usual = 0.0
        if math.isfinite(nominal_ohm):
            width = math.hypot(table.spread_ohm(pair), u_ohm, 1e-9)
            usual = math.exp(-0.5 * ((ohm - nominal_ohm) / width) ** 2) / (width * math.sqrt(2.0 * math.pi))
        total += math.log(0.5 * usual + 0.45 * anything)
    return total
