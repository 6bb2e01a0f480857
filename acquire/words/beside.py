"""Why a typed result is judged as it is, and what speaks against a bench by its check standard."""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping

from acquire.choices import Outcome
from acquire.quantity import percent, show
from acquire.records import CheckStandard, Limits, Sign, TypedResult, TypedWhy
from acquire.records.codes import RUN_LENGTH
from acquire.words.verdicts import decided

UNITS: Mapping[str, str] = {"ohm": "Ω"}
"""Units of typed values that are written otherwise for people."""


WHY: Mapping[TypedWhy, str] = {
    TypedWhy.SHORT: "a short: 0 Ω.",
    TypedWhy.NO_ACCURACY: "the instrument's accuracy was not stated; add it, such as accuracy 5 %.",
    TypedWhy.NO_LIMITS: "recorded; the sheet sets no limits for it.",
    TypedWhy.NO_PATTERN: "recorded, not judged: no sister coil or golden unit was named.",
}


def typed_reason(result: TypedResult) -> str:
    """Why a typed result has its outcome, or none."""
    match result.why:
        case TypedWhy.LIMITS:
            return _bound(result) if result.at_least else _limits(result)
        case TypedWhy.LOW_VOLTS:
            asked = "more is" if result.asked_volt is None else f"{result.asked_volt:g} V are"
            return f"measured at {result.test_volt or 0.0:g} V only, {asked} asked for."
        case TypedWhy.STATED:
            return result.words or "as stated."
        case TypedWhy.RECORDED:
            return f"{result.words or 'as typed'}; recorded, not judged."
        case why:
            return WHY[why]


def typed_answer(result: TypedResult) -> str:
    """What whoever typed it is told: the reason, and of one that could not be judged what that means.

    Such a result turns the pass of a unit into "cannot judge", which must not come as a surprise later.
    """
    why = typed_reason(result)
    if result.outcome is not Outcome.CANNOT_JUDGE:
        return why
    means = f"{result.serial} cannot pass until it is measured or typed again"
    return f"This could not be judged, so {means}: {why}"


def _bound(result: TypedResult) -> str:
    """An instrument that showed "more than" says no more than that."""
    surely = show((result.reference_si or 0.0) * (1.0 - (result.accuracy or 0.0)), "Ω", digits=3)
    at_least = show(result.lower_si or 0.0, "Ω", digits=3)
    if result.outcome is Outcome.PASS:
        return f"more than {surely}, of which {at_least} are asked for."
    return f"more than {surely} is all the instrument says; {at_least} are asked for. Use a higher range."


def _limits(result: TypedResult) -> str:
    value = result.value_si if result.reference_si is None else result.reference_si
    lower = result.lower_si
    off = ""
    if result.deviation is not None:
        off = f"{percent(result.deviation, '+')} from {result.pattern}: "
        lower = 0.0 if lower is None else lower  # values held against a pattern begin at zero
    return off + decided(
        result.outcome or Outcome.CANNOT_JUDGE,
        value or 0.0,
        result.expanded_si or 0.0,
        Limits(lower, result.upper_si),
        guard_band=result.guard_band_si or 0.0,
        unit=UNITS.get(result.unit, result.unit),
    )


def check_text(check: CheckStandard) -> str:
    """What speaks against a bench by its check standard; empty where nothing does."""
    return " ".join(f"Check standard {check.resistor} {SIGNS[sign](check)}" for sign in check.signs)


def _off_certificate(check: CheckStandard) -> str:
    off = check.reading_ohm - check.certificate_ohm
    allowed = math.hypot(check.expanded_ohm, check.certificate_expanded_ohm)
    return (
        f"reads {off:+.4g} Ω off its certificate; {allowed:.4g} Ω are allowed. "
        "Zero the leads, clean the probes and measure it again."
    )


def _jump(check: CheckStandard) -> str:
    limit = f"{check.moving_range_upper_ohm or 0.0:.4g} Ω are its limit."
    if check.before_ohm is None:
        return f"has jumped since it was last measured; {limit}"
    return (
        f"has jumped by {abs(check.reading_ohm - check.before_ohm):.4g} Ω since it was last measured; {limit}"
    )


def _run(check: CheckStandard) -> str:
    side = "above" if check.reading_ohm > (check.centre_ohm or 0.0) else "below"
    return f"has read {side} its mean {RUN_LENGTH} times in a row: something drifts."


def _trend(check: CheckStandard) -> str:
    slope = "drifts"
    if check.slope_ohm is not None:
        slope = f"drifts by {check.slope_ohm:+.3g} Ω a reading over the last {check.slope_points}"
    return f"{slope}: compare it with another resistor to see which of the two it is."


SIGNS: Mapping[Sign, Callable[[CheckStandard], str]] = {
    Sign.OFF_CERTIFICATE: _off_certificate,
    Sign.BEYOND_LIMITS: lambda check: (
        f"reads {check.reading_ohm:.6g} Ω, outside its own limits "
        f"{check.lower_ohm or 0.0:.6g} to {check.upper_ohm or 0.0:.6g} Ω."
    ),
    Sign.JUMP: _jump,
    Sign.RUN: _run,
    Sign.TREND: _trend,
}
"""What is said of each sign, behind the resistor's name."""
