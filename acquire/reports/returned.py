"""A unit that comes back: what each pair read then and reads now, whether that is a change, and is it ours?

Both readings stand at one reference temperature with their uncertainties; the difference is real where it is
larger than both together can explain. Not for the odds themselves (same_unit) nor for the page
(returned_pages).
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace

from acquire.errors import InputImpossible
from acquire.journal.question import Record
from acquire.physics.budget import combine
from acquire.physics.copper import CONDUCTORS
from acquire.quantity import counted
from acquire.records import Outcome, Purpose, Term, Verdict
from acquire.reports.paper_visit import paper_visit
from acquire.reports.same_unit import FEWEST_SISTERS, Odds, Reading, odds
from acquire.reports.sisters import sisters_of
from acquire.reports.visits import OnRecord, Visit, visits_on
from acquire.words.faults import sentence
from acquire.words.units import result_words

ACCURACY = "meter accuracy"
TEMPERATURE = "winding temperature"
"""Terms of a verdict's budget, by name (physics.correct)."""

PRIOR = 0.5
"""Probability beforehand, where nobody says otherwise: as likely ours as not."""


@dataclass(frozen=True, slots=True)
class Side:
    """One pair at one visit.

    Attributes:
        id: of the entry.
        ohm: at the common reference temperature; None for an open pair.
        expanded_ohm: 95 %, None likewise.
    """

    id: str
    utc_s: float
    ohm: float | None
    expanded_ohm: float | None
    outcome: Outcome
    meter_id: str
    winding_celsius: float | None


@dataclass(frozen=True, slots=True)
class Change:
    """One pair, then and now.

    Attributes:
        change: (now - then) / then; None where one of them is open.
        expanded_change: of that, 95 %, both visits counted as independent.
        expanded_if_common: the same with the meter's own limits of error taken as equal at both visits; None
            where it was not the same meter on the same range by the same file.
        real: the change is larger than both uncertainties can explain; None where it cannot be told.
    """

    step: str
    pin_a: str
    pin_b: str
    then: Side
    now: Side
    change: float | None
    expanded_change: float | None
    expanded_if_common: float | None
    real: bool | None


@dataclass(frozen=True, slots=True)
class Ours:
    """Is it the unit that left?

    Attributes:
        odds: None where too little is on record; `why_not` says what is missing then.
        prior: odds beforehand that they start from.
        sisters: other units that the spread was taken from; of_batch: all of the same batch.
    """

    odds: Odds | None
    why_not: str
    prior: float
    sisters: int
    of_batch: str


@dataclass(frozen=True, slots=True)
class Returned:
    """Then and now.

    Attributes:
        then_id, now_id: entries of the two visits (result, or start where there is none yet).
        then_outcome, now_outcome: None where the visit has none (held, given up, still on the bench).
        reference_celsius: that all resistances stand at.
        changes: pair by pair, in the order of today's touches.
        missing: steps measured at one visit only.
        diagnosis: what explains today's readings, with its probability; empty for a unit that passed.
        converted: the earlier values were brought to another reference temperature, taken as copper.
        from_paper: the earlier values are of an imported paper record.
    """

    serial: str
    sheet: str
    same_sheet: bool
    batch: str
    then_id: str
    now_id: str
    then_utc_s: float
    now_utc_s: float
    then_purpose: Purpose
    now_purpose: Purpose
    then_outcome: Outcome | None
    now_outcome: Outcome | None
    now_held: str
    reference_celsius: float
    changes: tuple[Change, ...]
    missing: tuple[str, ...]
    diagnosis: tuple[tuple[float, str], ...]
    converted: bool
    ours: Ours
    from_paper: bool = False


