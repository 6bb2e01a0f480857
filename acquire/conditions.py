"""What every reading is corrected with: the winding's temperature and the lead zero, each with its age.

Pure: time comes in with each question. Not for the corrections themselves (physics/) nor for asking the
operator (pipeline).
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from enum import StrEnum

from acquire.physics.thermometer import DRIFT_KELVIN_PER_HOUR
from acquire.records import Evidence, Fact, LeadZero
from drivers.reading import Quantity, Reading

TYPED = "typed"
BENCH_FILE = "bench file"
"""Where a temperature came from that no thermometer has read."""


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


class Recheck(StrEnum):
    """When a lead zero is looked at again, so that what was measured since can be trusted or doubted.

    UNIT: after every unit. SHIFT: as soon as it is too old and no unit is on the bench. NEVER: only when the
    next unit needs a fresh one.
    """

    UNIT = "unit"
    SHIFT = "shift"
    NEVER = "never"


@dataclass(slots=True)
class Conditions:
    """The latest temperature and lead zero of a bench.

    Attributes:
        temperature: None until the first one arrives.
        temperature_oldest_s: an older one is not used; verdicts wait for a fresh one.
        lead: None until the leads have been zeroed.
        lead_oldest_s: an older zero is asked for again.
        lead_wanted: False where the bench measures with four wires only or its file states the leads.
        recheck: when a zero is looked at again.
    """

    temperature_oldest_s: float = 300.0
    lead_oldest_s: float = 8 * 3600.0
    lead_wanted: bool = True
    temperature: Temperature | None = None
    lead: LeadZero | None = None
    recheck: Recheck = Recheck.SHIFT

    def read(self, reading: Reading, standard_uncertainty_kelvin: float) -> None:
        """Take one reading of a thermometer; anything that is no temperature is ignored."""
        if reading.quantity is Quantity.TEMPERATURE and reading.value_si is not None:
            self.temperature = Temperature(
                reading.value_si, standard_uncertainty_kelvin, reading.utc_s, reading.meter_id
            )

    def fresh_temperature(self, utc_s: float) -> Temperature | None:
        """The latest temperature, or None if there is none or it is too old.

        It is known less well the older it is: `physics.thermometer.DRIFT_KELVIN_PER_HOUR`.
        """
        latest = self.temperature
        if latest is None or utc_s - latest.utc_s > self.temperature_oldest_s:
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
        return self.lead is None or utc_s - self.lead.utc_s > self.lead_oldest_s
