"""Records beside the resistances of a unit: the daily check standard, and results that a person types in."""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum

from acquire.choices import Outcome, Purpose
from drivers.reading import Quantity


@dataclass(frozen=True, slots=True)
class CheckStandard:
    """One look at the bench by its known resistor.

    Attributes:
        resistor: as the bench file calls it.
        certificate_ohm, certificate_expanded_ohm: its value and the 95 % half-width of that.
        raw_ohm, lead_ohm: as the meter settled, and what was subtracted for the leads.
        reading_ohm, standard_uncertainty_ohm, expanded_ohm: the resistor as this bench sees it.
        in_control: no sign speaks against the bench.
        signs: short names of the rules broken, such as "off_certificate" or "run".
        text: one sentence for each sign; empty when in control.
        centre_ohm, lower_ohm, upper_ohm: individuals chart of the earlier readings; None while they are few.
        moving_range_upper_ohm: upper limit of the moving range.
        stops: whether a reading out of control stops this bench; else it warns.
    """

    bench: str
    meter_id: str
    resistor: str
    certificate_ohm: float
    certificate_expanded_ohm: float
    raw_ohm: float
    lead_ohm: float
    reading_ohm: float
    standard_uncertainty_ohm: float
    expanded_ohm: float
    in_control: bool
    signs: tuple[str, ...]
    text: str
    centre_ohm: float | None
    lower_ohm: float | None
    upper_ohm: float | None
    moving_range_upper_ohm: float | None
    stops: bool
    quantity: Quantity
    operator: str
    meter_hash: str
    bench_hash: str
    software: str
    utc_s: float


class ResultKind(StrEnum):
    """What a typed result is, which decides how it is judged.

    INSULATION: against a lower limit; INDUCTANCE, QUALITY (Q) and LOSS: against a sister coil or a golden
    unit; RESISTANCE: against the limits of a typed step; STATED: as the person says (surge, hipot, polarity).
    """

    INSULATION = "insulation"
    INDUCTANCE = "inductance"
    QUALITY = "quality"
    LOSS = "loss"
    RESISTANCE = "resistance"
    STATED = "stated"


@dataclass(frozen=True, slots=True)
class TypedResult:
    """A result that a person typed in, kept as typed, with what a rule says of it.

    Attributes:
        name: what was tested, as the sheet calls it where the sheet asks for it.
        sort: what kind of result it is; decides how it is judged.
        typed: the line as typed.
        value_si: number in ohms or henry, a plain number for Q and loss; None for a result in words.
        unit: "ohm", "H" or empty.
        at_least: the instrument showed "more than" this value.
        test_volt, hertz: at what it was measured; None where not told.
        instrument: with what; accuracy: limits of error as a fraction of reading.
        celsius: temperature of the winding; correction: name of the rule that led to `reference_si` at
            `reference_celsius`, "none" where nothing was corrected.
        lower_si, upper_si: limits it was held against, in the unit of `value_si`.
        pattern_si: value of the sister coil or golden unit; pattern: its name; deviation: from it, as a
            fraction.
        outcome: None for a result that is on the record without being judged.
        stated: True where the outcome is the person's own word.
        reason: one sentence.
        conformity: probability that the true value lies within the limits, None where no rule was used.
    """

    bench: str
    serial: str
    sheet: str
    sheet_hash: str
    purpose: Purpose
    batch: str
    operator: str
    name: str
    sort: ResultKind
    typed: str
    value_si: float | None
    unit: str
    at_least: bool
    test_volt: float | None
    hertz: float | None
    instrument: str
    accuracy: float | None
    celsius: float | None
    correction: str
    reference_celsius: float | None
    reference_si: float | None
    lower_si: float | None
    upper_si: float | None
    pattern_si: float | None
    pattern: str
    deviation: float | None
    outcome: Outcome | None
    stated: bool
    reason: str
    conformity: float | None
    software: str
    utc_s: float

    @property
    def answer(self) -> str:
        """What whoever typed it is told: the reason, and of one that could not be judged what that means.

        Such a result turns the pass of a unit into "cannot judge", which must not come as a surprise later.
        """
        if self.outcome is not Outcome.CANNOT_JUDGE:
            return self.reason
        means = f"{self.serial} cannot pass until it is measured or typed again"
        return f"This could not be judged, so {means}: {self.reason}"
