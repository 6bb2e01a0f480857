"""A unit that comes back: what each pair read then and reads now, whether that is a change, and is it ours?

Both readings stand at one reference temperature with their uncertainties. Each pair has one finding, from
which every sentence and table is made. Not for the odds themselves (same_unit) nor for the page
(returned_document).
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace
from enum import StrEnum
from operator import attrgetter

import msgspec

from acquire.choices import FAILING
from acquire.errors import InputImpossible
from acquire.journal.query import Query, Record
from acquire.physics.budget import combine
from acquire.physics.common import combination
from acquire.physics.copper import CONDUCTORS
from acquire.quantity import counted
from acquire.records import (
    Basis,
    Hypothesis,
    ImportedResult,
    Outcome,
    Purpose,
    Term,
    UnitResult,
    UnitStarted,
)
from acquire.reports.same_unit import FEWEST_SISTERS, Odds, VisitReading, odds
from acquire.reports.visits import OnRecord, Value, Visit, record_of, visits_on
from acquire.unit_result import worst

ACCURACY = "meter accuracy"
TEMPERATURE = "winding temperature"
"""Terms of a verdict's budget, by name (physics.correct)."""

PRIOR = 0.5
"""Probability beforehand, where nobody says otherwise: as likely ours as not."""

ENOUGH_IN_BATCH = 12
"""Other units of the same batch that are preferred to more of any batch; workshop choice."""

MOST_SISTERS = 400
"""Units that the spread is taken from: more tell no more."""

SAME_SCALE = attrgetter("bench", "meter_id", "meter_hash", "quantity", "range_full_scale_ohm")
"""What two values share where a meter's own error may be the same at both."""


class PairFinding(StrEnum):
    """What became of one pair.

    CHANGED: by more than both uncertainties can explain. PERHAPS: by less, but by more than they leave if the
    meter's own error was the same at both visits. AS_BEFORE: no change is proven. OPENED: it conducted, and
    is open now. CLOSED: the other way round. UNTOLD: the earlier value states no uncertainty.
    """

    CHANGED = "changed"
    PERHAPS = "perhaps"
    AS_BEFORE = "as_before"
    OPENED = "opened"
    CLOSED = "closed"
    UNTOLD = "untold"


REAL = frozenset({PairFinding.CHANGED, PairFinding.OPENED, PairFinding.CLOSED})


@dataclass(frozen=True, slots=True)
class PairChange:
    """One pair, then and now.

    Attributes:
        then, now: both at the common reference temperature.
        finding: the one classification.
        change_ohm: now - then; None where one of them is open.
        expanded_ohm: of that, 95 %, both visits counted as independent; None where unknown.
        fraction, expanded_fraction: the same as shares of the earlier value; None where they mean nothing, as
            it is near zero or the interval wider than the whole.
    """

    then: Value
    now: Value
    finding: PairFinding
    change_ohm: float | None
    expanded_ohm: float | None
    fraction: float | None
    expanded_fraction: float | None

    @property
    def step(self) -> str:
        """Name of the step."""
        return self.now.step

    @property
    def pins(self) -> str:
        """Both pins, as "1–2"."""
        return f"{self.now.pin_a}–{self.now.pin_b}"


