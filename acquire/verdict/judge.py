"""One match -> the record of one verdict: limits, decision, and everything the record repeats from its bench.

Not for choosing the step (steps/) nor for explaining a unit (diagnose).
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace

from acquire.physics.common import shared_of
from acquire.physics.cooling import look
from acquire.physics.correct import TOUCH_TERMS
from acquire.records import (
    Basis,
    Circumstances,
    Corrected,
    Decision,
    Evidence,
    Limits,
    Match,
    Outcome,
    Pair,
    Scope,
    Sheet,
    Step,
    StepKind,
    Verdict,
)
from acquire.verdict.guard import decide_corrected


@dataclass(frozen=True, slots=True)
class AcceptanceCriteria:
    """What a value is held against.

    Attributes:
        step: that was asked for.
        limits: that apply, at the reference temperature.
        nominal_ohm: of the pair; infinite where the pair should be open.
    """

    step: Step
    limits: Limits
    nominal_ohm: float


def judge(
    match: Match, criteria: AcceptanceCriteria, serial: str, place: Circumstances
) -> tuple[Verdict, Evidence]:
    """Judge a matched value and write its record, as of a first attempt that no touch is known of.

    Args:
        match: the value and where it belongs.
        criteria: what it is held against.
        serial: of the unit.
        place: the bench.
    """
    decision, limits, scope = _decided(match.corrected, criteria, place.sheet)
    criteria = replace(criteria, limits=limits)
    blank = _unmeasured(criteria, serial, place, match.corrected.settled.utc_s)
    verdict = replace(
        _measured(blank, match, slow=criteria.step.slow),
        outcome=decision.outcome,
        guard_band_ohm=decision.guard_band_ohm,
        conformance_probability=decision.conformance_probability,
        scope=scope,
    )
    return verdict, _evidence(match)


def _decided(corrected: Corrected, asked: AcceptanceCriteria, sheet: Sheet) -> tuple[Decision, Limits, Scope]:
    """What the rule says: of the step's own limits, or of continuity where the meter cannot judge those."""
    decision = decide_corrected(corrected, asked.limits, sheet.rule, sheet.maximum_risk)
    if asked.step.kind is StepKind.CONTINUITY:
        return decision, asked.limits, Scope.CONTINUITY
    if decision.outcome is Outcome.CANNOT_JUDGE and asked.step.continuity_ohm is not None:
        limits = Limits(None, asked.step.continuity_ohm)
        other = decide_corrected(corrected, limits, sheet.rule, sheet.maximum_risk)
        if other.outcome is Outcome.PASS:
            return other, limits, Scope.CONTINUITY_ONLY
    return decision, asked.limits, Scope.TOLERANCE


def judge_repeat(match: Match, step: Step, serial: str, place: Circumstances) -> tuple[Verdict, Evidence]:
    """Write the record of the first pair measured again; whether it has moved, and so its outcome, is not in.

    Args:
        match: the value.
        step: the repetition.
        serial: of the unit.
        place: the bench.
    """
    unlimited = AcceptanceCriteria(step, Limits(None, None), math.inf)
    blank = _unmeasured(unlimited, serial, place, match.corrected.settled.utc_s)
    return replace(_measured(blank, match, slow=step.slow), basis=Basis.REPEATED), _evidence(match)


def judge_open(
    criteria: AcceptanceCriteria,
    serial: str,
    place: Circumstances,
    utc_s: float,
    *,
    basis: Basis = Basis.OPEN_BY_KEY,
    witness: tuple[Pair, ...] = (),
) -> tuple[Verdict, Evidence]:
    """Write the record of a pair that is open, with what bears witness that the probes were on it.

    An open circuit where a winding should be is a fail whatever the meter's accuracy; where the sheet asks
    for an open pair it is a pass.
    """
    should_conduct = math.isfinite(criteria.nominal_ohm)
    verdict = replace(
        _unmeasured(criteria, serial, place, utc_s),
        outcome=Outcome.FAIL if should_conduct else Outcome.PASS,
        conformance_probability=0.0 if should_conduct else None,
        basis=basis,
        witness=witness,
    )
    return verdict, Evidence(terms=(), trace=(), raw_hex="")


def _unmeasured(criteria: AcceptanceCriteria, serial: str, place: Circumstances, utc_s: float) -> Verdict:
    """Everything that is known without a value; whoever measured fills in the rest."""
    step, limits, nominal_ohm = criteria.step, criteria.limits, criteria.nominal_ohm
    return Verdict(
        bench=place.bench,
        serial=serial,
        sheet=place.sheet.name,
        sheet_hash=place.sheet.content_hash,
        purpose=place.purpose,
        step=step.name,
        pin_a=step.pair.a,
        pin_b=step.pair.b,
        outcome=Outcome.CANNOT_JUDGE,
        reference_celsius=place.sheet.reference_celsius,
        nominal_ohm=nominal_ohm if math.isfinite(nominal_ohm) else None,
        lower_ohm=limits.lower_ohm,
        upper_ohm=limits.upper_ohm,
        rule=place.sheet.rule,
        attempt=1,
        revision=0,
        utc_s=utc_s,
        settle_s=0.0,
        quantity=step.quantity,
        meter_id=place.meter_id,
        meter_model=place.meter_model,
        meter_hash=place.meter_hash,
        bench_hash=place.bench_hash,
        operator=place.operator,
        batch=place.batch,
        software=place.software,
    )


def _measured(blank: Verdict, match: Match, *, slow: bool) -> Verdict:
    """Fill in what was measured."""
    corrected = match.corrected
    settled = corrected.settled
    drift = look(
        "",
        settled.monotonic_s,
        corrected.resistance_ohm,
        0.0,
        settled.trace,
        count_ohm=settled.resolution_si or 0.0,
        contact_ohm=corrected.part_ohm(frozenset({"contact"})),
        settling_ohm=corrected.part_ohm(frozenset({"leftover drift"})),
    )
    told = math.isfinite(drift.u_rate_per_s) and not slow  # current that builds up slowly is no drift
    return replace(
        blank,
        raw_ohm=corrected.raw_ohm,
        lead_ohm=corrected.lead_ohm,
        winding_celsius=corrected.winding_celsius,
        reference_ohm=corrected.reference_ohm,
        standard_uncertainty_ohm=corrected.standard_uncertainty_ohm,
        touch_u_ohm=corrected.part_ohm(TOUCH_TERMS),
        shared=shared_of(corrected.terms),
        expanded_ohm=corrected.expanded_ohm,
        coverage_factor=corrected.coverage_factor,
        settle_s=settled.monotonic_s - settled.contact_s,
        conversions=settled.conversions,
        quantity=settled.quantity,
        range_full_scale_ohm=settled.range_full_scale_si,
        resolution_ohm=settled.resolution_si,
        fit=match.fit,
        reads_like=match.reads_like,
        reads_through=match.reads_through,
        against=corrected.against,
        off_ohm=corrected.off_ohm,
        together=match.together,
        rate_per_s=drift.rate_per_s if told else None,
        u_rate_per_s=drift.u_rate_per_s if told else None,
    )


def _evidence(match: Match) -> Evidence:
    settled = match.corrected.settled
    terms, raw = match.corrected.terms, settled.raw.hex(" ")
    return Evidence(terms, settled.trace, raw, learned=settled.learned, in_doubt=settled.in_doubt)
