"""Is the first unit of a batch wound as planned? Its readings against the sheet narrowed by the spool cards.

A wrong spool, gauge or number of turns is in every unit of a batch, so it is worth a word after the first
one. What the sheet foretells is narrowed by what each spool's own wire was measured to have; then the fault
dictionary, widened by faults that sit in all windings of one spool, is weighed by Bayes' rule. Not for
verdicts: a unit may pass and be doubted here, or fail without saying anything about the batch.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace
from functools import lru_cache

import numpy as np

from acquire.physics.common import PairReading
from acquire.physics.winding import MEAN_TURN_RELATIVE_U
from acquire.records import (
    Branch,
    BranchKind,
    Compared,
    FaultPlace,
    FirstUnitDoubt,
    Hypothesis,
    Pair,
    Purpose,
    Sheet,
    WoundFrom,
)
from acquire.steps.pairs import PairTable
from acquire.verdict.casebook import FaultModel
from acquire.verdict.circuits import FaultyCircuit, healthy, log_sizes, scaled, warmer
from acquire.verdict.dictionary import Case, cases, places, wrong_wire

HAND_RELATIVE_U = 0.005
"""Tension and lay of the wire differ from unit to unit: standard deviation as a fraction of the ohms.
Workshop choice; with the mean turn's 0.75 % it makes the 1.9 % (95 %) that a measured spool leaves."""

DOUBTED, PARTLY = 0.5, 0.25
"""A batch is doubted from this probability of a fault that its next unit would have too; or from the second
one, where a good unit has less than that as well (too many turns and a bad joint read alike). Workshop
choices. Of good units that scatter as assumed here about 1 in 250 is doubted, and costs one typed word; a
spool 3.6 % off is found by its first unit 19 times of 20 (tests/unit/test_verdict_first_unit.py counts
both)."""

TOLD = 0.1
"""Explanations less likely than this are not told."""

OF_THE_BATCH = frozenset(
    {
        "wire_too_thin",
        "wire_too_thick",
        "aluminium_wire",
        "too_few_turns",
        "too_many_turns",
        "shorted_turns",
        "strand_broken",
        "other_spool",
    }
)
"""Faults that the next unit would have as well. Shorted turns are among them because ohms cannot tell them
from turns that were never wound."""

AS_PLANNED = frozenset({"healthy", "warm", "cold", "lead_zero"})
"""Explanations that leave the winding as it should be."""

_ANY_SPOOL = log_sizes(0.015, 0.1)
"""Spools of one gauge lie 2 to 9 % off the wire table, the finest most (ASTM B258, metric tolerances)."""

_WARM_PRIOR, _KELVIN = 0.2, log_sizes(1.5, 12.0)
"""A unit with a result is not far from the room's temperature: one that is moves during the test, and is held
(heart/recheck). Workshop choices."""

_WIRE_PRIORS, _SPOOL_PRIOR = {"wire_too_thin": 0.3, "wire_too_thick": 0.3, "aluminium_wire": 0.03}, 0.3
"""Weights on the scale of the fault dictionary, where a good unit has 10; workshop choices."""

_KNOWN_SPOOL_U = 0.003
"""How well a known spool's card fits the units wound from it, beyond the spread that all share."""


@dataclass(frozen=True, slots=True)
class FirstLook:
    """What the first unit says of its batch.

    Attributes:
        probability: that the unit is not wound as planned, 0 to 1.
        compared: the reading that lies furthest off; None where nothing could be compared.
        doubt: what speaks against it; None where the unit is as predicted.
    """

    probability: float
    compared: Compared | None
    doubt: FirstUnitDoubt | None = None


