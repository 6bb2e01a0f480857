"""Sentences of a certificate that do not depend on numbers: rules, purposes, statements, cautions."""

from __future__ import annotations

from acquire.records import Outcome, Purpose, Rule
from acquire.words.verdicts import OUTCOME_WORDS

NOT_GIVEN = "not given"

PURPOSES = {
    Purpose.INCOMING: "test of a unit that came in, before any work; the serviceable limits apply",
    Purpose.WINDING: "test during winding; the acceptance limits apply",
    Purpose.FINAL: "final test of a rewound unit; the acceptance limits apply",
    Purpose.RETURNED: "test of a returned unit; the serviceable limits apply",
}

OUTCOMES = {of: word.capitalize() for of, word in OUTCOME_WORDS.items()} | {
    Outcome.CANNOT_JUDGE: "Cannot be judged"
}

RULES = {
    Rule.SIMPLE: (
        "simple acceptance (ILAC-G8:09/2019, 4.2.1): a value passes where it lies within its limits. For "
        "a value exactly at a limit the risk of a wrong pass is up to 50 %."
    ),
    Rule.GUARD_BAND: (
        "guard band w = U (ILAC-G8:09/2019, 4.2.2): a value passes where it lies within its limits by "
        "more than its expanded uncertainty U. The risk of a wrong pass is below 2.5 % at each limit."
    ),
    Rule.ISO_14253_1: (
        "ISO 14253-1:2017 with 95 % conformance: a value passes where conformance is proven, fails where "
        "non-conformance is proven; in the zone between, the result is conditional."
    ),
    Rule.NON_BINARY: (
        "non-binary statement with guard band w = U (ILAC-G8:09/2019, 4.2.3). Pass: within the limits by "
        "more than U. Pass, near a limit: within them, but by less. Fail, near a limit: beyond, but by "
        "less than U. Fail: beyond by more. The risk of a wrong pass is below 2.5 %, that of a "
        "conditional one up to 50 %."
    ),
    Rule.MAXIMUM_RISK: (
        "stated maximum risk (JCGM 106:2012, 9): a value passes where the probability that it lies beyond "
        "its limits is no larger than the risk stated on the sheet."
    ),
}

RULES_APPLY = (
    "It applies to each resistance against the limits shown beside it. Where the uncertainty is larger than "
    "the tolerance, the result is “cannot be judged”, never a pass. A failing value is measured once more, "
    "and the second measurement counts. The verdict of the unit is the worst of its steps, of rules over "
    "several windings, and of results typed in."
)

HOW_TO_READ = (
    "Resistance without test leads. U: expanded uncertainty for a coverage probability of 95 %; each "
    "coverage factor k stands in the table of corrections. Conformance: probability that the true value lies "
    "within the limits."
)

TEMPERATURE = (
    "All readings together say that the unit was off the temperature it was corrected with by {low:+.1f} K "
    "to {high:+.1f} K (95 %); each U of a judged step holds a standard uncertainty of {u:.2g} K for that."
)

HOW_RELATED = (
    "The joint at a pin is what its pairs have in excess over the windings, such as (R12 + R23 − R13) / 2 at "
    "pin 2, without the pin's own lead."
)

HOW_CORRECTED = (
    "Result = (reading − leads) · (k₀ + reference temperature) / (k₀ + winding temperature), with the k₀ of "
    "the winding's material on the sheet (copper 234.5 °C). Leads: zero measured with the probes held "
    "together, with its age at the time; “4-wire” needs none."
)

HOW_TYPED = (
    "Typed: a person has read the display of a meter without a cable and typed what it showed; there is no "
    "trace of readings, and the resolution is that of the digits typed."
)

HOW_COMPARED = (
    "Compared values are found by substitution: known value + reading − reading of the known resistance on "
    "the same meter and range, in which the meter's gain and offset cancel. Their uncertainty is that of the "
    "known value, of both readings, of the meter's linearity between them and of its drift since."
)

TURNS = (
    "A pass in ohms does not exclude faults between turns: direct current cannot show a single shorted turn "
    "in a fine coil, nor weak insulation between turns."
)

NO_TURNS_ON_RECORD = "No surge, inductance or Q result is on record for this unit."

TURNS_TESTED = (
    "Beside ohms, results that can show faults between turns are on record for this unit; they came from "
    "other instruments and are marked as such."
)

NOT_ACCREDITED = "This is not an accredited calibration or test certificate."

STATEMENTS = (
    "The results relate only to the item tested, in the condition and at the time stated. No samples were "
    "taken: every result is of this item itself. This certificate is reproduced in full or not at all."
)

CAUTIONS = (
    "Cautions: Insulation, high-potential and surge tests are made with clips on and hands off, away from "
    "this bench. Disconnect the unit from engine, regulator and ignition electronics before measuring: "
    "capacitors there can hold hundreds of volts. Do not base mains safety or release to flight on these "
    "results."
)

HOW_TO_CHECK = (
    "To check it: steadyohm certificate --verify FILE --journal JOURNAL. That compares this file with what "
    "the shop kept as issued, its measured facts with the shop's record, and its page with its facts. Who "
    "issued it shows only where it is signed; heading, customer and condition are on no record."
)
