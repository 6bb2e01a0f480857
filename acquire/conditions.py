"""What every reading is corrected with: the winding's temperature and the lead zero, each with its age.

Pure: time comes in with each question. Not for the corrections themselves (physics/) nor for asking the
operator (pipeline).
"""

from __future__ import annotations

import math
from dataclasses import dataclass, field, replace

from acquire.physics.substitution import Substitute
from acquire.plausible import Doubt, Gate, Plausibility, Seen, fresh
from acquire.records import Code, Evidence, Fact, LeadZero, Notice, Severity
from acquire.records.codes import Recheck
from acquire.records.commands import COLDEST_CELSIUS, WARMEST_CELSIUS
from drivers.accuracy import RangeAccuracy
from drivers.reading import Quantity, Reading

TYPED = "typed"
BENCH_FILE = "bench file"
"""Where a temperature came from that no thermometer has read."""

LEADS = "leads"
"""The gate of the lead zero."""

_DOUBTS = {
    Doubt.IMPOSSIBLE: Code.TEMPERATURE_IMPOSSIBLE,
    Doubt.JUMPED: Code.TEMPERATURE_JUMPED,
    Doubt.APART: Code.TEMPERATURE_APART,
}

AIR = Plausibility(
    COLDEST_CELSIUS,
    WARMEST_CELSIUS,
    near=1.0,
    near_per_s=2.0 / 60.0,
    near_at_most=5.0,
    first=2,
    again=3,
    for_s=30.0,
)
"""Readings of one thermometer, degrees Celsius. Workshop choice: a door in winter, or sun on the sensor,
moves it by a degree or two a minute; a line that loses a digit now and then loses another one soon."""

TYPED_AIR = replace(
    AIR, near=5.0, near_per_s=3.0 / 3600.0, near_at_most=10.0, alike=1.0, first=1, again=2, for_s=0.0
)
"""What somebody types, against what was known: once more is meant. Workshop choice."""

DRIFT_KELVIN_PER_HOUR = 1.0
"""Standard uncertainty that a temperature gains per hour since it was read. Workshop choice: a room with its
door opened and closed moves by a degree or two an hour."""


@dataclass(frozen=True, slots=True)
class Temperature:
    """Where a temperature came from.

    Attributes:
        celsius: of the air about the unit, taken as the winding's own once the unit has soaked.
        standard_uncertainty_kelvin: of that.
        utc_s: when it was read or typed in.
        source: name of the thermometer, "typed" or "bench file".
    """

    celsius: float
    standard_uncertainty_kelvin: float
    utc_s: float
    source: str = TYPED


