"""What the bench is asked to do beside its units: lead zero, check standard, typed temperatures and results.

Pure, like the pipeline that calls it. The lead zero comes from probes held together; subtracting it is
physics/leads. Not for a unit's own steps (unit_work).
"""

from __future__ import annotations

import math
from collections.abc import Iterable
from dataclasses import dataclass, field, replace

from acquire.conditions import LEADS as LEADS_GATE
from acquire.conditions import CalibrationDue, Conditions, Temperature
from acquire.heart.attempt import clock_set_s
from acquire.physics.leads import CONTACT_OHM, LEAD_LIMIT_OHM, moved
from acquire.plausible import Doubt, Gate, Plausibility, Seen, fresh
from acquire.records import (
    Ask,
    CheckMeter,
    CheckStandard,
    Circumstances,
    ClockSet,
    Code,
    Event,
    Fact,
    LeadZero,
    Notice,
    OverrideCheck,
    Prompt,
    Recorded,
    Refusal,
    Refused,
    Settled,
    Severity,
    TypedResult,
    TypeResult,
    TypeTemperature,
    UnitResult,
    UnitStarted,
    ZeroLeads,
)
from acquire.records.codes import Recheck
from acquire.steps.checking import CheckDuty
from acquire.steps.setup_choice import Wanted
from acquire.unit_result import VisitResult, revised, with_typed
from acquire.verdict.typed import Habit, typed_result
from acquire.verdict.typed_doubt import TypedGate
from acquire.verdict.typed_wanted import guidance
from drivers.models import MeterModel
from drivers.reading import Quantity

Duty = ZeroLeads | CheckMeter | OverrideCheck | TypeTemperature | TypeResult | ClockSet
"""Commands that are carried out here."""