def first_look(
    sheet: Sheet,
    spools: Sequence[WoundFrom],
    readings: Sequence[PairReading],
    *,
    cards: Sequence[WoundFrom] = (),
    purpose: Purpose = Purpose.FINAL,
    four_wire_below_ohm: float = 0.0,
) -> FirstLook:
    """Compare the first unit with what sheet and spool cards predict.

    Args:
        sheet: of the unit.
        spools: what its windings were wound from.
        readings: all that counts; open pairs say nothing here.
        cards: every spool that the bench has a card of, `winding` left empty: it may be one of those.
        purpose: of the bench.
        four_wire_below_ohm: pairs of a smaller nominal were measured with four wires, so without leads.
    """
    kept = [reading for reading in readings if math.isfinite(reading.ohm)]
    planned = narrowed(sheet, spools)
    compared = _furthest(PairTable(planned), kept)
    if not kept:
        return FirstLook(0.0, compared)
    pairs = tuple(sorted({reading.pair for reading in kept}))
    book = _book(
        planned,
        pairs,
        spools=tuple(spools),
        cards=tuple(cards),
        purpose=purpose,
        four_wire_below_ohm=four_wire_below_ohm,
    )
    chances, sizes = _weighed(book, kept)
    of_batch = sum(chances[i] for i, case in enumerate(book.cases) if case.fault in OF_THE_BATCH)
    planned_so = sum(chances[i] for i, case in enumerate(book.cases) if case.fault in AS_PLANNED)
    if of_batch < DOUBTED and (of_batch < PARTLY or planned_so >= PARTLY):
        return FirstLook(float(1.0 - planned_so), compared)
    likely = [i for i, case in enumerate(book.cases) if case.fault not in AS_PLANNED and chances[i] >= TOLD]
    likely.sort(key=lambda i: (book.cases[i].fault not in OF_THE_BATCH, -chances[i]))
    found = tuple(
        Hypothesis(case.fault, float(chances[i]), _placed(case, sizes[i], planned, cards))
        for i, case in ((i, book.cases[i]) for i in likely[:2])
    )
    probability = float(1.0 - planned_so)
    return FirstLook(probability, compared, FirstUnitDoubt(probability, found))


def prepare(
    sheet: Sheet,
    spools: Sequence[WoundFrom],
    *,
    cards: Sequence[WoundFrom] = (),
    purpose: Purpose = Purpose.FINAL,
    four_wire_below_ohm: float = 0.0,
) -> None:
    """Solve what a first unit will be compared with, so that `first_look` need not; arguments as there."""
    asked = {step.pair for step in sheet.steps if step.conducts}
    _book(
        narrowed(sheet, spools),
        tuple(sorted(asked)),
        spools=tuple(spools),
        cards=tuple(cards),
        purpose=purpose,
        four_wire_below_ohm=four_wire_below_ohm,
    )


def narrowed(sheet: Sheet, spools: Sequence[WoundFrom]) -> Sheet:
    """The sheet as these spools make it: expected ohms and their spread follow the measured wire.

    R = nominal · (ohms per metre of the spool) / (ohms per metre of the sheet's wire); the spread that is
    left is that of the card, the mean turn and the hand. Windings without a card, or without a wire on the
    sheet, keep what the sheet says.
    """
    known = {each.winding: each for each in spools if each.ohm_per_m is not None}
    branches = [_from_spool(branch, known.get(branch.name)) for branch in sheet.branches]
    return replace(sheet, branches=tuple(branches))


def _from_spool(branch: Branch, spool: WoundFrom | None) -> Branch:
    if spool is None or spool.ohm_per_m is None or branch.ohm_per_m is None:
        return branch
    spread = math.hypot(spool.relative_u or 0.0, MEAN_TURN_RELATIVE_U, HAND_RELATIVE_U)
    ratio = spool.ohm_per_m / branch.ohm_per_m
    return replace(
        branch,
        reference_ohm=branch.reference_ohm * ratio,
        spread=min(branch.spread, spread),
        ohm_per_m=spool.ohm_per_m,
    )


def _groups(planned: Sheet, spools: tuple[WoundFrom, ...]) -> dict[tuple[str, ...], bool]:
    """Windings by the wire they share, and whether its spool was measured."""
    of = {each.winding: each for each in spools}
    shared: dict[object, list[str]] = {}
    carded: dict[object, bool] = {}
    for branch in planned.branches:
        if branch.kind is not BranchKind.WINDING:
            continue
        spool = of.get(branch.name)
        key: object = spool.spool if spool else branch.ohm_per_m or branch.name
        shared.setdefault(key, []).append(branch.name)
        carded[key] = spool is not None and spool.ohm_per_m is not None
    return {tuple(names): carded[key] for key, names in shared.items()}


@lru_cache(maxsize=4)
def _book(
    planned: Sheet,
    pairs: tuple[Pair, ...],
    *,
    spools: tuple[WoundFrom, ...],
    cards: tuple[WoundFrom, ...],
    purpose: Purpose,
    four_wire_below_ohm: float,
) -> FaultModel:
    """The fault dictionary with the faults of whole spools, solved for the pairs that were read."""
    good = healthy(planned)
    groups = _groups(planned, spools)
    every = [case for case in cases(planned, purpose) if case.fault not in {"warm", "cold"}]
    every += [
        Case(((fault, ()),), _WARM_PRIOR, tuple(warmer(good, _KELVIN, sign)))
        for fault, sign in (("warm", 1.0), ("cold", -1.0))
    ]
    for names, carded in groups.items():
        share = 1.0 / len(groups)
        if len(names) > 1 and not any(case.faults == (("wire_too_thin", names),) for case in every):
            every += _of_wire(good, names, share)
        if carded:
            every += _of_spool(good, names, share, _nearby(planned, names, cards))
    return FaultModel(every, good, pairs, four_wire_below_ohm=four_wire_below_ohm)