def returned(record: Record, serial: str, prior: float = PRIOR, *, from_paper: bool = False) -> Returned:
    """Compare what a unit read when it left with what it reads now.

    Args:
        record: of the shop.
        serial: of the unit.
        prior: odds beforehand that it is this unit, 0 to 1.
        from_paper: compare with its imported paper record, not with an earlier visit.

    Raises:
        InputImpossible: the unit is not on the record, or there are no two visits to compare.
        JournalUnusable: the record cannot be read.
    """
    visits = visits_on(record, serial)
    then, now = (paper_visit(record, serial), _latest(visits)) if from_paper else chosen(visits)
    changes, missing, converted = compared(then, now)
    steps = [change.step for change in changes if change.then.ohm and change.now.ohm]
    ours = _ours(record, then, now, steps, prior)
    result = now.result.record if now.result else None
    return Returned(
        serial=serial,
        sheet=now.started.record.sheet,
        same_sheet=now.started.record.sheet == then.started.record.sheet,
        batch=then.started.record.batch,
        then_id=_id(then),
        now_id=_id(now),
        then_utc_s=then.started.record.utc_s,
        now_utc_s=now.started.record.utc_s,
        then_purpose=then.purpose,
        now_purpose=now.purpose,
        then_outcome=None if then.result is None else then.result.record.outcome,
        now_outcome=None if result is None else result.outcome,
        now_held="" if result is None else result_words(result),
        reference_celsius=next((v.record.reference_celsius for v in now.resistances().values()), 20.0),
        changes=changes,
        missing=missing,
        diagnosis=() if result is None else tuple((h.probability, sentence(h)) for h in result.hypotheses),
        converted=converted,
        ours=ours,
        from_paper=from_paper,
    )


def chosen(visits: Sequence[Visit]) -> tuple[Visit, Visit]:
    """The two visits to compare: the latest that has values (one as returned, if any), and the last good-bye.

    Raises:
        InputImpossible: there are no two.
    """
    serial = visits[0].started.record.serial
    with_values, now = [visit for visit in visits if visit.resistances()], _latest(visits)
    earlier = [visit for visit in with_values[: with_values.index(now)] if visit.judged]
    finals = [visit for visit in earlier if visit.purpose is Purpose.FINAL]
    if not earlier:
        raise InputImpossible(
            f"{serial} was measured once only: there is nothing to compare with.",
            'Measure it on a bench with purpose = "returned".',
        )
    return (finals or earlier)[-1], now


def _latest(visits: Sequence[Visit]) -> Visit:
    """The latest visit with values, as returned if there is one."""
    with_values = [visit for visit in visits if visit.resistances()]
    if not with_values:
        raise InputImpossible(f"{visits[0].started.record.serial} has no value on record.")
    return ([visit for visit in with_values if visit.purpose is Purpose.RETURNED] or with_values)[-1]


def _id(visit: Visit) -> str:
    return visit.result.id if visit.result else visit.started.id


# ---------------------------------------------------------------- pair by pair


def compared(then: Visit, now: Visit) -> tuple[tuple[Change, ...], tuple[str, ...], bool]:
    """Each step of two visits side by side, what only one of them has, and whether values were converted."""
    before, after = then.resistances(), now.resistances()
    changes, converted = [], False
    for step, late in after.items():
        if step not in before:
            continue
        early, moved = _at(before[step], late.record.reference_celsius)
        converted = converted or moved
        changes.append(_change(early, late))
    missing = tuple(step for step in [*before, *after] if (step in before) != (step in after))
    return tuple(changes), missing, converted


def _at(early: OnRecord[Verdict], reference_celsius: float) -> tuple[OnRecord[Verdict], bool]:
    """An earlier value at today's reference temperature; the sheet's may have been changed since."""
    verdict = early.record
    if verdict.reference_celsius == reference_celsius or verdict.reference_ohm is None:
        return early, False
    k = CONDUCTORS["copper"].k_celsius
    factor = (k + reference_celsius) / (k + verdict.reference_celsius)
    scaled = replace(
        verdict,
        reference_celsius=reference_celsius,
        reference_ohm=verdict.reference_ohm * factor,
        expanded_ohm=(verdict.expanded_ohm or 0.0) * factor,
        standard_uncertainty_ohm=(verdict.standard_uncertainty_ohm or 0.0) * factor,
    )
    return OnRecord(early.id, scaled), True


