"""Values from an earlier paper record as if they were a visit, for a returned unit; only on request.

They are no verdicts and go nowhere else: what the paper does not say (readings, leads, budget) stays empty.
"""

from __future__ import annotations

from acquire.errors import InputImpossible
from acquire.journal.question import Question, Record
from acquire.records import Basis, ImportedResult, Outcome, Rule, UnitResult, UnitStarted, Verdict
from acquire.reports.visits import OnRecord, Visit, record_of
from acquire.unit_result import worst
from drivers.reading import Quantity


def paper_visit(record: Record, serial: str) -> Visit:
    """The latest day of a unit's paper record.

    Args:
        record: of the shop.
        serial: of the unit.

    Raises:
        InputImpossible: no paper of the unit was imported, or none of it states a temperature.
        JournalUnusable: the record cannot be read.
    """
    found = [(e.id, record_of(e)) for e in record.find(Question(serial=serial, kinds=("imported_result",)))]
    values = [(entry_id, each) for entry_id, each in found if isinstance(each, ImportedResult)]
    if not values:
        raise InputImpossible(f"No paper record of {serial} was imported.", "steadyohm import takes them.")
    values = [(i, each) for i, each in values if each.reference_ohm is not None or each.value_ohm is None]
    if not values:
        raise InputImpossible(
            f"The paper record of {serial} states no temperature, so its values cannot be compared."
        )
    last_s = max(each.measured_utc_s for _, each in values)
    of_the_day = [(i, each) for i, each in values if last_s - each.measured_utc_s < 86_400.0]
    entry_id, first = of_the_day[0]
    started = UnitStarted(
        first.bench,
        serial,
        first.sheet,
        first.sheet_hash,
        first.purpose,
        first.batch,
        first.operator,
        first.measured_utc_s,
    )
    visit = Visit(OnRecord(entry_id, started))
    visit.verdicts = [OnRecord(i, _as_verdict(each)) for i, each in of_the_day]
    visit.result = OnRecord(entry_id, _as_result(first, [each for _, each in of_the_day]))
    return visit


def _as_verdict(each: ImportedResult) -> Verdict:
    factor = 1.0 if not each.value_ohm or each.reference_ohm is None else each.reference_ohm / each.value_ohm
    expanded = None if each.expanded_ohm is None else each.expanded_ohm * factor
    return Verdict(
        bench=each.bench,
        serial=each.serial,
        sheet=each.sheet,
        sheet_hash=each.sheet_hash,
        purpose=each.purpose,
        step=each.step,
        pin_a=each.pin_a,
        pin_b=each.pin_b,
        outcome=each.outcome or Outcome.CANNOT_JUDGE,
        raw_ohm=each.value_ohm,
        lead_ohm=0.0,
        winding_celsius=each.celsius,
        reference_celsius=each.reference_celsius,
        reference_ohm=each.reference_ohm,
        nominal_ohm=None,
        lower_ohm=None,
        upper_ohm=None,
        standard_uncertainty_ohm=None if expanded is None else expanded / 2.0,
        expanded_ohm=expanded,
        coverage_factor=None if expanded is None else 2.0,
        guard_band_ohm=0.0,
        conformity=None,
        rule=Rule.SIMPLE,
        attempt=1,
        revision=0,
        counts=True,
        utc_s=each.measured_utc_s,
        settle_s=0.0,
        conversions=0,
        quantity=Quantity.RESISTANCE,
        range_full_scale_ohm=None,
        resolution_ohm=None,
        meter_id=each.instrument or "paper",
        meter_model="",
        meter_hash="",
        bench_hash="",
        operator=each.operator,
        batch=each.batch,
        software=each.software,
        basis=Basis.PAPER,
    )


def _as_result(first: ImportedResult, values: list[ImportedResult]) -> UnitResult:
    outcome = worst(each.outcome for each in values)
    return UnitResult(
        bench=first.bench,
        serial=first.serial,
        sheet=first.sheet,
        sheet_hash=first.sheet_hash,
        purpose=first.purpose,
        batch=first.batch,
        operator=first.operator,
        outcome=outcome,
        wait_s=None,
        steps_passed=0,
        steps_total=len(values),
        hypotheses=(),
        next_pair=None,
        started_utc_s=first.measured_utc_s,
        utc_s=first.measured_utc_s,
        measured=outcome,
    )
