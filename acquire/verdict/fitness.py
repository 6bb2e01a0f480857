"""Can this meter, wired like this, judge this step at all? One row of a table for each step of a sheet.

Made before anything is measured, from the meter's accuracy alone: what the uncertainty of a reading at
nominal will be, against the step's tolerance, what dominates it, and what would help where it is too large.
Not for verdicts.
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from functools import partial
from typing import Any

from acquire.physics.checks import above_zero, at_least_zero
from acquire.physics.copper import CONDUCTORS, Conductor
from acquire.physics.correct import correct
from acquire.physics.leads import CONTACT_OHM
from acquire.physics.substitution import Substitute
from acquire.records.bench import LeadZero
from acquire.records.settled import Settled
from acquire.records.verdict import Corrected, Limits, Term
from drivers.accuracy import RangeAccuracy
from drivers.models import MeterModel
from drivers.reading import Quantity

GOOD_ZERO_OHM = 0.005
"""Standard uncertainty of a lead zero taken with care, ohms (workshop choice)."""

GOOD_THERMOMETER_KELVIN = 0.3
"""Standard uncertainty of a thermometer beside the unit (class B platinum is 0.2 K; workshop choice)."""


GOOD_RESISTOR = 0.001
"""Expanded uncertainty of a resistor that costs two euros, as a fraction: 0.1 % is what metal film is sold
to (common practice, no source)."""


@dataclass(frozen=True, slots=True)
class Offer:
    """One range of a meter, wired one way.

    Attributes:
        accuracy: its statement.
        largest_ohm: largest value it shows.
        four_wire: how it is wired.
        noise_ohm: standard deviation of single readings.
    """

    accuracy: RangeAccuracy
    largest_ohm: float
    four_wire: bool
    noise_ohm: float = 0.0


def offers_of(model: MeterModel) -> tuple[Offer, ...]:
    """Every resistance range of a meter, two-wire before four-wire, smallest first."""
    return tuple(
        Offer(
            accuracy=model.statement(each),
            largest_ohm=each.largest_si,
            four_wire=quantity is Quantity.RESISTANCE_4W,
            noise_ohm=each.noise_counts * each.resolution_si,
        )
        for quantity in (Quantity.RESISTANCE, Quantity.RESISTANCE_4W)
        for each in model.ranges_of(quantity)
    )


@dataclass(frozen=True, slots=True)
class BenchUncertainty:
    """How the bench measures, before it does.

    Attributes:
        zero_u_ohm: standard uncertainty of the lead zero; None where the leads are never zeroed.
        lead_ohm: what the leads have, for the reading itself.
        winding_u_kelvin: standard uncertainty of the winding's temperature.
        celsius: temperature of the room and the winding.
        reference_celsius: temperature of the limits.
        conductor: metal of the windings.
        readings: conversions that a settled value rests on.
        contact_ohm: standard uncertainty of the contacts with two wires.
        references: known resistances, as they will have been read.
    """

    zero_u_ohm: float | None = GOOD_ZERO_OHM
    lead_ohm: float = 0.2
    winding_u_kelvin: float = 1.0
    celsius: float = 23.0
    reference_celsius: float = 20.0
    conductor: Conductor = CONDUCTORS["copper"]
    readings: int = 8
    contact_ohm: float = CONTACT_OHM
    references: tuple[Substitute, ...] = ()


def reference_of(
    name: str, ohm: float, u_ohm: float, bench: BenchUncertainty, offer: Offer, **how: Any
) -> Substitute:
    """A known resistance as this bench will have read it on a range; further fields as of `Substitute`."""
    settled = _settled(ohm, offer, max(2, bench.readings))
    return Substitute(
        name,
        ohm,
        u_ohm,
        ohm,
        math.hypot(settled.type_a_si, settled.quantisation_si, 0.0 if offer.four_wire else bench.contact_ohm),
        settled.quantity,
        offer.accuracy.range_full_scale_si,
        offer.accuracy.resolution_si,
        utc_s=0.0,
        celsius=bench.celsius,
        lead_utc_s=None if bench.zero_u_ohm is None else 0.0,
        **how,
    )


@dataclass(frozen=True, slots=True)
class Remedy:
    """What would have to change for a step to be judged.

    Attributes:
        range_full_scale_ohm, four_wire: another range of the meter; None: the one in use will do.
        zeroed_leads: a lead zero taken with care, two wires.
        thermometer: one beside the unit.
        resistor_ohm: a known one of about so much, 0.1 %, as a reference; None: none.
    """

    range_full_scale_ohm: float | None = None
    four_wire: bool = False
    zeroed_leads: bool = False
    thermometer: bool = False
    resistor_ohm: float | None = None


@dataclass(frozen=True, slots=True)
class FitnessRow:
    """One step of the table.

    Attributes:
        step: its name.
        nominal_ohm: what it should read.
        range_full_scale_ohm, four_wire: the range in use and how it is wired.
        tolerance_ohm: half the width between the limits, or as `Limits.tolerance_ohm` says.
        expanded_ohm: U (95 %) of a reading at nominal.
        ratio: tolerance over U; below 1 the step cannot be judged.
        dominating: name of the largest term.
        terms: the whole budget, largest first.
        can_judge: U does not exceed the tolerance, and the range can show the value.
        would_help: the smallest change after which it could be judged; None when it can, or nothing would.
        upper_only: True where the tolerance is an upper limit, as of a strap, and there is no lower one.
    """

    step: str
    nominal_ohm: float
    range_full_scale_ohm: float
    four_wire: bool
    tolerance_ohm: float
    expanded_ohm: float
    ratio: float
    dominating: str
    terms: tuple[Term, ...]
    can_judge: bool
    would_help: Remedy | None
    upper_only: bool = False


def row(
    step: str, nominal_ohm: float, limits: Limits, bench: BenchUncertainty, offers: Sequence[Offer]
) -> FitnessRow:
    """The row of one step on the range in use, which is the first offer.

    Args:
        step: its name.
        nominal_ohm: what it should read at the reference temperature, > 0.
        limits: at the reference temperature.
        bench: how it measures.
        offers: the range in use first, then whatever else the meter could do.

    Raises:
        InputImpossible: a nominal value not above zero, or no offer.
    """
    above_zero(nominal_ohm, "the nominal resistance in ohms")
    in_use = next(iter(offers))
    allowed = limits.tolerance_ohm
    value = foresee(nominal_ohm, bench, in_use)
    able = value.expanded_ohm <= allowed and value.raw_ohm <= in_use.largest_ohm
    return FitnessRow(
        step=step,
        nominal_ohm=nominal_ohm,
        range_full_scale_ohm=in_use.accuracy.range_full_scale_si,
        four_wire=in_use.four_wire,
        tolerance_ohm=allowed,
        expanded_ohm=value.expanded_ohm,
        ratio=allowed / value.expanded_ohm if value.expanded_ohm > 0.0 else math.inf,
        dominating=value.terms[0].name,
        terms=value.terms,
        can_judge=able,
        would_help=None if able else _remedy(nominal_ohm, allowed, bench, offers),
        upper_only=limits.lower_ohm is None,
    )


def foresee(nominal_ohm: float, bench: BenchUncertainty, offer: Offer) -> Corrected:
    """The budget that a reading at nominal will have: corrected like a real one, its scatter foreseen.

    Raises:
        InputImpossible: a number that cannot be.
    """
    at_least_zero(bench.lead_ohm, "the leads' resistance in ohms")
    warm_ohm = nominal_ohm * (bench.conductor.k_celsius + bench.celsius)
    warm_ohm /= bench.conductor.k_celsius + bench.reference_celsius
    shown_ohm = warm_ohm + (0.0 if offer.four_wire else bench.lead_ohm)
    zero = None
    if bench.zero_u_ohm is not None:
        zero = LeadZero("", "", bench.lead_ohm, bench.zero_u_ohm, 0.0)
    settled = _settled(shown_ohm, offer, max(2, bench.readings))
    how = partial(
        correct,
        settled,
        four_wire=offer.four_wire,
        lead=zero,
        now_utc_s=0.0,
        winding_celsius=bench.celsius,
        winding_u_kelvin=bench.winding_u_kelvin,
        reference_celsius=bench.reference_celsius,
        conductor=bench.conductor,
        accuracy=offer.accuracy,
        contact_ohm=bench.contact_ohm,
        ambient_celsius=bench.celsius,
    )
    beside = (each for each in bench.references if each.serves(settled.quantity, offer.accuracy))
    found = [how(), *(how(against=each) for each in beside)]
    return min(found, key=lambda each: each.standard_uncertainty_ohm)


def _settled(shown_ohm: float, offer: Offer, readings: int) -> Settled:
    """A reading as it would settle: scatter by the noise the meter file states, display by its count."""
    count = offer.accuracy.resolution_si
    return Settled(
        meter_id="",
        quantity=Quantity.RESISTANCE_4W if offer.four_wire else Quantity.RESISTANCE,
        value_si=shown_ohm,
        type_a_si=offer.noise_ohm / math.sqrt(readings),
        degrees_of_freedom=readings - 1,
        drift_si=0.0,
        quantisation_si=count / math.sqrt(12.0),
        expanded_si=count,
        conversions=readings,
        range_full_scale_si=offer.accuracy.range_full_scale_si,
        resolution_si=count,
        contact_s=0.0,
        monotonic_s=0.0,
        utc_s=0.0,
    )


def _remedy(
    nominal_ohm: float, allowed_ohm: float, bench: BenchUncertainty, offers: Sequence[Offer]
) -> Remedy | None:
    """The first change after which a step could be judged."""
    for remedy, offer in _remedies(nominal_ohm, offers):
        value = foresee(nominal_ohm, _with(remedy, bench, offer), offer)
        if value.expanded_ohm <= allowed_ohm and value.raw_ohm <= offer.largest_ohm:
            return remedy
    return None


def _remedies(nominal_ohm: float, offers: Sequence[Offer]) -> Iterator[tuple[Remedy, Offer]]:
    """Every change with the range it leaves in use; single ones before pairs, two wires before four.

    What a bench has already changes nothing for the better, so it need not be left out.
    """
    in_use, *others = offers
    yield Remedy(zeroed_leads=True), in_use
    yield Remedy(thermometer=True), in_use
    ranges = [(Remedy(o.accuracy.range_full_scale_si, four_wire=o.four_wire), o) for o in others]
    yield from ranges
    for other, offer in ranges:
        yield replace(other, zeroed_leads=True), offer
        yield replace(other, thermometer=True), offer
    yield Remedy(zeroed_leads=True, thermometer=True), in_use
    yield Remedy(resistor_ohm=nominal_ohm), in_use
    yield Remedy(resistor_ohm=nominal_ohm, thermometer=True), in_use


def _with(remedy: Remedy, bench: BenchUncertainty, offer: Offer) -> BenchUncertainty:
    """The bench after a change."""
    if remedy.zeroed_leads:
        bench = replace(bench, zero_u_ohm=GOOD_ZERO_OHM)
    if (ohm := remedy.resistor_ohm) is not None:
        resistor = reference_of("", ohm, GOOD_RESISTOR / 2.0 * ohm, bench, offer)
        bench = replace(bench, references=(*bench.references, resistor))
    if remedy.thermometer:
        bench = replace(bench, winding_u_kelvin=GOOD_THERMOMETER_KELVIN)
    return bench
