"""A known resistance in a step of its own: when it is due, what is asked, what a reading of it means.

The daily check standard watches the bench; with a reference the values on its range are compared as well.

Pure, like the pipeline that calls it. The chart and its rules are physics/check_standard; drawing it for
people is answers/. Not for units: nothing here is matched or judged by a sheet.
"""

from __future__ import annotations

import math
from collections.abc import Iterable
from dataclasses import dataclass, field, replace

from acquire.conditions import Conditions
from acquire.physics.check_standard import Check, Resistor, check_bench
from acquire.physics.copper import conductor_named
from acquire.physics.correct import TOUCH_TERMS, budget_of, correct
from acquire.physics.substitution import Comparing, Substitute
from acquire.plausible import Gate, Plausibility, Seen, fresh
from acquire.records import (
    Ask,
    CheckStandard,
    Circumstances,
    Code,
    Corrected,
    Event,
    Fact,
    Notice,
    Prompt,
    Refusal,
    Refused,
    Settled,
    Severity,
    Shape,
    Term,
    Why,
)
from acquire.steps.setup_choice import HEADROOM, Wanted
from drivers.accuracy import RangeAccuracy
from drivers.models import MeterModel
from drivers.reading import Quantity

NOT_IT, SAME_AGAIN = 0.1, 0.01
"""A value further than this fraction from the certificate is first taken for something else between the
probes; the same value, to the second fraction, with another touch is believed. Workshop choice."""

OF_RANGE = 0.9
"""What every range shows of its own full scale, whether it counts to 1999 or to 2200; workshop choice."""

UNDER_WAY_S = 3600.0
"""A unit that was begun while a reference was fresh is finished with it; workshop choice."""

UNKNOWN_KELVIN = 10.0
"""How far from its reference temperature it may be while no temperature is known; workshop choice."""