@dataclass(slots=True)
class Duties:
    """The duties of one bench.

    Attributes:
        place: who measures what, where, with what.
        meter: what the meter's file states.
        conditions: temperature and lead zero.
        checks: the check standard and the references, in the order in which they are asked for.
        habit: instrument and accuracy of typed insulation results.
        calibration: when the meter's falls due; None where that is not known, or was told at the start.
        one_hand: who zeroes is who did before; not so in a study, nor with relays.
        zeroing: the leads are to be zeroed now.
        visit: of the unit on the bench, or the last one, with what was typed for it.
        before: the visit before it.
        latest_utc_s: of the record that was taken up; no clock that is behind it is right.
        typed: the gate before results that are typed.
    """

    place: Circumstances
    meter: MeterModel
    conditions: Conditions
    checks: tuple[CheckDuty, ...] = ()
    habit: Habit = field(default_factory=Habit)
    calibration: CalibrationDue | None = None
    one_hand: bool = True
    zeroing: bool = False
    visit: VisitResult = field(default_factory=VisitResult)
    before: VisitResult = field(default_factory=VisitResult)
    latest_utc_s: float = -math.inf
    typed: TypedGate = field(default_factory=TypedGate)

    @property
    def check(self) -> CheckDuty | None:
        """The one to look at: that is asked for, or stops the bench, or else the first; None without any."""
        by_need = sorted(self.checks, key=lambda each: (not each.asked, not each.blocked))
        return by_need[0] if by_need else None

    @property
    def asked(self) -> bool:
        """Whether one of them comes before the unit's next step."""
        return self.zeroing or any(check.asked for check in self.checks)

    @property
    def wanted(self) -> Wanted:
        """How the meter should be set for the one that is asked for."""
        return LEADS if self.zeroing or self.check is None else self.check.wanted

    @property
    def purpose(self) -> tuple[str, ...]:
        """What a touch is for while one of them is asked for; see `contact`."""
        return ("leads",) if self.zeroing or self.check is None else ("check",)

    def prompt(self, serial: str) -> Prompt:
        """The one that is asked for, as a person would read it."""
        if self.zeroing or self.check is None:
            return Prompt(Ask.SHORT_PROBES, serial)
        return self.check.prompt(serial)

    def go_on(self, before: Duties) -> None:
        """Take up what was going on under other files, between two units."""
        self.zeroing, self.visit, self.before = before.zeroing, before.visit, before.before
        for check in self.checks:
            for earlier in before.checks:
                check.go_on(earlier)

    def recall(self, records: Iterable[CheckStandard]) -> None:
        """Take up charts and references where the journal left them.

        Args:
            records: of this meter, oldest first.
        """
        kept = list(records)
        for check in self.checks:
            check.recall(kept)
        for record in kept:
            self._looked(record)

    def _looked(self, record: CheckStandard) -> None:
        """Values are compared from now on with what a reference has just read, or with it no more."""
        for check in self.checks:
            if check.is_of_it(record):
                self.conditions.references.pop(record.resistor, None)
                if (known := check.substitute(record)) is not None:
                    self.conditions.references[record.resistor] = known

    # ------------------------------------------------------------------ when they fall due

    def between_units(self, utc_s: float) -> None:
        """Nothing is on the bench: the time for a check that is due, and for leads whose zero is too old."""
        lead = self.conditions.lead
        due = self.conditions.lead_zero_due(utc_s)
        if due and lead is not None and self.conditions.recheck is not Recheck.NEVER:
            self.zeroing = True
        for check in self.checks:
            if not check.asked and check.due(utc_s):
                check.asked = True
                self.zeroing = self.zeroing or (due and not check.four_wire)

    def permit(self, utc_s: float) -> list[Notice]:
        """Before a unit is begun: a meter that has fallen due meanwhile is told once, or refused.

        Raises:
            Refused: it is refused.
        """
        due = self.calibration
        utc_s = max(utc_s, self.latest_utc_s)
        if due is None or not due.past(utc_s):
            return []
        if due.refuse:
            raise Refused(Refusal.CALIBRATION_DUE, **due.facts(utc_s))
        self.calibration = None
        return [Notice(Severity.WARNING, Code.CALIBRATION_DUE, utc_s, facts=due.facts(utc_s))]

    def replay(self, record: Recorded, utc_s: float) -> None:
        """Take an entry of the record, as when it was made.

        Args:
            record: in order; of other meters and other resistors too.
            utc_s: now: a lead zero from the future has an age that nobody knows.
        """
        self.latest_utc_s = max(self.latest_utc_s, record.utc_s)
        match record:
            case UnitStarted():
                self.begin(record)
            case UnitResult() if record.revision and self.visit.ended:
                self.visit.last = record
            case UnitResult():
                self.ended(record)
                self.visit.last = record
            case TypedResult():
                self.visit.typed.append(record)
            case LeadZero() if record.meter_id == self.place.meter_id and self.conditions.lead_wanted:
                if fresh(record.utc_s, utc_s, math.inf):
                    self._zeroed(record)
            case CheckStandard():
                for check in self.checks:
                    check.replay(record)
                self._looked(record)
            case Notice():
                self._replay_notice(record)

    def _replay_notice(self, notice: Notice) -> None:
        facts = notice.facts
        match notice.code:
            case Code.LEADS_ASKED:
                self.zeroing = True
            case Code.CHECK_ASKED | Code.CHECK_OVERRIDDEN | Code.CHECK_OTHER:
                for check in self.checks:
                    check.replay_notice(notice)
            case Code.TEMPERATURE_TYPED:
                celsius, u_kelvin = facts.get("celsius"), facts.get("standard_uncertainty_kelvin")
                if isinstance(celsius, int | float) and isinstance(u_kelvin, int | float):
                    self.conditions.temperature = Temperature(celsius, u_kelvin, notice.utc_s)
            case Code.CLOCK_SET_BACK:
                self._move_times(-clock_set_s(notice))

    def clock_doubt(self, utc_s: float) -> list[Notice]:
        """Told where the clock is behind what it has written itself: what it was then has no age now."""
        if fresh(self.latest_utc_s, utc_s, math.inf):
            return []
        facts: dict[str, Fact] = {"by_s": self.latest_utc_s - utc_s}
        return [Notice(Severity.WARNING, Code.CLOCK_BEHIND, utc_s, facts=facts)]

    def _zeroed(self, zero: LeadZero) -> None:
        self.conditions.lead, self.zeroing = zero, False

    def reopen(self, started: UnitStarted) -> None:
        """A unit that was given up is back on the bench."""
        if self.before.started == started:
            self.visit, self.before = self.before, self.visit
        self.visit.ended = False

    def begin(self, started: UnitStarted) -> None:
        """A unit is put on the bench."""
        self.before, self.visit, self.typed = self.visit, VisitResult(started), TypedGate()
        self.zeroing = self.conditions.lead_zero_due(started.utc_s)
        for check in self.checks:
            check.asked = check.asked or check.due(started.utc_s)

    def ended(self, result: UnitResult) -> UnitResult:
        """A unit has its result from its ohms; gives it with what was typed.

        Of a unit that was given up and has come back, it is the next revision.
        """
        conditions = self.conditions
        if conditions.recheck is Recheck.UNIT and conditions.lead_wanted and conditions.lead is not None:
            self.zeroing = True
        visit = self.visit
        if visit.last is not None:
            result = replace(result, revision=visit.last.revision + 1)
        visit.last, visit.ended = with_typed(result, visit.typed), True
        return visit.last

    def doubted(self, *, doubted: bool) -> UnitResult | None:
        """The result that was just given, now that the batch has said whether its first unit is in doubt."""
        if self.visit.last is not None:
            self.visit.last = with_typed(self.visit.last, self.visit.typed, doubted=doubted)
        return self.visit.last

    def revise(self, utc_s: float, *, doubted: bool | None = None) -> list[Event]:
        """The next revision of the unit that has just left, where something has changed it.

        Args:
            utc_s: now.
            doubted: whether it is in doubt as the first of its batch; None: as before.
        """
        visit = self.visit
        if visit.last is None or not visit.ended:
            return []
        now = revised(visit.last, visit.typed, utc_s, doubted=doubted)
        if now is None:
            return []
        visit.last = now
        return [now]

    # ------------------------------------------------------------------ what comes in

    def take(self, settled: Settled) -> list[Event]:
        """A value at rest while one of them is asked for."""
        if self.zeroing or self.check is None:
            gate, before = self.conditions.gate(LEADS_GATE), self.conditions.lead
            gate.known = None
            if before is not None and self.one_hand:
                gate.known = Seen(before.value_ohm, before.utc_s)
            zero, notices = take_zero(settled, before, self.place, gate)
            if zero is None:
                return list(notices)
            self._zeroed(zero)
            return [zero, *notices]
        found = self.check.take(settled, self.conditions, self.meter, self.place)
        for event in found:
            if isinstance(event, CheckStandard):
                self._looked(event)
        return found

    def obey(self, command: Duty, utc_s: float) -> list[Event]:
        """Carry out a command.

        Raises:
            Refused: it cannot be carried out now. InputImpossible: a typed line cannot be.
        """
        match command:
            case ZeroLeads():
                self.zeroing = True
                return [Notice(Severity.REMARK, Code.LEADS_ASKED, utc_s)]
            case TypeTemperature():
                return [self._temperature(command, utc_s)]
            case TypeResult():
                return self._result(command, utc_s)
            case ClockSet(by_s):
                back = by_s < 0.0
                if back:
                    self._move_times(-by_s)
                code = Code.CLOCK_SET_BACK if back else Code.CLOCK_SET_FORWARD
                return [Notice(Severity.WARNING, code, utc_s, facts={"by_s": abs(by_s)})]
            case CheckMeter():
                self._needed().asked = True
                for check in self.checks:
                    check.asked = True
                return [Notice(Severity.REMARK, Code.CHECK_ASKED, utc_s)]
            case OverrideCheck():
                return [self._needed().override(command.reason, utc_s)]

    def _needed(self) -> CheckDuty:
        if self.check is None:
            raise Refused(Refusal.CHECK_ABSENT)
        return self.check

    def _temperature(self, command: TypeTemperature, utc_s: float) -> Notice:
        """Take a temperature that the operator has read."""
        u_kelvin = command.standard_uncertainty_kelvin
        if u_kelvin is None:
            raise Refused(Refusal.TEMPERATURE_UNSURE)
        before, conditions = self.conditions.temperature, self.conditions
        doubt = conditions.typed(Temperature(command.celsius, u_kelvin, utc_s))
        facts: dict[str, Fact] = {"celsius": command.celsius, "standard_uncertainty_kelvin": u_kelvin}
        if doubt is Doubt.IMPOSSIBLE:
            facts |= {"lower": conditions.coldest_celsius, "upper": conditions.warmest_celsius}
            raise Refused(Refusal.TEMPERATURE_IMPOSSIBLE, **facts)
        if doubt is not None and before is not None:
            raise Refused(Refusal.TEMPERATURE_JUMPED, before=before.celsius, **facts)
        return Notice(Severity.REMARK, Code.TEMPERATURE_TYPED, utc_s, facts=facts)

    def _result(self, command: TypeResult, utc_s: float) -> list[Event]:
        """Take a typed result of the unit on the bench, or of the one that has just left it."""
        place = self.place
        if "=" not in command.text:
            facts = {"guidance": guidance(place.sheet, place.purpose)}
            return [Notice(Severity.REMARK, Code.RESULT_HELP, utc_s, facts=facts)]
        if self.visit.started is None:
            raise Refused(Refusal.NO_UNIT_YET)
        air = self.conditions.fresh_temperature(utc_s)
        celsius = None if air is None else air.celsius
        unit, others = self.visit.started, self.visit.typed
        result = typed_result(
            command.text, unit, place, utc_s, habit=self.habit, celsius=celsius, others=others
        )
        self.typed.look(result, celsius)
        self.visit.typed.append(result)
        return [result, *self.revise(utc_s)]

    def _move_times(self, by_s: float) -> None:
        """The clock was set back: what has an age goes with it. Set forward, it is asked for again."""
        self.latest_utc_s -= by_s
        self.conditions.move_times(by_s)
        for check in self.checks:
            if check.last_utc_s is not None:
                check.last_utc_s -= by_s


