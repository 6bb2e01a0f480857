"""How outcomes are called, why a step has its verdict, what a value reads like, what winding rules say."""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence

from acquire.choices import Outcome
from acquire.quantity import percent, show
from acquire.records import (
    BalanceFound,
    BalanceKind,
    Basis,
    Batch,
    BatchEvent,
    Finding,
    Fit,
    Limits,
    Pair,
    Scope,
    Verdict,
)
from acquire.records.bench import ClosureFound
from acquire.records.codes import ClosureKind
from acquire.words.faults import batch_doubt, compared
from acquire.words.saying import at_most, capital, joined, ohm_text

OUTCOME_WORDS = {
    Outcome.PASS: "pass",
    Outcome.CONDITIONAL_PASS: "pass, near a limit",
    Outcome.CONDITIONAL_FAIL: "fail, near a limit",
    Outcome.FAIL: "FAIL",
    Outcome.CANNOT_JUDGE: "cannot judge",
}
"""Outcomes as people read them, the same on the display and from the record."""


def verdict_word(verdict: Verdict) -> str:
    """The word of a verdict; of a continuity it says that it is no more."""
    if verdict.outcome is not Outcome.PASS or verdict.scope is Scope.TOLERANCE:
        return OUTCOME_WORDS[verdict.outcome]
    only = verdict.scope is Scope.CONTINUITY_ONLY
    return "continuous; tolerance not judged" if only else "continuous"


NOT_YET = "not passed yet"
"""A value that did not pass, and counts only if it comes again."""


def deed_words(batch: Batch) -> str:
    """What there is to say of a deed on a batch: the operator's words, or what the record shows of it."""
    if batch.remark:
        return batch.remark
    match batch.deed:
        case BatchEvent.SPOOL_CHANGED:
            spools = dict.fromkeys(each.spool for each in batch.changed)
            return f"{', '.join(spools)} for {', '.join(each.winding for each in batch.changed)}"
        case BatchEvent.FIRST_UNIT:
            calm = f"{batch.first_serial} is as predicted. {compared(batch.compared)}"
            return batch_doubt(batch) or calm
        case BatchEvent.MADE_WAY:
            return "another batch took its place"
        case BatchEvent.PAUSED if batch.first_doubt:
            return f"the first unit, {batch.first_serial}, was not accepted"
        case _:
            return ""


def reason(verdict: Verdict) -> str:
    """Why a verdict is what it is, with the numbers that decided."""
    match verdict.basis:
        case Basis.MEASURED:
            return f"{_measured(verdict)}{_against(verdict)}"
        case Basis.TYPED:
            return f"{_measured(verdict)}{_against(verdict)} Typed from the display."
        case Basis.REPEATED:
            return _repeated(verdict)
        case Basis.PAPER:
            return "from paper"
        case Basis.OPEN_BY_KEY:
            witness = "with the probes confirmed to be on the pins"
        case Basis.OPEN_BY_CLIP:
            witness = "with the clips confirmed to be on the pins"
        case Basis.OPEN_BRACKETED:
            witness = "between touches of two known continuities"
        case Basis.OPEN_PROVEN:
            witness = f"with both clips proven: {'; '.join(map(_proof, verdict.witness))}"
    found = "open as it should be" if verdict.nominal_ohm is None else "open circuit"
    return f"{found}, {witness}"


def _against(verdict: Verdict) -> str:
    """By what method a value was found, where not by the meter's own accuracy."""
    if not verdict.against:
        return ""
    off = show(verdict.off_ohm, "Ω", digits=3)
    return f" Compared with {verdict.against} on the same range, where the meter reads {off} too much."


def _measured(verdict: Verdict) -> str:
    if verdict.reference_ohm is None:
        return ""
    limits = Limits(verdict.lower_ohm, verdict.upper_ohm)
    if verdict.scope is not Scope.TOLERANCE and verdict.outcome is Outcome.PASS:
        only = "; tolerance not judged" if verdict.scope is Scope.CONTINUITY_ONLY else ""
        known = f"U = {ohm_text(verdict.expanded_ohm or 0.0, 2)}, limit {ohm_text(verdict.upper_ohm or 0.0)}"
        return f"continuous, at most {at_most(verdict.at_most_ohm or 0.0)}{only} ({known})."
    return decided(
        verdict.outcome,
        verdict.reference_ohm,
        verdict.expanded_ohm or 0.0,
        limits,
        guard_band=verdict.guard_band_ohm,
    )