def _change(early: OnRecord[Verdict], late: OnRecord[Verdict]) -> Change:
    then, now = early.record, late.record
    change = expanded = if_common = None
    real: bool | None = None
    if then.reference_ohm and now.reference_ohm is not None:
        change = (now.reference_ohm - then.reference_ohm) / then.reference_ohm
    if change is not None and then.reference_ohm and then.expanded_ohm is not None:
        expanded = _expanded([*_terms(early), *_terms(late)], early, late) / abs(then.reference_ohm)
        if _same_scale(then, now):
            apart = [t for t in [*_terms(early), *_terms(late)] if t.name != ACCURACY]
            if_common = _expanded(apart, early, late) / abs(then.reference_ohm)
        real = abs(change) > expanded
    elif (then.reference_ohm is None) != (now.reference_ohm is None):
        real = True  # open where it conducted, or the other way round
    return Change(
        now.step, now.pin_a, now.pin_b, _side(early), _side(late), change, expanded, if_common, real
    )


def _terms(each: OnRecord[Verdict]) -> tuple[Term, ...]:
    return () if each.evidence is None else each.evidence.terms


def _expanded(terms: Sequence[Term], early: OnRecord[Verdict], late: OnRecord[Verdict]) -> float:
    """95 % half-width of the difference: from both budgets, or from both half-widths without them."""
    if early.evidence is not None and late.evidence is not None and terms:
        return combine(terms).expanded
    return math.hypot(early.record.expanded_ohm or 0.0, late.record.expanded_ohm or 0.0)


def _same_scale(then: Verdict, now: Verdict) -> bool:
    """The same meter by the same file on the same range: its errors may be the same ones."""
    return all(
        getattr(then, name) == getattr(now, name)
        for name in ("bench", "meter_id", "meter_hash", "quantity", "range_full_scale_ohm")
    )


def _side(each: OnRecord[Verdict]) -> Side:
    verdict = each.record
    return Side(
        each.id,
        verdict.utc_s,
        verdict.reference_ohm,
        verdict.expanded_ohm,
        verdict.outcome,
        verdict.meter_id,
        verdict.winding_celsius,
    )


# ---------------------------------------------------------------- all pairs together


def _ours(record: Record, then: Visit, now: Visit, steps: Sequence[str], prior: float) -> Ours:
    if not steps:
        return Ours(None, "no pair conducted at both visits", prior, 0, "")
    if any(then.resistances()[step].record.expanded_ohm is None for step in steps):
        return Ours(None, "the earlier values state no uncertainty", prior, 0, "")
    if then.started.record.sheet != now.started.record.sheet:
        return Ours(None, "it was measured by another sheet than when it left", prior, 0, "")
    sisters, batch = sisters_of(record, then, steps)
    if len(sisters) < FEWEST_SISTERS:
        others = counted(len(sisters), "other unit")
        why = f"the record has {others} of this type, and {FEWEST_SISTERS} are needed"
        return Ours(None, why, prior, len(sisters), batch)
    before, _, _ = compared(then, now)
    wanted = {change.step: change for change in before}
    early = [_reading(then.resistances()[step], wanted[step].then) for step in steps]
    late = [_reading(now.resistances()[step], wanted[step].now) for step in steps]
    return Ours(odds(early, late, sisters, prior), "", prior, len(sisters), batch)


def _reading(each: OnRecord[Verdict], side: Side) -> Reading:
    """A pair's value with its own uncertainty and that of the temperature, apart."""
    ohm = side.ohm or 0.0
    whole = (each.record.standard_uncertainty_ohm or 0.0) / abs(each.record.reference_ohm or ohm)
    common = sum(t.standard_uncertainty_ohm for t in _terms(each) if t.name == TEMPERATURE) / abs(ohm)
    common = min(common, whole)
    return Reading(ohm, math.sqrt(whole**2 - common**2), common)
