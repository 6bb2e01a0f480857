"""Records beside the resistances of a unit: the check standard, typed results, values of earlier papers.

A value of an earlier paper is never taken for a verdict.
"""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum

from acquire.choices import Outcome, Purpose
from acquire.records.codes import Sign
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
        signs: the rules broken.
        centre_ohm, lower_ohm, upper_ohm: individuals chart of the earlier readings; None while they are few.
        moving_range_upper_ohm: upper limit of the moving range.
        stops: whether a reading out of control stops this bench; else it warns.
        before_ohm: the reading before this one; None for the first.
        slope_ohm, slope_points: drift a reading over the latest so many; None while they are few.
        substitutes: values on the same range are compared with it; the next ones are needed for that.
        range_full_scale_ohm, resolution_ohm: of the range; None on old records.
        touch_u_ohm: the part of the standard uncertainty that differs from touch to touch.
        celsius: of the air; None where it was not known.
        lead_zero_utc_s: when the leads were zeroed; None without a zero.
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
    signs: tuple[Sign, ...]
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
    before_ohm: float | None = None
    slope_ohm: float | None = None
    slope_points: int | None = None
    substitutes: bool = False
    range_full_scale_ohm: float | None = None
    resolution_ohm: float | None = None
    touch_u_ohm: float | None = None
    celsius: float | None = None
    lead_zero_utc_s: float | None = None


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


class TypedWhy(StrEnum):
    """Why a typed result has the outcome that it has, or none.

    LIMITS: held against limits by the sheet's rule. SHORT: a short, 0 ohm. NO_ACCURACY: the instrument's
    accuracy was not told. LOW_VOLTS: measured at less than the voltage asked for. NO_LIMITS: the sheet sets
    none. NO_PATTERN: no sister coil or golden unit was named. STATED: the outcome is the person's own word.
    RECORDED: as typed, not judged.
    """

    LIMITS = "limits"
    SHORT = "short"
    NO_ACCURACY = "no_accuracy"
    LOW_VOLTS = "low_volts"
    NO_LIMITS = "no_limits"
    NO_PATTERN = "no_pattern"
    STATED = "stated"
    RECORDED = "recorded"


@dataclass(frozen=True, slots=True, kw_only=True)
class TypedResult:
    """A result that a person typed in, kept as typed, with what a rule says of it.

    Attributes:
        name: what was tested, as the sheet calls it where the sheet asks for it.
        result_kind: decides how it is judged.
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
        conformance_probability: that the true value lies within the limits; None where no rule was used.
        target: id of what the sheet asks for (`Untested.id`), empty where it asks for no such thing.
        shows_turns: it can show a fault between turns.
        why: what the outcome rests on.
        expanded_si, guard_band_si: 95 % half-width and guard band of what was held against the limits, in
            their unit.
        asked_volt: test voltage that the sheet asks for, None where it asks for none.
        words: the value where it is no number, and the person's own words.
    """

    bench: str
    serial: str
    sheet: str
    sheet_hash: str
    purpose: Purpose
    batch: str
    operator: str
    name: str
    result_kind: ResultKind
    typed: str
    value_si: float | None = None
    unit: str = ""
    at_least: bool = False
    test_volt: float | None = None
    hertz: float | None = None
    instrument: str = ""
    accuracy: float | None = None
    celsius: float | None = None
    correction: str = "none"
    reference_celsius: float | None = None
    reference_si: float | None = None
    lower_si: float | None = None
    upper_si: float | None = None
    pattern_si: float | None = None
    pattern: str = ""
    deviation: float | None = None
    outcome: Outcome | None = None
    stated: bool = False
    conformance_probability: float | None = None
    software: str
    utc_s: float
    target: str = ""
    shows_turns: bool = False
    why: TypedWhy = TypedWhy.RECORDED
    expanded_si: float | None = None
    guard_band_si: float | None = None
    asked_volt: float | None = None
    words: str = ""


@dataclass(frozen=True, slots=True)
class ImportedResult:
    """One value of a paper record, as somebody copied it into a file.

    Attributes:
        bench: name in the journal that took it.
        step: name on the sheet, of the pair `pin_a`, `pin_b`.
        value_ohm: as on the paper; None for an open pair.
        celsius: temperature of the winding then; None where the paper does not say.
        reference_ohm: at `reference_celsius` of the sheet of today; None without a temperature.
        expanded_ohm: uncertainty of the value, 95 %; None where the paper does not say.
        outcome: as on the paper; None where it does not say.
        measured_utc_s: of the paper; a day counts from its beginning in UTC.
        source: name of the file; source_line: its line; source_hash: SHA-256 of the file, hexadecimal.
        utc_s: when it was imported.
    """

    bench: str
    serial: str
    sheet: str
    sheet_hash: str
    purpose: Purpose
    batch: str
    operator: str
    step: str
    pin_a: str
    pin_b: str
    value_ohm: float | None
    celsius: float | None
    reference_celsius: float
    reference_ohm: float | None
    expanded_ohm: float | None
    outcome: Outcome | None
    instrument: str
    remark: str
    measured_utc_s: float
    source: str
    source_line: int
    source_hash: str
    software: str
    utc_s: float