LEADS = Wanted(Quantity.RESISTANCE, LEAD_LIMIT_OHM, close_enough_ohm=CONTACT_OHM / 2)
"""How the meter is set for it."""

ZEROS = Plausibility(-CONTACT_OHM * 10, LEAD_LIMIT_OHM, near=0.1, near_per_s=0.02 / 3600.0, near_at_most=0.2)
"""What a zero can be after another, ohms. Workshop choice: leads that break go by tenths of an ohm, and so
does a zero that was taken over a dirty tip."""

COUNTS = 2.0
"""How many counts more it may move on a coarse display; workshop choice."""


def take_zero(
    settled: Settled, before: LeadZero | None, place: Circumstances, gate: Gate
) -> tuple[LeadZero | None, tuple[Notice, ...]]:
    """Make a lead zero of a settled value.

    Args:
        settled: with the probes held together.
        before: the zero that held until now.
        place: the bench.
        gate: knows what it is compared with; a jump counts when another touch reads the same.

    Returns:
        (zero, notices). No zero where the value is doubted. Where the zero has moved by more than half of
        what the old one allowed (95 %), low-ohm verdicts since are marked as doubtful.
    """
    value, utc_s = settled.value_si, settled.utc_s
    told = any(each.touch == settled.contact_s for each in gate.aside)
    doubt = gate.look(
        ZEROS, Seen(value, utc_s, settled.contact_s), more=COUNTS * (settled.resolution_si or 0.0)
    )
    if doubt is Doubt.IMPOSSIBLE:
        return None, (Notice(Severity.WARNING, Code.LEADS_IMPLAUSIBLE, utc_s, facts={"ohm": value}),)
    facts: dict[str, Fact] = {"before_ohm": None if before is None else before.value_ohm, "ohm": value}
    if doubt is not None:
        return None, () if told else (Notice(Severity.WARNING, Code.LEADS_DOUBTED, utc_s, facts=facts),)
    u_ohm = math.hypot(settled.standard_uncertainty_si, CONTACT_OHM)
    zero = LeadZero(place.bench, settled.meter_id, value, u_ohm, utc_s)
    if before is None or not moved(before, zero, 2.0 * math.hypot(before.standard_uncertainty_ohm, u_ohm)):
        return zero, ()
    zero = replace(zero, doubtful_since_utc_s=before.utc_s)
    return zero, (Notice(Severity.WARNING, Code.LEADS_MOVED, utc_s, facts=facts),)
