"""What every reading is corrected with: the winding's temperature and the lead zero, each with its age.

Pure: time comes in with each question. Not for the corrections themselves (physics/) nor for asking the
operator (pipeline).
"""

from __future__ import annotations

import math
from dataclasses import dataclass, field, replace

from acquire.physics.substitution import Substitute
from acquire.records import Code, Evidence, Fact, LeadZero, Notice, Severity
from acquire.records.codes import Recheck
from acquire.records.commands import COLDEST_CELSIUS, WARMEST_CELSIUS
from drivers.accuracy import RangeAccuracy
from drivers.reading import Quantity, Reading

TYPED = "typed"
BENCH_FILE = "bench file"
"""Where a temperature came from that no thermometer has read."""

_NEAR_KELVIN, _NEAR_KELVIN_PER_S, _NEAR_AT_MOST_KELVIN = 1.0, 2.0 / 60.0, 5.0
"""How far readings of one thermometer lie apart, how fast the air about it changes, and what no two readings
that follow each other differ by. Workshop choice: a door in winter, or sun on the sensor, moves it by a
degree or two a minute."""

_JUMP_READINGS, _JUMP_S = 3, 30.0
"""How many readings, and for how long, must agree before a jump is taken for true. Workshop choice: a line
that loses a digit now and then does not lose the same one for so long."""

DRIFT_KELVIN_PER_HOUR = 1.0
"""Standard uncertainty that a temperature gains per hour since it was read. Workshop choice: a room with its
door opened and closed moves by a degree or two an hour."""

_TELL_AGAIN_S = 600.0

_AHEAD_S = 60.0
"""How far two clocks of a bench, or one that is slewed, may differ. Workshop choice."""


def fresh(taken_utc_s: float, utc_s: float, oldest_s: float) -> bool:
    """Whether what was taken then still counts now; the one rule for all that has an age.

    What is of a time yet to come was taken, or is looked at, by a wrong clock: its age is not known, and it
    counts no longer. (A clock set back while the bench works moves all times with it: `move_times`.)
    """
    return -_AHEAD_S <= utc_s - taken_utc_s <= oldest_s


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
        temperature_oldest_s: an older one is not used; verdicts wait for a fresh one.
        lead: None until the leads have been zeroed.
        lead_oldest_s: an older zero is asked for again.
        lead_wanted: False where the bench measures with four wires only or its file states the leads.
        recheck: when a zero is looked at again.
        coldest_celsius, warmest_celsius: what the air of the place can be; another reading is not used.
        aside: readings of the thermometer that nothing confirms yet, oldest first.
        doubted: how many were not used.
        references: known resistances as the meter has read them, by name.
    """

    temperature_oldest_s: float = 300.0
    lead_oldest_s: float = 8 * 3600.0
    lead_wanted: bool = True
    temperature: Temperature | None = None
    lead: LeadZero | None = None
    recheck: Recheck = Recheck.SHIFT
    coldest_celsius: float = COLDEST_CELSIUS
    warmest_celsius: float = WARMEST_CELSIUS
    aside: list[Temperature] = field(default_factory=list)
    doubted: int = 0
    _told_utc_s: float = -math.inf
    _measured: Temperature | None = None
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

    def read(self, reading: Reading, standard_uncertainty_kelvin: float) -> list[Notice]:
        """Take one reading of a thermometer, unless it cannot be of this place or nothing confirms it.

        The first is used when a second agrees. Later ones must lie near the one before; a jump is taken for
        true when readings have agreed about it for a while. Anything that is no temperature is ignored.
        Gives a notice where a reading is not used, at most once in a while.
        """
        if reading.quantity is not Quantity.TEMPERATURE or reading.value_si is None:
            return []
        new = Temperature(reading.value_si, standard_uncertainty_kelvin, reading.utc_s, reading.meter_id)
        if not self.coldest_celsius <= new.celsius <= self.warmest_celsius:
            return self._doubt(Code.TEMPERATURE_IMPOSSIBLE, new)
        before = self._measured
        if before is not None and not fresh(before.utc_s, new.utc_s, self.temperature_oldest_s):
            before = None
        if before is None or not _near(before, new):
            if self.aside and not _near(self.aside[-1], new):
                self.aside.clear()
            self.aside.append(new)
            confirmed = len(self.aside) >= (2 if before is None else _JUMP_READINGS)
            if before is not None:
                confirmed &= new.utc_s - self.aside[0].utc_s >= _JUMP_S
            if not confirmed:
                return [] if before is None else self._doubt(Code.TEMPERATURE_JUMPED, new)
        self.aside.clear()
        self.temperature = self._measured = new
        return []

    def _doubt(self, code: Code, new: Temperature) -> list[Notice]:
        self.doubted += 1
        if 0.0 <= new.utc_s - self._told_utc_s < _TELL_AGAIN_S:
            return []
        self._told_utc_s = new.utc_s
        facts: dict[str, Fact] = {"celsius": new.celsius, "source": new.source, "doubted": self.doubted}
        if code is Code.TEMPERATURE_IMPOSSIBLE:
            facts |= {"lower": self.coldest_celsius, "upper": self.warmest_celsius}
        elif self._measured is not None:
            facts |= {"before": self._measured.celsius}
        return [Notice(Severity.WARNING, code, new.utc_s, facts=facts)]

    def fresh_temperature(self, utc_s: float) -> Temperature | None:
        """The latest temperature, or None if there is none or it is too old.

        It is known less well the older it is: `DRIFT_KELVIN_PER_HOUR`.
        """
        latest = self.temperature
        if latest is None or not fresh(latest.utc_s, utc_s, self.temperature_oldest_s):
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
        return self.lead is None or not fresh(self.lead.utc_s, utc_s, self.lead_oldest_s)


def _near(before: Temperature, new: Temperature) -> bool:
    """Whether the air can have changed so much between two readings; a clock set back counts as no time."""
    by_s = max(0.0, new.utc_s - before.utc_s)
    allowed = min(_NEAR_KELVIN + _NEAR_KELVIN_PER_S * by_s, _NEAR_AT_MOST_KELVIN)
    return abs(new.celsius - before.celsius) <= allowed
