"""From a settled reading to ohms at the reference temperature, with the whole budget. Not for judging it.

The way: subtract the leads (two wires), convert to the reference temperature, and list what each step is
uncertain by. The zero and the reading come from one meter, so part of its error cancels in their difference;
no credit is taken for that.

Terms of the budget, by name: "repeatability", "leftover drift", "display resolution"; "meter accuracy" and,
with the room outside the meter's window, "meter temperature", or those of `substitution` in their place;
"thermal EMF" with a known test current, unless compensation was seen to be on; "lead zero" (or "lead zero
missing") and "contact" with two wires; "winding temperature".
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import Any

from acquire.choices import Shape
from acquire.physics.accuracy import accuracy_terms, thermal_emf_ohm
from acquire.physics.budget import combine
from acquire.physics.checks import at_least_zero, finite
from acquire.physics.common import EMF, LEADS, TEMPERATURE
from acquire.physics.copper import Conductor, fraction_per_kelvin, to_reference
from acquire.physics.leads import CONTACT_OHM, subtract, uncertainty_ohm
from acquire.physics.substitution import Substitute, substitution_terms
from acquire.records.bench import LeadZero
from acquire.records.settled import Settled
from acquire.records.verdict import Corrected, Term
from drivers.accuracy import RangeAccuracy
from drivers.reading import Flag

LEAD_ZERO = "lead zero"
NO_LEAD_ZERO = "lead zero missing"
"""The term's name while two-wire leads were never zeroed, so that every table and reason says so."""

TOUCH_TERMS = frozenset({"repeatability", "leftover drift", "display resolution", "contact"})
"""Terms that differ from one touch to the next; the others cancel when a pair is measured twice."""

THERMAL_EMF_VOLT = 1e-6
"""Half-width of thermal voltages in the contacts, volts. Workshop choice: copper on copper at one temperature
makes less than 1 microvolt; a hot part with cold probes makes ten and more and is to be held as warm."""


def correct(  # noqa: PLR0913  (each is one fact of the bench; all but the first by keyword)
    settled: Settled,
    *,
    four_wire: bool,
    lead: LeadZero | None,
    now_utc_s: float,
    winding_celsius: float,
    winding_u_kelvin: float,
    reference_celsius: float,
    conductor: Conductor,
    accuracy: RangeAccuracy,
    contact_ohm: float = CONTACT_OHM,
    ambient_celsius: float | None = None,
    against: Substitute | None = None,
) -> Corrected:
    """Correct one settled resistance for its leads and temperature, with its budget, largest term first.

    Args:
        settled: a resistance at rest.
        four_wire: True: no lead is subtracted and no contact counted.
        lead: the zero in force; None with two wires subtracts nothing and costs a wide rectangular term.
        now_utc_s: UTC for the age of the zero, seconds; usually `settled.utc_s`.
        winding_celsius: temperature of the winding.
        winding_u_kelvin: its standard uncertainty, kelvin, >= 0.
        reference_celsius: temperature the limits hold for.
        conductor: metal of the winding.
        accuracy: the meter's statement on the range in use.
        contact_ohm: standard uncertainty of the contact resistance, two wires, ohms, >= 0.
        ambient_celsius: temperature of the meter, None when unknown.
        against: a reference read on this range, in place of `accuracy`; one lead zero for both cancels.

    Raises:
        InputImpossible: a temperature below absolute zero, or a negative or missing uncertainty.
    """
    raw_ohm = finite(settled.value_si, "the settled reading in ohms")
    read_ohm = raw_ohm if four_wire else subtract(raw_ohm, lead)
    resistance_ohm = read_ohm - (0.0 if against is None else against.off_ohm)
    factor = to_reference(1.0, winding_celsius, reference_celsius, conductor)
    per_kelvin = resistance_ohm * fraction_per_kelvin(winding_celsius, conductor)
    per_kelvin -= 0.0 if against is None else against.ohm_per_kelvin
    terms = [
        *_reading_terms(settled, factor),
        *_meter_terms(settled, accuracy, ambient_celsius, factor, against=against, read_ohm=read_ohm),
        *_emf_terms(accuracy, factor, cancelled=Flag.OFFSET_COMPENSATED in settled.flags),
        *_contact_terms(lead, now_utc_s, contact_ohm, factor, four_wire=four_wire, against=against),
        _temperature_term(per_kelvin * factor, winding_u_kelvin),
    ]
    return Corrected(
        settled=settled,
        raw_ohm=raw_ohm,
        lead_ohm=0.0 if four_wire or lead is None else lead.value_ohm,
        resistance_ohm=resistance_ohm,
        reference_ohm=resistance_ohm * factor,
        reference_celsius=reference_celsius,
        winding_celsius=winding_celsius,
        material=conductor.name,
        against="" if against is None else against.name,
        off_ohm=read_ohm - resistance_ohm,
        **budget_of(terms),
    )