@dataclass(slots=True)
class CheckDuty:
    """The check standard of a bench.

    Attributes:
        resistor: what is measured.
        four_wire: how.
        tempco_per_kelvin: limits of its change with temperature, as a fraction per kelvin; 0 counts none.
        every_s: so long a check holds.
        stops: whether a reading out of control stops the bench; else it warns.
        keep: so many of the latest readings make the chart.
        history_ohm: readings that were in control, oldest first.
        last_utc_s: of the latest check; None before the first.
        blocked: the latest check was out of control and stops the bench.
        comparing: how values are compared with it; None for one that only watches the bench.
        asked: the bench asks for the resistor now.
        gate: before its values.
    """

    resistor: Resistor
    four_wire: bool = False
    tempco_per_kelvin: float = 0.0
    every_s: float = 12 * 3600.0
    stops: bool = True
    keep: int = 50
    comparing: Comparing | None = None
    history_ohm: list[float] = field(default_factory=list)
    last_utc_s: float | None = None
    blocked: bool = False
    asked: bool = False
    gate: Gate = field(default_factory=Gate)

    def recall(self, records: Iterable[CheckStandard]) -> None:
        """Take up the chart where the journal left it.

        Args:
            records: of this bench, oldest first; those of another resistor or another certificate are passed
                over, for they say nothing of this one.
        """
        for record in records:
            if self.is_of_it(record):
                self._note(record)

    def is_of_it(self, record: CheckStandard) -> bool:
        """Whether a record is of this resistor, by this certificate."""
        resistor = self.resistor
        return (record.resistor, record.certificate_ohm) == (resistor.name, resistor.certificate_ohm)

    def replay(self, record: CheckStandard) -> None:
        """Take an entry of the record, as when it was made; the chart has it already (`recall`)."""
        if self.is_of_it(record):
            self._ruled(record)

    def replay_notice(self, notice: Notice) -> None:
        """Take a notice of the record, as when it was told."""
        match notice.code:
            case Code.CHECK_ASKED:
                self.asked = True
            case Code.CHECK_OVERRIDDEN:
                self.blocked = self.asked = False
            case Code.CHECK_OTHER:
                ohm = notice.facts.get("ohm")
                seen = [Seen(ohm, notice.utc_s)] if isinstance(ohm, int | float) else []
                self.gate.aside = seen

    def go_on(self, before: CheckDuty) -> None:
        """Take up the chart and the state of the same resistor under another bench file."""
        if before.resistor == self.resistor:
            self.history_ohm, self.last_utc_s = before.history_ohm, before.last_utc_s
            self.blocked = self.stops and before.blocked
            self.asked = before.asked and (self.blocked or not before.blocked)

    def due(self, utc_s: float) -> bool:
        """Whether the resistor must be measured before units are."""
        if self.last_utc_s is None or self.blocked:
            return True
        return not fresh(self.last_utc_s, utc_s, self.every_s)

    @property
    def wanted(self) -> Wanted:
        """How the meter should be set for it."""
        quantity = Quantity.RESISTANCE_4W if self.four_wire else Quantity.RESISTANCE
        known = self.resistor
        if self.comparing is None:
            ohm, close_ohm = HEADROOM * known.certificate_ohm, known.expanded_ohm / 2
            return Wanted(quantity, ohm, close_enough_ohm=close_ohm, open_above_ohm=known.certificate_ohm)
        of_range = self.comparing.range_ohm
        ohm = known.certificate_ohm if of_range is None else OF_RANGE * of_range
        return Wanted(quantity, ohm, open_above_ohm=ohm)

    def prompt(self, serial: str) -> Prompt:
        """What the operator is asked to do."""
        why = Why.NONE if self.comparing is None else Why.REFERENCE
        why = Why.BLOCKED if self.blocked else why
        return Prompt(Ask.CHECK_RESISTOR, serial, why=why, facts={"resistor": self.resistor.name})

    def override(self, reason: str, utc_s: float) -> Notice:
        """Go on although the bench is out of control.

        Raises:
            Refused: the bench is not stopped, or no reason is given.
        """
        if not self.blocked:
            raise Refused(Refusal.CHECK_CALM)
        if not reason.strip():
            raise Refused(Refusal.CHECK_NO_REASON)
        self.blocked = self.asked = False
        return Notice(Severity.WARNING, Code.CHECK_OVERRIDDEN, utc_s, facts={"reason": reason.strip()})

    def take(
        self, settled: Settled, conditions: Conditions, meter: MeterModel, place: Circumstances
    ) -> list[Event]:
        """What a value at rest on the resistor says of the bench.

        Args:
            settled: a final value; a provisional one is waited out.
            conditions: lead zero and temperature.
            meter: what its file states.
            place: the bench.

        Returns:
            The record, and a notice where a sign speaks against the bench; a notice alone where the value
            cannot be that resistor's or the meter's file states nothing for it.
        """
        if not settled.final:
            return []
        corrected = self._corrected(settled, conditions, meter)
        if corrected is None:
            facts: dict[str, Fact] = {"model": place.meter_model, "resistor": self.resistor.name}
            return [Notice(Severity.STOP, Code.METER_UNSTATED, settled.utc_s, facts=facts)]
        if not self._is_it(corrected.reference_ohm, settled):
            other: dict[str, Fact] = {
                "ohm": corrected.reference_ohm,
                "resistor": self.resistor.name,
                "certificate_ohm": self.resistor.certificate_ohm,
            }
            return [Notice(Severity.WARNING, Code.CHECK_OTHER, settled.utc_s, facts=other)]
        history = [] if self.comparing is not None else self.history_ohm[-self.keep :]
        check = check_bench(corrected.reference_ohm, corrected.expanded_ohm, self.resistor, history)
        record = self._record(check, corrected, conditions, place)
        self._note(record)
        return [record, *self._notices(record)]

    def substitute(self, record: CheckStandard) -> Substitute | None:
        """What values are compared with after this look; None where they are not, or cannot be."""
        how, full, count = self.comparing, record.range_full_scale_ohm, record.resolution_ohm
        if how is None or full is None or count is None or not record.in_control:
            return None
        half_width = 0.0 if how.material else self._warmth_ohm(record.celsius)
        return Substitute(
            name=record.resistor,
            ohm=record.certificate_ohm,
            u_ohm=math.hypot(record.certificate_expanded_ohm / 2.0, half_width / math.sqrt(3.0)),
            read_ohm=record.raw_ohm - record.lead_ohm,
            read_u_ohm=record.touch_u_ohm or 0.0,
            quantity=record.quantity,
            full_scale_si=full,
            resolution_si=count,
            utc_s=record.utc_s,
            celsius=record.celsius,
            lead_utc_s=record.lead_zero_utc_s,
            linearity_counts=how.linearity_counts,
            drift=how.drift,
            material=how.material,
            reference_celsius=self.resistor.reference_celsius,
            good_for_s=self.every_s + UNDER_WAY_S,
        )

    def _warmth_ohm(self, celsius: float | None) -> float:
        """Half-width of what the resistor's own temperature may do."""
        off_kelvin = UNKNOWN_KELVIN if celsius is None else abs(celsius - self.resistor.reference_celsius)
        return self.resistor.certificate_ohm * self.tempco_per_kelvin * off_kelvin

    def _ruled(self, record: CheckStandard) -> None:
        self.last_utc_s = record.utc_s
        self.blocked = self.stops and not record.in_control
        self.asked = self.blocked
        self.gate.aside.clear()

    def _note(self, record: CheckStandard) -> None:
        self._ruled(record)
        if record.in_control:
            self.history_ohm.append(record.reading_ohm)
            del self.history_ohm[: -self.keep]

    def _is_it(self, ohm: float, settled: Settled) -> bool:
        """Whether a value may be the resistor's: near it, or the same strange one for the second time."""
        certificate = self.resistor.certificate_ohm
        law = Plausibility(0.0, math.inf, near=NOT_IT * certificate, alike=SAME_AGAIN * abs(ohm))
        self.gate.known = Seen(certificate, settled.utc_s)
        return self.gate.look(law, Seen(ohm, settled.utc_s, settled.contact_s)) is None

    def _corrected(self, settled: Settled, conditions: Conditions, meter: MeterModel) -> Corrected | None:
        """Leads off; what the resistor's own temperature may do is a term, not a correction."""
        statement = meter.in_use(
            settled.quantity, settled.range_full_scale_si, settled.value_si, settled.resolution_si
        )
        if statement is None:
            return None
        reference_celsius = self.resistor.reference_celsius
        air = conditions.fresh_temperature(settled.utc_s)
        material = "" if self.comparing is None else self.comparing.material
        winding = air if material else None  # a resistor stays at its own temperature: nothing is converted
        corrected = correct(
            settled,
            four_wire=settled.quantity is Quantity.RESISTANCE_4W,
            lead=conditions.lead,
            now_utc_s=settled.utc_s,
            winding_celsius=reference_celsius if winding is None else winding.celsius,
            winding_u_kelvin=0.0 if winding is None else winding.standard_uncertainty_kelvin,
            reference_celsius=reference_celsius,
            conductor=conductor_named(material or "copper"),
            accuracy=statement,
            ambient_celsius=None if air is None else air.celsius,
        )
        if material:
            return replace(corrected, settled=_on(statement, settled))
        half_width = self._warmth_ohm(None if air is None else air.celsius)
        terms = [each for each in corrected.terms if each.name != "winding temperature"]
        if half_width > 0.0:
            terms.append(Term("resistor temperature", half_width / math.sqrt(3.0), Shape.RECTANGULAR))
        return replace(corrected, settled=_on(statement, settled), **budget_of(terms))

    def _record(
        self, check: Check, corrected: Corrected, conditions: Conditions, place: Circumstances
    ) -> CheckStandard:
        chart, trend, settled = check.chart, check.trend, corrected.settled
        air, lead = conditions.fresh_temperature(settled.utc_s), conditions.lead
        return CheckStandard(
            bench=place.bench,
            meter_id=settled.meter_id,
            resistor=self.resistor.name,
            certificate_ohm=self.resistor.certificate_ohm,
            certificate_expanded_ohm=self.resistor.expanded_ohm,
            raw_ohm=corrected.raw_ohm,
            lead_ohm=corrected.lead_ohm,
            reading_ohm=corrected.reference_ohm,
            standard_uncertainty_ohm=corrected.standard_uncertainty_ohm,
            expanded_ohm=corrected.expanded_ohm,
            in_control=check.in_control,
            signs=check.signs,
            centre_ohm=chart.centre_ohm if chart else None,
            lower_ohm=chart.lower_ohm if chart else None,
            upper_ohm=chart.upper_ohm if chart else None,
            moving_range_upper_ohm=chart.moving_range_upper_ohm if chart else None,
            before_ohm=self.history_ohm[-1] if self.history_ohm else None,
            slope_ohm=trend.slope if trend else None,
            slope_points=trend.points if trend else None,
            stops=self.stops,
            quantity=settled.quantity,
            operator=place.operator,
            meter_hash=place.meter_hash,
            bench_hash=place.bench_hash,
            software=place.software,
            utc_s=settled.utc_s,
            substitutes=self.comparing is not None,
            range_full_scale_ohm=settled.range_full_scale_si,
            resolution_ohm=settled.resolution_si,
            touch_u_ohm=corrected.part_ohm(TOUCH_TERMS),
            celsius=None if air is None else air.celsius,
            lead_zero_utc_s=None if lead is None else lead.utc_s,
        )

    def _notices(self, record: CheckStandard) -> list[Notice]:
        if record.in_control:
            return []
        facts: dict[str, Fact] = {
            "resistor": self.resistor.name,
            "reading_ohm": record.reading_ohm,
            "signs": tuple(record.signs),
            "stops": self.stops,
        }
        weight = Severity.STOP if self.stops else Severity.WARNING
        return [Notice(weight, Code.CHECK_OUT_OF_CONTROL, record.utc_s, facts=facts)]


def _on(statement: RangeAccuracy, settled: Settled) -> Settled:
    """The value with the range that the meter's file takes it for."""
    full, count = statement.range_full_scale_si, statement.resolution_si
    return replace(settled, range_full_scale_si=full, resolution_si=count)
