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
from typing import Protocol

import numpy as np

from acquire.records import Hypothesis, Pair, Purpose, Sheet
from acquire.verdict.casebook import Casebook, Explained
from acquire.verdict.dictionary import Case, cases
from acquire.verdict.next_pair import information
from acquire.verdict.saying import sentence

PairReading = tuple[Pair, float, float]
"""(pair, ohms at the reference temperature or infinite, standard uncertainty in ohms)."""

_UNKNOWN_PRIOR = 0.005
"""Prior probability that a unit has something which the dictionary lacks; workshop choice."""

_LEAST = 0.01
"""Explanations less likely than this are not listed."""


_SETTLED = 0.95
"""A first explanation this likely needs no further measurement; workshop choice."""


_RIVAL = 0.1
"""An explanation this likely relative to the first is worth telling apart from it; workshop choice."""

_KEY_COST = 0.5
"""A pair that is open in a good unit will probably need a key or pedal: it counts half. Workshop choice."""

_WORTH_A_TOUCH = 0.05
"""Expected information in nats from which another touch is asked for; workshop choice."""


class PairLaws(Protocol):
    """What a good unit reads on each pair; `acquire.steps.pairs.PairTable` is one."""

    def nominal_ohm(self, pair: Pair) -> float:
        """Ohms at the reference temperature; infinite where open."""

    def spread_ohm(self, pair: Pair) -> float:
        """Standard deviation between good units, in ohms."""


@dataclass(frozen=True, slots=True)
class Finding:
    """One fault in one place with its probability and size, before it is put into words."""

    case: Case
    probability: float
    size: float


def diagnose(
    sheet: Sheet,
    table: PairLaws,
    readings: Sequence[PairReading],
    *,
    purpose: Purpose = Purpose.INCOMING,
    two_wire: bool = True,
    priors: Mapping[str, float] | None = None,
) -> tuple[Hypothesis, ...]:
    """Rank the explanations of a unit's readings.

    Args:
        sheet: of the unit.
        table: what good units of the sheet read.
        readings: everything measured on it that counts; a pair may repeat.
        purpose: a unit just wound fails in other ways than one that comes in.
        two_wire: False where four wires were used, so that no lead zero can be off.
        priors: weights of this shop by fault, in place of the built-in ones.

    Returns:
        Explanations above 1 %, most likely first; empty without readings.
    """
    found = findings(sheet, table, readings, purpose=purpose, two_wire=two_wire, priors=priors)
    return tuple(
        Hypothesis(finding.case.fault, finding.probability, sentence(finding.case, finding.size, sheet))
        for finding in found
        if finding.probability >= _LEAST
    )


def findings(
    sheet: Sheet,
    table: PairLaws,
    readings: Sequence[PairReading],
    *,
    purpose: Purpose = Purpose.INCOMING,
    two_wire: bool = True,
    priors: Mapping[str, float] | None = None,
) -> tuple[Finding, ...]:
    """As `diagnose`, before the explanations are put into words; all of them, most likely first."""
    if not readings:
        return ()
    book = casebook(sheet, purpose, two_wire, tuple(sorted((priors or {}).items())))
    pairs, ohms, u_ohms = zip(*readings, strict=True)
    explained = book.explain(pairs, ohms, u_ohms)
    visible = _visible(book, pairs)
    return _ranked(book, explained, visible, _unknown(table, readings))


def best_next_pair(
    sheet: Sheet,
    table: PairLaws,
    readings: Sequence[PairReading],
    hypotheses: Sequence[Hypothesis],
    *,
    purpose: Purpose = Purpose.INCOMING,
    two_wire: bool = True,
) -> Pair | None:
    """The pair not yet measured whose reading would tell the explanations apart best.

    Args:
        sheet: of the unit.
        table: what good units of the sheet read.
        readings: everything measured so far.
        hypotheses: from `diagnose`, for the same readings.
        purpose: as for `diagnose`.
        two_wire: as for `diagnose`.

    Returns:
        None where the first explanation is sure enough, or no pair would add anything worth a touch.
    """
    if not readings or len(hypotheses) < 2 or hypotheses[0].probability >= _SETTLED:
        return None
    book = casebook(sheet, purpose, two_wire)
    pairs = [pair for pair, _, _ in readings]
    explained = book.explain(pairs, [ohm for _, ohm, _ in readings], [u_ohm for _, _, u_ohm in readings])
    seen = np.array(_visible(book, pairs))[book.laws.case]
    log_joint = np.where(seen, book.laws.log_prior + explained.log_like, -np.inf)
    weights = np.exp(log_joint - log_joint.max())
    by_case = np.bincount(book.laws.case, weights)
    weights = np.where(by_case[book.laws.case] >= _RIVAL * by_case.max(), weights, 0.0)
    worth = {
        pair: gain * (1.0 if math.isfinite(table.nominal_ohm(pair)) else _KEY_COST)
        for pair, gain in information(book, readings, weights / weights.sum()).items()
    }
    best = max(worth, key=lambda pair: worth[pair], default=None)
    return best if best is not None and worth[best] > _WORTH_A_TOUCH else None


@lru_cache(maxsize=32)
def casebook(
    sheet: Sheet, purpose: Purpose, two_wire: bool = True, priors: tuple[tuple[str, float], ...] = ()
) -> Casebook:
    """The solved fault dictionary of a sheet, kept; worth calling once before the first unit fails."""
    return Casebook(cases(sheet, purpose, two_wire=two_wire, priors=dict(priors)), sheet.pin_names())


def _ranked(
    book: Casebook, explained: Explained, visible: Sequence[bool], unknown_log: float
) -> tuple[Finding, ...]:
    log_joint = np.where(np.array(visible)[book.laws.case], book.laws.log_prior + explained.log_like, -np.inf)
    top = max(float(log_joint.max()), unknown_log)
    weights = np.exp(log_joint - top)
    unknown = math.exp(unknown_log - top)
    total = float(weights.sum()) + unknown
    found = [Finding(Case("unknown", (), 0.0, ()), unknown / total, 0.0)]
    for index, case in enumerate(book.cases):
        own = np.flatnonzero(book.laws.case == index)
        weight = float(weights[own].sum())
        if weight > 0.0:
            size = float((weights[own] * np.nan_to_num(explained.size[own], posinf=0.0)).sum()) / weight
            found.append(Finding(case, weight / total, size))
    return tuple(sorted(found, key=lambda finding: -finding.probability))


def _visible(book: Casebook, pairs: Sequence[Pair]) -> list[bool]:
    """Whether a fault changes anything that was measured; what does not is no explanation of it."""
    columns = book.columns(pairs)
    mean, conducts = book.laws.mean_ohm[:, columns], book.laws.conducts[:, columns]
    alike = np.isclose(mean, mean[0], rtol=1e-9, atol=1e-12) & (conducts == conducts[0])
    same = alike.all(axis=1)
    return [
        case.fault == "healthy" or not bool(same[book.laws.case == index].all())
        for index, case in enumerate(book.cases)
    ]


def _unknown(table: PairLaws, readings: Sequence[PairReading]) -> float:
    """Log of prior times density, if each reading is either a good unit's or anything at all."""
    total = math.log(_UNKNOWN_PRIOR)
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