def _repeated(verdict: Verdict) -> str:
    if verdict.moved is None:
        return "the first value and its repetition are inconsistent: one of them is asked for again"
    return (
        f"moved by {100.0 * verdict.moved:+.2f} % during the test, "
        f"{100.0 * (verdict.moved_allowed or 0.0):.2f} % allowed"
    )


def _proof(pair: Pair) -> str:
    """How a pin is known to have contact; see `Verdict.witness`."""
    if not pair.b:
        return f"{pair.a} confirmed by key"
    return f"{pair.a} by its two contacts" if pair.a == pair.b else f"{pair.a} conducts to {pair.b}"


def decided(
    outcome: Outcome, value: float, expanded: float, limits: Limits, *, guard_band: float, unit: str = "Ω"
) -> str:
    """A value held against limits by a decision rule; all numbers in one unit.

    Args:
        outcome: that came of it.
        value: that was judged.
        expanded: half-width of its 95 % interval.
        limits: one at least.
        guard_band: taken off each limit.
        unit: as it is written.
    """

    def shown(number: float) -> str:
        return show(number, unit, expanded or None, digits=6).rstrip()

    if outcome is Outcome.CANNOT_JUDGE:
        if expanded > limits.tolerance_ohm:
            return (
                f"U = {shown(expanded)} exceeds the tolerance of {shown(limits.tolerance_ohm)}: "
                "this meter, wired like this, cannot judge it."
            )
        return f"With U = {shown(expanded)} even a perfect value carries more than the stated risk."
    below = math.inf if limits.upper_ohm is None else limits.upper_ohm - value
    above = math.inf if limits.lower_ohm is None else value - limits.lower_ohm
    name, limit, inside = (
        ("upper", limits.upper_ohm, below) if below <= above else ("lower", limits.lower_ohm, above)
    )
    side = "below" if (name == "upper") is (inside >= 0.0) else "above"
    band = f", guard band {shown(guard_band)}" if guard_band else ""
    return (
        f"{shown(value)} is {shown(abs(inside))} {side} the {name} limit of {shown(limit or 0.0)}; "
        f"U = {shown(expanded)}{band}."
    )


def hint(verdict: Verdict) -> str:
    """What a value reads like, where it is not as expected; what counts asks for no touch. Else empty."""
    asked, ohm = Pair(verdict.pin_a, verdict.pin_b), verdict.reference_ohm or 0.0
    match verdict.fit:
        case Fit.OTHER_PAIR if verdict.reads_like[:1] == (asked,):
            return f"Taken for {asked}{_through(verdict.reads_through)}."
        case Fit.OTHER_PAIR | Fit.AMBIGUOUS:
            like, do = _like(verdict.fit, ohm, asked, verdict.reads_like, verdict.reads_through)
        case Fit.FAULT if verdict.together:
            like, do = "That reads like the probes touching each other", f"touch {asked}, apart"
        case Fit.FAULT:
            like, do = f"{ohm_text(ohm)} matches no pair of a good unit", f"touch {asked} once more"
        case _:
            return ""
    return f"{like}." if verdict.counts else f"{like}: {do}."


def reads_like(fit: Fit, ohm: float, asked: object, pairs: Iterable[object], through: Sequence[str]) -> str:
    """That a value reads like another pair, surely or perhaps, and what to do."""
    return "{}: {}.".format(*_like(fit, ohm, asked, pairs, through))


def _like(
    fit: Fit, ohm: float, asked: object, pairs: Iterable[object], through: Sequence[str]
) -> tuple[str, str]:
    like = f"{joined(pairs, 'or')}{_through(through)}"
    if fit is Fit.OTHER_PAIR:
        return f"That reads like {like}", f"move to {asked}"
    sure = f"make sure that the probes are on {asked} and touch again"
    return f"{ohm_text(ohm)} may be a bad {asked} or {like}", sure


def _through(windings: Sequence[str]) -> str:
    return f" ({joined(windings)})" if windings else ""


