"""The instruments on a certificate: what measured, how accurate it is said to be, how it was last proved."""

from __future__ import annotations

from collections.abc import Iterator
from datetime import UTC, date, datetime

from acquire.quantity import show
from acquire.reports.certificate_facts import Calibration, CertificateFacts, Check, Step
from acquire.reports.paper import Cell, with_uncertainty


def instrument_rows(facts: CertificateFacts) -> Iterator[tuple[Cell, ...]]:
    """One row for each meter with its accuracy file, one for each source of temperature."""
    measured = facts.measured
    known = {each.meter_hash: each for each in facts.given.calibrations}
    meters: dict[tuple[str, str, str], Step] = {}
    for step in measured.steps:
        meters.setdefault((step.meter_id, step.meter_model, step.meter_hash), step)
    for (meter_id, model, digest), step in meters.items():
        calibration = known.get(digest)
        about = f" ({calibration.about})" if calibration and calibration.about else ""
        yield (
            f"{meter_id}{about}",
            f"meter file {model}, SHA-256 {digest[:16]}…",
            _calibration(calibration, step.utc_s),
            _check(next((check for check in measured.checks if check.meter_id == meter_id), None)),
        )
    for source in dict.fromkeys(step.temperature_source for step in measured.steps):
        if source:
            yield f"temperature: {source}", "limits of error in the bench file", "not on record", "–"


def _calibration(calibration: Calibration | None, used_utc_s: float) -> str:
    if calibration is None:
        return "not known: the meter file that was used was not at hand when this was issued"
    if not calibration.due:
        return "none stated in the meter file"
    number = f", certificate {calibration.certificate}" if calibration.certificate else ""
    try:
        used = datetime.fromtimestamp(used_utc_s, UTC).date()
    except (ValueError, OverflowError, OSError):
        return f"due {calibration.due}{number}"
    state = "OVERDUE when used" if used >= date.fromisoformat(calibration.due) else "valid when used"
    return f"due {calibration.due}{number}: {state}"


def _check(check: Check | None) -> str:
    if check is None:
        return "no check standard on record"
    seen = with_uncertainty(check.reading_ohm, check.expanded_ohm)
    when = datetime.fromtimestamp(check.utc_s, UTC).strftime("%Y-%m-%d %H:%M")
    known = show(check.certificate_ohm, "Ω", check.certificate_expanded_ohm)
    state = "in control" if check.in_control else f"OUT OF CONTROL: {check.text}"
    return f"{check.resistor} ({known}) read {seen} on {when}: {state}"