def _of_wire(good: FaultyCircuit, names: tuple[str, ...], share: float) -> list[Case]:
    """The wrong gauge or metal in all windings of one spool."""
    return [
        Case(((fault, names),), share * _WIRE_PRIORS[fault], tuple(change(good)))
        for fault, names, change in wrong_wire(names)
    ]


def _of_spool(
    good: FaultyCircuit, names: tuple[str, ...], share: float, known: Sequence[float]
) -> list[Case]:
    """Another spool of the same gauge: one that the bench has a card of, or any."""
    parts = [(ratio, _KNOWN_SPOOL_U, _SPOOL_PRIOR / len(known)) for ratio in known]
    found = [
        Case(
            (("other_spool", names),),
            prior * share,
            tuple(scaled(good, names, ((abs(ratio), sd, 1.0),), math.copysign(1.0, ratio))),
        )
        for ratio, sd, prior in parts
    ]
    both = tuple(c for sign in (1.0, -1.0) for c in scaled(good, names, _ANY_SPOOL, sign))
    halved = tuple(replace(circuit, weight=circuit.weight / 2.0) for circuit in both)
    return [*found, Case((("other_spool", names),), _SPOOL_PRIOR * share, halved)]


def _nearby(planned: Sheet, names: tuple[str, ...], cards: tuple[WoundFrom, ...]) -> list[float]:
    """How far other known spools of about this gauge lie off the one in use, as fractions."""
    own = next(b.ohm_per_m for b in planned.branches if b.name == names[0])
    off = [c.ohm_per_m / own - 1.0 for c in cards if own is not None and c.ohm_per_m is not None]
    return [each for each in off if _KNOWN_SPOOL_U < abs(each) < _ANY_SPOOL[-1][0]]


def _weighed(book: FaultModel, readings: Sequence[PairReading]) -> tuple[np.ndarray, list[tuple[float, ...]]]:
    """Probability of each case, and its sizes."""
    explained = book.explain(readings)
    log_joint = book.laws.log_prior + explained.log_like
    weights = np.exp(log_joint - log_joint.max())
    chances = np.bincount(book.laws.case, weights, minlength=len(book.cases)) / weights.sum()
    best = [
        int(np.argmax(np.where(book.laws.case == index, log_joint, -np.inf)))
        for index in range(len(book.cases))
    ]
    signs = np.sign(book.laws.mean_ohm[best].sum(axis=1) - book.good.mean_ohm[0].sum())
    found, every = [], explained.size
    for place, sign in zip(best, signs, strict=True):
        sizes = tuple(float(size) for size in every[place])
        found.append((*sizes, float(sign)))
    return chances, found


def _placed(
    case: Case, sizes: tuple[float, ...], planned: Sheet, cards: Sequence[WoundFrom]
) -> tuple[FaultPlace, ...]:
    """As it goes on record; of another spool with a signed size, and the known spool that reads like it."""
    if case.fault != "other_spool":
        return places(case, sizes[:-1], planned)
    share = sizes[0] * sizes[-1]
    own = next(b.ohm_per_m for b in planned.branches if b.name == case.where[0]) or math.nan
    like = [
        card.spool
        for card in cards
        if card.ohm_per_m and abs(card.ohm_per_m / own - 1.0 - share) < 2.0 * _KNOWN_SPOOL_U
    ]
    (place,) = places(case, (share,), planned)
    return (replace(place, spool=like[0] if like else ""),)


def _furthest(table: PairTable, readings: Sequence[PairReading]) -> Compared | None:
    """The reading that lies furthest off, measured by what good units scatter."""
    found = [
        Compared(pair, ohm, table.nominal_ohm(pair), 2.0 * math.hypot(table.spread_ohm(pair), u_ohm))
        for pair, ohm, u_ohm, _ in readings
        if math.isfinite(table.nominal_ohm(pair))
    ]

    def off(each: Compared) -> float:
        return abs(each.ohm - each.predicted_ohm) / max(each.reach_ohm, 1e-12)

    return max(found, key=off, default=None)