COLD_QUESTION = (
    "The readings do not show the unit's temperature well enough: measure it again after it has lain for 2 h."
)


def closure_name(found: ClosureFound) -> str:
    """Of what a closed relation shows."""
    return f"joint at pin {found.where}" if found.kind is ClosureKind.JOINT else found.where


def closure(found: ClosureFound) -> str:
    """What a closed relation of the circuit says: "joint at pin 2: 2.02 Ω ± 0.04 Ω, limit 0.3 Ω"."""
    limits = (found.lower_ohm, found.upper_ohm)
    shown = " to ".join(ohm_text(limit) for limit in limits if limit is not None)
    text = f"{closure_name(found)}: {ohm_text(found.ohm)} ± {ohm_text(found.expanded_ohm, 2)}, limit {shown}"
    if found.contradicts:
        return f"{text}: negative, so one of {joined(found.pairs)} was taken on another pair."
    return f"{text}."


def balance(rule: BalanceFound) -> str:
    """What a rule over windings that must be alike has found."""
    known = f"U = {percent(rule.expanded_deviation)}, limit {100.0 * rule.limit:.6g} %."
    if rule.kind is BalanceKind.APART:
        return f"{joined(rule.windings)} of {rule.name} differ by {percent(rule.deviation)}, {known}"
    worst = rule.ohm[rule.windings.index(rule.worst)]
    side = "above" if worst > sum(rule.ohm) / len(rule.ohm) else "below"
    return f"{rule.worst} is {percent(rule.deviation)} {side} the mean of {rule.name}, {known}"


def step_at_end(found: Finding) -> str:
    """Why a step decides over its unit: how near its limit it lies, or what keeps it from being judged."""
    if found.outcome is None:
        return f"{capital(found.name)} was skipped."
    if found.ohm is None or found.expanded_ohm is None:
        return f"{capital(found.name)}: {OUTCOME_WORDS[found.outcome]}."
    u = f"U = {ohm_text(found.expanded_ohm, 2)} with the unit's temperature"
    if found.outcome is Outcome.CANNOT_JUDGE:
        return f"{capital(found.name)} cannot be judged: {u}, tolerance {ohm_text(found.ohm, 2)}."
    side = "within" if found.ohm >= 0.0 else "beyond"
    return f"{capital(found.name)} lies {ohm_text(abs(found.ohm), 2)} {side} its limit; {u}."


def contradiction(finding: Finding) -> str:
    """The reading that is least consistent with the others of its unit."""
    if finding.ohm is None or finding.predicted_ohm is None or finding.u_ohm is None:
        return f"{finding.pair} is inconsistent with the other readings: was each pair the one asked for?"
    predicted = f"{ohm_text(finding.predicted_ohm)} ± {ohm_text(2.0 * finding.u_ohm, 2)}"
    return (
        f"{finding.pair} reads {ohm_text(finding.ohm)}, but the other readings predict {predicted}: "
        "was each pair the one asked for?"
    )


def range_in_words(full_scale_ohm: float, *, four_wire: bool) -> str:
    """A range by its trade name: "200 Ω range", "20 kΩ range, 4-wire"."""
    sizes = ((1e6, "MΩ"), (1e3, "kΩ"), (0.0, "Ω"))
    size, unit = next(each for each in sizes if full_scale_ohm >= each[0])
    return f"{full_scale_ohm / (size or 1.0):g} {unit} range{', 4-wire' if four_wire else ''}"


def remedy(
    *,
    range_full_scale_ohm: float | None,
    four_wire: bool,
    zeroed_leads: bool,
    thermometer: bool,
    resistor_ohm: float | None,
) -> str:
    """What would have to change for a step to be judged, from an `acquire.verdict.fitness.Remedy`."""
    with_it = ["zeroed leads"] * zeroed_leads + ["a thermometer at the unit"] * thermometer
    if range_full_scale_ohm is not None:
        other = f"the {range_in_words(range_full_scale_ohm, four_wire=four_wire)}"
        return (", with " if four_wire else " with ").join([other, *with_it])
    if resistor_ohm is not None:
        size = show(float(f"{resistor_ohm:.2g}"), "Ω", digits=2)
        return ", and ".join([f"a known resistor of about {size}, 0.1 %, as [[reference]]", *with_it])
    return joined(with_it)