@dataclass(frozen=True, slots=True)
class CalibrationDue:
    """When a meter's calibration falls due.

    Attributes:
        meter: name of its accuracy file.
        due_utc_s: from then on it is past due.
        refuse: no unit is begun with it then; else it is told once.
    """

    meter: str
    due_utc_s: float
    refuse: bool = False

    def past(self, utc_s: float) -> bool:
        """Whether it is past due."""
        return utc_s >= self.due_utc_s

    def facts(self, utc_s: float) -> dict[str, Fact]:
        """Which meter, and for how many days."""
        return {"meter": self.meter, "overdue_days": int((utc_s - self.due_utc_s) // 86_400)}


@dataclass(slots=True)
class Conditions:
    """The latest temperature and lead zero of a bench.

    Attributes:
        temperature: None until the first one arrives.
        temperature_max_age_s: an older one is not used; verdicts wait for a fresh one.
        lead: None until the leads have been zeroed.
        lead_max_age_s: an older zero is asked for again.
        lead_wanted: False where the bench measures with four wires only or its file states the leads.
        recheck: when a zero is looked at again.
        coldest_celsius, warmest_celsius: what the air of the place can be; another reading is not used.
        gates: what each source has let in and what it puts aside, by the name of a thermometer, `TYPED` or
            `LEADS`.
        references: known resistances as the meter has read them, by name.
    """

    temperature_max_age_s: float = 300.0
    lead_max_age_s: float = 8 * 3600.0
    lead_wanted: bool = True
    temperature: Temperature | None = None
    lead: LeadZero | None = None
    recheck: Recheck = Recheck.SHIFT
    coldest_celsius: float = COLDEST_CELSIUS
    warmest_celsius: float = WARMEST_CELSIUS
    gates: dict[str, Gate] = field(default_factory=dict)
    references: dict[str, Substitute] = field(default_factory=dict)

    def beside(self, quantity: Quantity, accuracy: RangeAccuracy, utc_s: float) -> list[Substitute]:
        """References that a reading on this range can be compared with now."""
        known = self.references.values()
        return [r for r in known if r.serves(quantity, accuracy) and fresh(r.utc_s, utc_s, r.good_for_s)]

    def move_times(self, by_s: float) -> None:
        """The clock was set back: what has an age goes with it, or it would seem fresh for too long."""
        if self.temperature is not None:
            self.temperature = replace(self.temperature, utc_s=self.temperature.utc_s - by_s)
        if self.lead is not None:
            self.lead = replace(self.lead, utc_s=self.lead.utc_s - by_s)
        for name, known in self.references.items():
            zeroed_s = None if known.lead_utc_s is None else known.lead_utc_s - by_s
            self.references[name] = replace(known, utc_s=known.utc_s - by_s, lead_utc_s=zeroed_s)
        for gate in self.gates.values():
            gate.move_times(by_s)

    def gate(self, source: str) -> Gate:
        """The gate before a source."""
        return self.gates.setdefault(source, Gate())

    def read(self, reading: Reading, standard_uncertainty_kelvin: float) -> list[Notice]:
        """Take one reading of a thermometer, unless it is doubted; what is no temperature is ignored.

        Where two thermometers are read, both must agree within their limits of error, and their mean counts.
        Gives a notice where a reading is not used, at most once in a while.
        """
        if reading.quantity is not Quantity.TEMPERATURE or reading.value_si is None:
            return []
        source, celsius, utc_s = reading.meter_id, reading.value_si, reading.utc_s
        gate = self.gate(source)
        told: dict[str, Fact] = {"celsius": celsius, "source": source}
        for earlier in filter(None, [gate.known, *gate.aside[-1:]]):
            told.setdefault("before", earlier.value)
        doubt = gate.look(self._here(AIR), Seen(celsius, utc_s), max_age_s=self.temperature_max_age_s)
        if doubt is None:
            beside, other = self._beside(source, utc_s)
            if other is None or abs(celsius - other) <= 2.0 * math.sqrt(3.0) * standard_uncertainty_kelvin:
                if other is not None:
                    celsius, source = (celsius + other) / 2.0, f"{source}, {beside}"
                self.temperature = Temperature(celsius, standard_uncertainty_kelvin, utc_s, source)
                return []
            gate, doubt = self.gate(min(source, beside)), Doubt.APART  # told once, not by each of the two
            gate.doubted += 1
            told |= {"beside": beside, "other_celsius": other}
        if doubt is Doubt.IMPOSSIBLE:
            told |= {"lower": self.coldest_celsius, "upper": self.warmest_celsius}
        if doubt is Doubt.UNCONFIRMED or not gate.tells(utc_s):
            return []
        return [Notice(Severity.WARNING, _DOUBTS[doubt], utc_s, facts=told | {"doubted": gate.doubted})]

    def _beside(self, source: str, utc_s: float) -> tuple[str, float | None]:
        """The other thermometer that reads just now, and what; the one alone counts where none does."""
        for name, gate in self.gates.items():
            known = None if name in (source, TYPED, LEADS) else gate.known
            if known is not None and fresh(known.utc_s, utc_s, self.temperature_max_age_s):
                return name, known.value
        return "", None

    def typed(self, new: Temperature) -> Doubt | None:
        """Take a temperature that somebody has typed, unless it is doubted; typed once more, it is meant."""
        gate, before = self.gate(TYPED), self.fresh_temperature(new.utc_s)
        gate.known = None if before is None else Seen(before.celsius, before.utc_s)
        doubt = gate.look(self._here(TYPED_AIR), Seen(new.celsius, new.utc_s))
        if doubt is None:
            self.temperature = new
        return doubt

    def _here(self, law: Plausibility) -> Plausibility:
        return replace(law, lower=self.coldest_celsius, upper=self.warmest_celsius)

    def fresh_temperature(self, utc_s: float) -> Temperature | None:
        """The latest temperature, or None if there is none or it is too old.

        It is known less well the older it is: `DRIFT_KELVIN_PER_HOUR`.
        """
        latest = self.temperature
        if latest is None or not fresh(latest.utc_s, utc_s, self.temperature_max_age_s):
            return None
        hours = max(0.0, utc_s - latest.utc_s) / 3600.0
        grown_kelvin = math.hypot(latest.standard_uncertainty_kelvin, DRIFT_KELVIN_PER_HOUR * hours)
        return replace(latest, standard_uncertainty_kelvin=grown_kelvin)

    def on_record(self, evidence: Evidence, *, four_wire: bool) -> Evidence:
        """Add to a verdict's evidence where its temperature and its lead zero came from, and when."""
        air, lead = self.temperature, None if four_wire else self.lead
        return replace(
            evidence,
            temperature_source="" if air is None else air.source,
            temperature_utc_s=None if air is None else air.utc_s,
            lead_zero_utc_s=None if lead is None else lead.utc_s,
        )

    def lead_zero_due(self, utc_s: float) -> bool:
        """Whether the leads must be zeroed before low ohms can be judged well."""
        if not self.lead_wanted:
            return False
        return self.lead is None or not fresh(self.lead.utc_s, utc_s, self.lead_max_age_s)
