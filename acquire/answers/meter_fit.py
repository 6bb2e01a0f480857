"""How well a bench will know a step before anything is measured. Not for real readings (physics, verdict)."""

from __future__ import annotations

from dataclasses import dataclass, field

from acquire.files.bench_tables import ZeroSource
from acquire.files.settings import Bench
from acquire.physics.copper import conductor_named
from acquire.physics.correct import correct
from acquire.physics.leads import CONTACT_OHM
from acquire.records import LeadZero, Settled, Sheet, Step
from acquire.steps.pairs import PairTable
from acquire.steps.setup_choice import MeterStatements, expected_ohm, quantity_for
from drivers.reading import Quantity

CONVERSIONS = 10
"""Readings that a settled value is taken to rest on; with a quiet meter their scatter hardly counts."""


@dataclass(slots=True)
class MeterFit:
    """A bench, its sheet and its meter, asked how sure they will be.

    Attributes:
        sheet: of the units.
        bench: says how leads and temperature are known, and when four wires are used.
        meter: what the meter's file states.
    """

    sheet: Sheet
    bench: Bench
    meter: MeterStatements
    table: PairTable = field(init=False)

    def __post_init__(self) -> None:
        """One table of pairs serves all steps."""
        self.table = PairTable(self.sheet)

    def expanded_ohm(self, step: Step, nominal_ohm: float) -> float | None:
        """Expanded uncertainty that a good unit's value will have, by the budget that verdicts use.

        Args:
            step: to be measured.
            nominal_ohm: of its pair, finite.

        Returns:
            Ohms at the reference temperature, 95 %; None where the meter's file states nothing for it.
        """
        quantity = quantity_for(step, nominal_ohm, self.bench.meter.four_wire_below)
        largest_ohm = expected_ohm(self.table, step, self.bench.purpose, quantity, self.meter)
        accuracy = self.meter.holding(quantity, largest_ohm)
        if accuracy is None:
            return None
        lead = self._lead()
        four_wire = quantity is Quantity.RESISTANCE_4W
        shown_ohm = nominal_ohm + (0.0 if four_wire or lead is None else lead.value_ohm)
        corrected = correct(
            _at_rest(quantity, shown_ohm, accuracy.resolution_si),
            four_wire=four_wire,
            lead=lead,
            now_utc_s=0.0,
            winding_celsius=self.sheet.reference_celsius,
            winding_u_kelvin=self.bench.temperature.standard_uncertainty_kelvin,
            reference_celsius=self.sheet.reference_celsius,
            conductor=conductor_named(self.table.material(step.pair)),
            accuracy=accuracy,
        )
        return corrected.expanded_ohm

    def _lead(self) -> LeadZero | None:
        """A lead zero as good as this bench will have; None where it will have none."""
        leads = self.bench.leads
        if leads.zero is ZeroSource.NONE:
            return None
        value_ohm = leads.value or 0.0
        return LeadZero(
            self.bench.name,
            self.bench.meter.id,
            value_ohm,
            leads.standard_uncertainty_ohm or CONTACT_OHM,
            0.0,
        )


def _at_rest(quantity: Quantity, ohm: float, resolution_ohm: float) -> Settled:
    """A value at rest on a quiet meter: nothing but the display's count is unsure."""
    quantisation_ohm = resolution_ohm / 12.0**0.5  # rectangular over one count, JCGM 100:2008, F.2.2.1
    return Settled(
        meter_id="",
        quantity=quantity,
        value_si=ohm,
        type_a_si=0.0,
        degrees_of_freedom=CONVERSIONS - 1.0,
        drift_si=0.0,
        quantisation_si=quantisation_ohm,
        expanded_si=quantisation_ohm,
        conversions=CONVERSIONS,
        range_full_scale_si=None,
        resolution_si=resolution_ohm,
        contact_s=0.0,
        monotonic_s=0.0,
        utc_s=0.0,
    )