@dataclass(frozen=True, slots=True)
class Ours:
    """Is it the unit that left?

    Attributes:
        odds: None where too little is on record; `why_not` says what is missing then.
        prior: odds beforehand that they start from.
        sisters: other units that the spread was taken from; of_batch: all of the same batch.
        pairs: names of the steps that were weighed.
    """

    odds: Odds | None
    why_not: str
    prior: float
    sisters: int = 0
    of_batch: str = ""
    pairs: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class Returned:
    """Then and now: the two visits.

    Attributes:
        reference_celsius: that all resistances stand at.
        changes: pair by pair, in the order of today's touches; missing: steps measured at one visit only.
        hypotheses: what explains today's readings; empty for a unit that passed.
        converted: the earlier values were brought to another reference temperature, taken as copper.
        from_paper: the earlier values are of an imported paper record.
    """

    serial: str
    sheet: str
    same_sheet: bool
    batch: str
    then: Visit
    now: Visit
    reference_celsius: float
    changes: tuple[PairChange, ...]
    missing: tuple[str, ...]
    hypotheses: tuple[Hypothesis, ...]
    converted: bool
    ours: Ours
    from_paper: bool = False

    def of(self, *kinds: PairFinding) -> list[PairChange]:
        """Pairs with one of these findings."""
        return [change for change in self.changes if change.finding in kinds]


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
    then, now = (paper_visit(record, serial), _latest(visits)) if from_paper else _chosen(visits)
    before, after = then.resistances(), now.resistances()
    celsius = next((value.reference_celsius for value in after.values()), 20.0)
    early = {step: _at(value, celsius) for step, value in before.items()}
    steps = [step for step in after if step in early]
    return Returned(
        serial=serial,
        sheet=now.started.sheet,
        same_sheet=now.started.sheet == then.started.sheet,
        batch=then.started.batch,
        then=then,
        now=now,
        reference_celsius=celsius,
        changes=tuple(_change(early[step], after[step]) for step in steps),
        missing=tuple(step for step in {**before, **after} if (step in before) != (step in after)),
        hypotheses=now.hypotheses,
        converted=any(early[step] is not before[step] for step in steps),
        ours=_ours(record, then, [(early[step], after[step]) for step in steps], prior, now.started.sheet),
        from_paper=from_paper,
    )


def _chosen(visits: Sequence[Visit]) -> tuple[Visit, Visit]:
    """The two visits to compare: the latest with values (one as returned, if any), and the last good-bye."""
    now = _latest(visits)
    earlier = [v for v in visits[: visits.index(now)] if v.resistances() and v.outcome is not None]
    if not earlier:
        raise InputImpossible(
            f"{now.started.serial} was measured once only: there is nothing to compare with.",
            'Measure it on a bench with purpose = "returned".',
        )
    return ([visit for visit in earlier if visit.purpose is Purpose.FINAL] or earlier)[-1], now


def _latest(visits: Sequence[Visit]) -> Visit:
    with_values = [visit for visit in visits if visit.resistances()]
    if not with_values:
        raise InputImpossible(f"{visits[0].started.serial} has no value on record.")
    return ([visit for visit in with_values if visit.purpose is Purpose.RETURNED] or with_values)[-1]


# ---------------------------------------------------------------- on paper


def paper_visit(record: Record, serial: str) -> Visit:
    """The latest day of a unit's imported paper record as if it were a visit; only on request.

    What the paper does not say (readings, leads, budget) stays empty.

    Raises:
        InputImpossible: no paper of the unit was imported, or none of it states a temperature.
        JournalUnusable: the record cannot be read.
    """
    found = record.find(Query(serial=serial, kinds=("imported_result",)))
    values = [OnRecord(entry.id, record_of(entry, ImportedResult)) for entry in found]
    if not values:
        raise InputImpossible(f"No paper record of {serial} was imported.", "steadyohm import takes them.")
    values = [
        each for each in values if each.record.reference_ohm is not None or each.record.value_ohm is None
    ]
    if not values:
        what = f"The paper record of {serial} states no temperature, so its values cannot be compared."
        raise InputImpossible(what)
    last_s = max(each.record.measured_utc_s for each in values)
    of_the_day = [each for each in values if last_s - each.record.measured_utc_s < 86_400.0]
    id_, p = of_the_day[0]
    started = UnitStarted(
        p.bench, serial, p.sheet, p.sheet_hash, p.purpose, p.batch, p.operator, p.measured_utc_s
    )
    outcome = worst(each.record.outcome for each in of_the_day)
    result = UnitResult(
        p.bench, serial, p.sheet, p.sheet_hash, p.purpose, p.batch, p.operator, outcome, None, 0,
        len(of_the_day), (), None, p.measured_utc_s, p.measured_utc_s, measured=outcome,
    )  # fmt: skip
    read = [_paper_value(each) for each in of_the_day]
    return Visit(id_, started, read, results=[OnRecord(id_, result)], result=result)