def budget_of(terms: Sequence[Term]) -> dict[str, Any]:
    """The fields of a `Corrected` that follow from its terms."""
    whole = combine(terms)
    return {
        "terms": tuple(sorted(terms, key=lambda term: -term.standard_uncertainty_ohm)),
        "standard_uncertainty_ohm": whole.standard_uncertainty,
        "coverage_factor": whole.coverage_factor,
        "expanded_ohm": whole.expanded,
    }


def _temperature_term(ohm_per_kelvin: float, winding_u_kelvin: float) -> Term:
    at_least_zero(winding_u_kelvin, "the uncertainty of the winding's temperature in kelvin")
    ohm = ohm_per_kelvin * winding_u_kelvin  # thought too warm, it comes out too low
    return Term("winding temperature", abs(ohm), shared=((TEMPERATURE, -ohm),))


def _reading_terms(settled: Settled, factor: float) -> list[Term]:
    """What the settle stage already knows of the reading."""
    return [
        Term(
            "repeatability",
            settled.type_a_si * factor,
            degrees_of_freedom=max(settled.degrees_of_freedom, 1.0),
        ),
        Term("leftover drift", settled.drift_si * factor),
        Term("display resolution", settled.quantisation_si * factor, Shape.RECTANGULAR),
    ]


def _meter_terms(
    settled: Settled,
    accuracy: RangeAccuracy,
    ambient_celsius: float | None,
    factor: float,
    *,
    against: Substitute | None,
    read_ohm: float,
) -> list[Term]:
    """What the meter itself may be off by: as its file states, or beside a reference."""
    if against is not None:
        return substitution_terms(
            accuracy, read_ohm, against, ambient_celsius=ambient_celsius, sensitivity=factor
        )
    quantity = settled.quantity.value
    return accuracy_terms(
        accuracy, settled.value_si, ambient_celsius=ambient_celsius, sensitivity=factor, quantity=quantity
    )


def _emf_terms(accuracy: RangeAccuracy, factor: float, *, cancelled: bool) -> list[Term]:
    half_width = thermal_emf_ohm(accuracy, THERMAL_EMF_VOLT)
    if half_width <= 0.0 or cancelled:
        return []
    u_ohm = half_width * factor / math.sqrt(3.0)
    return [Term("thermal EMF", u_ohm, Shape.RECTANGULAR, shared=((EMF, u_ohm),))]


def _contact_terms(
    lead: LeadZero | None,
    now_utc_s: float,
    contact_ohm: float,
    factor: float,
    *,
    four_wire: bool,
    against: Substitute | None,
) -> list[Term]:
    """What leads and contacts add with two wires; nothing with four."""
    at_least_zero(contact_ohm, "the uncertainty of the contact resistance in ohms")
    if four_wire:
        return []
    contact = Term("contact", contact_ohm * factor)
    if against is not None and against.lead_utc_s == (None if lead is None else lead.utc_s):
        return [contact]
    u = uncertainty_ohm(lead, now_utc_s)
    name, shape = (NO_LEAD_ZERO, Shape.RECTANGULAR) if lead is None else (LEAD_ZERO, Shape.NORMAL)
    zero = Term(name, u * factor, shape, shared=((LEADS, -u * factor),))
    return [zero, contact]
