"""What the bench is asked to do beside its units: lead zero, check standard, typed temperatures and results.

Pure, like the pipeline that calls it. Not for a unit's own steps (unit_work).
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field, replace

from acquire.conditions import CalibrationDue, Conditions, Recheck, Temperature
from acquire.errors import InputImpossible
from acquire.records import (
    Ask,
    CheckMeter,
    Circumstances,
    ClockSetBack,
    Event,
    Notice,
    OverrideCheck,
    Prompt,
    Settled,
    TypedResult,
    TypeResult,
    TypeTemperature,
    UnitResult,
    UnitStarted,
    Weight,
    ZeroLeads,
)
from acquire.steps.checking import CheckDuty
from acquire.steps.setup_choice import MeterStatements, Wanted
from acquire.steps.zeroing import LEADS, take_zero
from acquire.unit_result import revised, settled
from acquire.verdict.typed import Habit, typed_result
from acquire.verdict.typed_wanted import guidance

Duty = ZeroLeads | CheckMeter | OverrideCheck | TypeTemperature | TypeResult | ClockSetBack
"""Commands that are carried out here."""


@dataclass(slots=True)
class Duties:
    """The duties of one bench.

    Attributes:
        place: who measures what, where, with what.
        meter: what the meter's file states.
        conditions: temperature and lead zero.
        check: the check standard; None on a bench without one.
        habit: instrument and accuracy of typed insulation results.
        calibration: when the meter's falls due; None where that is not known, or was told at the start.
        zeroing: the leads are to be zeroed now.
        started: the unit on the bench, or the last one.
        typed: results typed for it.
        result: how it ended, at its latest revision; None while it is on the bench.
    """

    place: Circumstances
    meter: MeterStatements
    conditions: Conditions
    check: CheckDuty | None = None
    habit: Habit = field(default_factory=Habit)
    calibration: CalibrationDue | None = None
    zeroing: bool = False
    started: UnitStarted | None = None
    typed: list[TypedResult] = field(default_factory=list)
    result: UnitResult | None = None

    @property
    def asked(self) -> bool:
        """Whether one of them comes before the unit's next step."""
        return self.zeroing or (self.check is not None and self.check.asked)

    @property
    def wanted(self) -> Wanted:
        """How the meter should be set for the one that is asked for."""
        return LEADS if self.zeroing or self.check is None else self.check.wanted

    def prompt(self, serial: str) -> Prompt:
        """The one that is asked for, as a person would read it."""
        if self.zeroing or self.check is None:
            return Prompt(Ask.SHORT_PROBES, "Hold the probes together, to zero the leads.", serial)
        return self.check.prompt(serial)

    def go_on(self, before: Duties) -> None:
        """Take up what was going on under other files, between two units."""
        self.zeroing, self.started = before.zeroing, before.started
        self.typed, self.result = before.typed, before.result
        if self.check is not None and before.check is not None:
            self.check.go_on(before.check)

    # ------------------------------------------------------------------ when they fall due

    def between_units(self, utc_s: float) -> None:
        """Nothing is on the bench: the time for a check that is due, and for leads whose zero is too old."""
        lead, check = self.conditions.lead, self.check
        due = self.conditions.lead_zero_due(utc_s)
        if due and lead is not None and self.conditions.recheck is not Recheck.NEVER:
            self.zeroing = True
        if check is not None and not check.asked and check.due(utc_s):
            check.asked = True
            self.zeroing = self.zeroing or (due and not check.four_wire)

    def permit(self, utc_s: float) -> list[Notice]:
        """Before a unit is begun: a meter that has fallen due meanwhile is told once, or refused.

        Raises:
            InputImpossible: it is refused.
        """
        due = self.calibration
        if due is None or not due.past(utc_s):
            return []
        if due.refuse:
            raise InputImpossible(due.sentence(utc_s), due.remedy)
        self.calibration = None
        return [Notice(Weight.WARNING, "calibration.due", due.sentence(utc_s), utc_s)]

    def resume(self, started: UnitStarted, typed: Sequence[TypedResult]) -> None:
        """An interrupted unit is back on the bench, with what was typed for it."""
        self.started, self.typed, self.result = started, list(typed), None

    def begin(self, started: UnitStarted) -> None:
        """A unit is put on the bench."""
        self.started, self.typed, self.result = started, [], None
        self.zeroing = self.conditions.lead_zero_due(started.utc_s)
        if self.check is not None and self.check.due(started.utc_s):
            self.check.asked = True

    def ended(self, result: UnitResult) -> UnitResult:
        """A unit has its result from its ohms; gives it with what was typed."""
        conditions = self.conditions
        if conditions.recheck is Recheck.UNIT and conditions.lead_wanted and conditions.lead is not None:
            self.zeroing = True
        self.result = settled(result, self.typed)
        return self.result

    def doubted(self, result: UnitResult, *, doubted: bool) -> UnitResult:
        """The same, now that the batch has said whether the unit is its first and in doubt."""
        self.result = settled(result, self.typed, doubted=doubted)
        return self.result

    def revise(self, utc_s: float, *, doubted: bool | None = None) -> list[Event]:
        """The next revision of the unit that has just left, where something has changed it.

        Args:
            utc_s: now.
            doubted: whether it is in doubt as the first of its batch; None: as before.
        """
        now = None if self.result is None else revised(self.result, self.typed, utc_s, doubted=doubted)
        if now is None:
            return []
        self.result = now
        return [now]

    # ------------------------------------------------------------------ what comes in

    def take(self, settled: Settled) -> list[Event]:
        """A value at rest while one of them is asked for."""
        if self.zeroing or self.check is None:
            zero, notices = take_zero(settled, self.conditions.lead, self.place)
            if zero is None:
                return list(notices)
            self.conditions.lead, self.zeroing = zero, False
            return [zero, *notices]
        return self.check.take(settled, self.conditions, self.meter, self.place)

    def obey(self, command: Duty, utc_s: float) -> list[Event]:
        """Carry out a command.

        Raises:
            InputImpossible: it cannot be carried out now; says why.
        """
        match command:
            case ZeroLeads():
                self.zeroing = True
                return []
            case TypeTemperature():
                return [self._temperature(command, utc_s)]
            case TypeResult():
                return self._result(command, utc_s)
            case ClockSetBack():
                return [self._set_back(command, utc_s)]
            case CheckMeter():
                self._needed().asked = True
                return []
            case OverrideCheck():
                return [self._needed().override(command.reason, utc_s)]

    def _needed(self) -> CheckDuty:
        if self.check is None:
            raise InputImpossible("This bench has no check standard.", "Add a [check] table to its file.")
        return self.check

    def _temperature(self, command: TypeTemperature, utc_s: float) -> Notice:
        """Take a temperature that the operator has read."""
        u_kelvin = command.standard_uncertainty_kelvin
        if u_kelvin is None:
            raise InputImpossible("A temperature needs its uncertainty.")
        self.conditions.temperature = Temperature(command.celsius, u_kelvin, utc_s)
        text = f"Temperature typed in: {command.celsius:g} °C."
        return Notice(Weight.REMARK, "temperature.typed", text, utc_s)

    def _result(self, command: TypeResult, utc_s: float) -> list[Event]:
        """Take a typed result of the unit on the bench, or of the one that has just left it."""
        place = self.place
        if "=" not in command.text:
            text = "\n".join(guidance(place.sheet, place.purpose))
            return [Notice(Weight.REMARK, "result.help", text, utc_s)]
        if self.started is None:
            raise InputImpossible(
                "No unit was on the bench yet, so whose result is it?", "Scan its serial first."
            )
        air = self.conditions.fresh_temperature(utc_s)
        result = typed_result(
            command.text,
            self.started,
            place,
            utc_s,
            habit=self.habit,
            celsius=None if air is None else air.celsius,
            others=self.typed,
        )
        self.typed.append(result)
        return [result, *self.revise(utc_s)]

    def _set_back(self, command: ClockSetBack, utc_s: float) -> Notice:
        """Move the times of what has an age with the clock, or it would seem fresh for too long."""
        conditions, by_s = self.conditions, command.by_s
        if conditions.temperature is not None:
            then_s = conditions.temperature.utc_s - by_s
            conditions.temperature = replace(conditions.temperature, utc_s=then_s)
        if conditions.lead is not None:
            conditions.lead = replace(conditions.lead, utc_s=conditions.lead.utc_s - by_s)
        if self.check is not None and self.check.last_utc_s is not None:
            self.check.last_utc_s -= by_s
        return Notice(
            Weight.WARNING, "clock.set_back", f"The machine's clock was set back by {by_s:.0f} s.", utc_s
        )