def _paper_value(of: OnRecord[ImportedResult]) -> Value:
    p = of.record
    factor = 1.0 if not p.value_ohm or p.reference_ohm is None else p.reference_ohm / p.value_ohm
    expanded = None if p.expanded_ohm is None else p.expanded_ohm * factor
    return Value(
        utc_s=p.measured_utc_s, serial=p.serial, step=p.step, pin_a=p.pin_a, pin_b=p.pin_b, counts=True,
        outcome=p.outcome or Outcome.CANNOT_JUDGE, reference_celsius=p.reference_celsius,
        meter_id=p.instrument or "paper", basis=Basis.MEASURED,
        operator=p.operator, bench=p.bench,
        reference_ohm=p.reference_ohm, expanded_ohm=expanded, winding_celsius=p.celsius, id=of.id,
        standard_uncertainty_ohm=None if expanded is None else expanded / 2.0,
    )  # fmt: skip


# ---------------------------------------------------------------- pair by pair


def _at(value: Value, celsius: float) -> Value:
    """An earlier value at today's reference temperature; the sheet's may have been changed since."""
    if value.reference_celsius == celsius or value.reference_ohm is None:
        return value
    k = CONDUCTORS["copper"].k_celsius
    factor = (k + celsius) / (k + value.reference_celsius)
    return msgspec.structs.replace(
        value,
        reference_celsius=celsius,
        reference_ohm=value.reference_ohm * factor,
        expanded_ohm=(value.expanded_ohm or 0.0) * factor,
        standard_uncertainty_ohm=(value.standard_uncertainty_ohm or 0.0) * factor,
    )


def _change(then: Value, now: Value) -> PairChange:
    if then.reference_ohm is None or now.reference_ohm is None:
        finding = PairFinding.CLOSED if then.reference_ohm is None else PairFinding.OPENED
        finding = PairFinding.AS_BEFORE if then.reference_ohm is now.reference_ohm else finding
        return PairChange(then, now, finding, None, None, None, None)
    change_ohm = now.reference_ohm - then.reference_ohm
    expanded_ohm = None if then.expanded_ohm is None else _expanded(then, now)
    whole, meaningful = abs(then.reference_ohm), abs(then.reference_ohm) > (then.expanded_ohm or 0.0)
    finding = PairFinding.UNTOLD
    if expanded_ohm is not None:
        meaningful = meaningful and expanded_ohm <= whole
        finding = PairFinding.AS_BEFORE
        if abs(change_ohm) > expanded_ohm:
            finding = PairFinding.CHANGED
        elif _same_scale(then, now) and abs(change_ohm) > _expanded(then, now, one_scale=True):
            finding = PairFinding.PERHAPS
    if not meaningful:
        return PairChange(then, now, finding, change_ohm, expanded_ohm, None, None)
    share = None if expanded_ohm is None else expanded_ohm / whole
    return PairChange(then, now, finding, change_ohm, expanded_ohm, change_ohm / then.reference_ohm, share)


def _terms(value: Value) -> tuple[Term, ...]:
    return () if value.evidence is None else value.evidence.terms


def _same_scale(then: Value, now: Value) -> bool:
    """The same meter by the same file on the same range, with both budgets at hand."""
    budgets = bool(_terms(then) and _terms(now))
    return budgets and SAME_SCALE(then.verdict) == SAME_SCALE(now.verdict)


def _expanded(then: Value, now: Value, *, one_scale: bool = False) -> float:
    """95 % half-width of the difference: from both budgets, or from both half-widths without them.

    Args:
        then: at the earlier visit.
        now: at this one.
        one_scale: the meter's own error was the same at both, so that what they share of it cancels.
    """
    if not (_terms(then) and _terms(now)):
        return math.hypot(then.expanded_ohm or 0.0, now.expanded_ohm or 0.0)
    visits = ((1.0, now), (-1.0, then))
    parts = [(sign, [_between(term, one_scale=one_scale) for term in _terms(v)]) for sign, v in visits]
    return combine(combination(parts)).expanded


def _between(term: Term, *, one_scale: bool) -> Term:
    """A term with what two visits share of it: at most the meter's own error; all else was set up anew."""
    if not one_scale or term.name != ACCURACY:
        return replace(term, shared=())
    return replace(term, shared=term.shared or ((ACCURACY, term.standard_uncertainty_ohm),))


# ---------------------------------------------------------------- all pairs together


def _ours(record: Record, then: Visit, pairs: list[tuple[Value, Value]], prior: float, sheet: str) -> Ours:
    """The odds, from pairs that read above zero beyond their uncertainty, here and on all other units."""
    sound = {early.step: (early, late) for early, late in pairs if _above_zero(early) and _above_zero(late)}
    if not sound:
        return Ours(None, "no pair conducted at both visits", prior)
    if any(early.expanded_ohm is None for early, _ in sound.values()):
        return Ours(None, "the earlier values state no uncertainty", prior)
    if then.started.sheet != sheet:
        return Ours(None, "it was measured by another sheet than when it left", prior)
    units, batch = _sisters(record, then, list(sound))
    steps = [step for step in sound if all(unit[step] > 0.0 for unit in units)]
    if len(units) < FEWEST_SISTERS or not steps:
        others = counted(len(units), "other unit")
        why = f"the record has {others} of this type, and {FEWEST_SISTERS} are needed"
        return Ours(None, why, prior, len(units), batch)
    early, late = ([_reading(sound[step][side]) for step in steps] for side in (0, 1))
    found = odds(early, late, [[unit[step] for step in steps] for unit in units], prior)
    return Ours(found, "", prior, len(units), batch, tuple(steps))


def _above_zero(value: Value) -> bool:
    return value.reference_ohm is not None and value.reference_ohm > (value.expanded_ohm or 0.0)


def _reading(value: Value) -> VisitReading:
    """A pair's value with its own uncertainty and that of the temperature, apart."""
    ohm = value.reference_ohm or 0.0
    whole = (value.standard_uncertainty_ohm or 0.0) / ohm
    common = sum(t.standard_uncertainty_ohm for t in _terms(value) if t.name == TEMPERATURE) / ohm
    common = min(common, whole)
    return VisitReading(ohm, math.sqrt(whole**2 - common**2), common)


def _sisters(record: Record, then: Visit, steps: list[str]) -> tuple[list[dict[str, float]], str]:
    """What other good units of the type read when they left: of the batch (named) if it has enough."""
    started = then.started
    celsius = then.resistances()[steps[0]].reference_celsius
    if started.batch:
        of_batch = Query(kinds=("verdict",), sheet=started.sheet, batch=started.batch)
        units = _units(record, of_batch, started.serial, steps, celsius)
        if len(units) >= ENOUGH_IN_BATCH:
            return units, started.batch
    latest = Query(kinds=("verdict",), sheet=started.sheet, limit=MOST_SISTERS * 3 * len(steps))
    return _units(record, latest, started.serial, steps, celsius), ""


def _units(
    record: Record, query: Query, own: str, steps: list[str], celsius: float
) -> list[dict[str, float]]:
    names = ("serial", "step", "purpose", "counts", "outcome", "reference_ohm", "reference_celsius")
    units: dict[str, dict[str, float]] = {}
    for serial, step, purpose, counts, outcome, ohm, at_celsius in record.values(query, names):
        fits = counts and purpose == Purpose.FINAL and step in steps and at_celsius == celsius
        if fits and serial != own and outcome not in FAILING and ohm is not None:
            units.setdefault(serial, {})[step] = ohm
    return [unit for unit in units.values() if len(unit) == len(steps)][-MOST_SISTERS:]
