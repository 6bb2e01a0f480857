"""The way of one reading: Reading -> settle -> correct -> match -> judge -> events. Synchronous and pure.

Readings, commands and ticks go in, events come out, in the order in which they happened. It opens no port,
reads no clock and throws no dice: fed the same recording it gives the same verdicts. Everything that touches
the world is in `acquire.daemon`.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field, replace

from acquire.conditions import Conditions
from acquire.errors import InputImpossible
from acquire.physics.copper import CONDUCTORS
from acquire.physics.correct import correct
from acquire.records import (
    Ask,
    Circumstances,
    Command,
    ConfirmOpen,
    Contact,
    Corrected,
    Event,
    Fit,
    GiveUpUnit,
    Judged,
    LiftOff,
    Limits,
    Match,
    MeasureAgain,
    Note,
    Notice,
    Outcome,
    Prompt,
    Settled,
    SkipStep,
    StartUnit,
    Step,
    UnitStarted,
    Verdict,
    Weight,
    ZeroLeads,
)
from acquire.settle import Expectation, SettleFilter, SettleSettings
from acquire.steps.matcher import weigh
from acquire.steps.pairs import PairTable
from acquire.steps.setup_choice import MeterStatements, Wanted, close_enough_ohm, expected_ohm, quantity_for
from acquire.steps.unit import Ruling, UnitProgress
from acquire.steps.warm import WARM_CHECK
from acquire.steps.zeroing import LEADS, take_zero
from acquire.verdict.close import close_unit
from acquire.verdict.judge import Attempt, judge, judge_open, judge_repeat
from acquire.watch import ReadingWatch
from drivers.reading import Quantity, Reading

TOUCH_TERMS = frozenset({"repeatability", "leftover drift", "display resolution", "contact"})
"""Budget terms that differ from one touch to the next; the others cancel when a pair is measured twice."""

FAILING = frozenset({Outcome.CONDITIONAL_FAIL, Outcome.FAIL})

SLID = 0.1
"""A value that moves by more than this fraction without a lift-off has changed pins; workshop choice."""


@dataclass(slots=True)
class Touch:
    """What came of the contact that is going on: the settled value that was last acted on."""

    settled: Settled


@dataclass(slots=True)
class Pipeline:
    """The heart of one bench.

    Attributes:
        place: who measures what, where, with what.
        meter: what the meter's file states of its accuracy.
        conditions: temperature and lead zero.
        settle: limits of the settle stage.
        four_wire_below_ohm: steps with a smaller nominal use four wires; None for a meter with two.
        unit: the unit on the bench, None between units.
    """

    place: Circumstances
    meter: MeterStatements
    conditions: Conditions
    settle: SettleSettings = field(default_factory=SettleSettings)
    four_wire_below_ohm: float | None = None
    unit: UnitProgress | None = None
    table: PairTable = field(init=False)
    _filter: SettleFilter = field(init=False)
    _watch: ReadingWatch = field(default_factory=ReadingWatch)
    _started: UnitStarted | None = None
    _zeroing: bool = False
    _touch: Touch | None = None
    _asked_s: float = 0.0
    _in_contact: bool = False
    _prompt: Prompt | None = None

    def __post_init__(self) -> None:
        """The table of pairs fills as it is asked; nothing is solved yet."""
        self.table = PairTable(self.place.sheet)
        self._filter = SettleFilter(self.settle)

    # ------------------------------------------------------------------ in

    def feed(self, reading: Reading) -> list[Event]:
        """Take one reading of the ohms meter."""
        wanted = self.wanted
        events: list[Event] = list(self._watch.notices(reading, wanted.quantity))
        self._filter.expect(
            Expectation(wanted.slow, wanted.quantity, close_enough_si=wanted.close_enough_ohm)
        )
        for event in self._filter.feed(reading):
            events.append(event)
            if isinstance(event, Contact):
                self._in_contact = True
            elif isinstance(event, Settled):
                events += self._settled(event)
            elif isinstance(event, LiftOff):
                self._lifted(event)
        return [*events, *self._asked(reading.monotonic_s)]

    def feed_temperature(self, reading: Reading, standard_uncertainty_kelvin: float) -> None:
        """Take one reading of the thermometer."""
        self.conditions.read(reading, standard_uncertainty_kelvin)

    def tick(self, monotonic_s: float, utc_s: float) -> list[Event]:
        """Let time pass: a meter gone silent, a contact that does not come."""
        events: list[Event] = []
        for event in self._filter.tick(monotonic_s, utc_s):
            events.append(event)
            if isinstance(event, LiftOff):
                self._lifted(event)
        return [*events, *self._asked(monotonic_s)]

    def command(self, command: Command, monotonic_s: float, utc_s: float) -> list[Event]:
        """Take one command. One that cannot be carried out is answered by a notice and changes nothing."""
        try:
            events = self._obey(command, utc_s)
        except InputImpossible as error:
            events = [Notice(Weight.WARNING, "command.refused", str(error), utc_s)]
        return [*events, *self._asked(monotonic_s)]

    def link_lost(self) -> None:
        """The meter is gone: whatever was settling is void."""
        self._filter.reset()
        self._touch, self._in_contact = None, False

    def resume(self, started: UnitStarted, verdicts: Sequence[Verdict]) -> None:
        """Put an unfinished unit back on the bench, with the verdicts of its record, oldest first."""
        self.unit = UnitProgress(self.table, started.serial)
        self.unit.resume(verdicts)
        self._started = started

    @property
    def wanted(self) -> Wanted:
        """What the meter should be set to now."""
        if self._zeroing:
            return LEADS
        step = self.unit.current if self.unit else None
        if step is None:
            return Wanted()
        quantity = quantity_for(step, self.table.nominal_ohm(step.pair), self.four_wire_below_ohm)
        expected = expected_ohm(self.table, step, self.place.purpose, quantity, self.meter)
        return Wanted(quantity, expected, step.slow, close_enough_ohm(self.table, step, self.place.purpose))

    # ------------------------------------------------------------------ the way

    def _settled(self, settled: Settled) -> list[Event]:
        """A value is at rest: the lead zero if that was asked for, else a step's."""
        if self._zeroing:
            return self._zero(settled)
        unit = self.unit
        if unit is None or not self._is_news(settled, unit) or (step := unit.current) is None:
            return []
        not_lifted = self._touch is not None and self._touch.settled.quantity is not settled.quantity
        corrected = self._correct(settled, step)
        if isinstance(corrected, Notice):
            return [corrected]
        limits = self.table.limits_for(step, self.place.purpose)
        match = weigh(corrected, step.pair, self.table, limits=limits, known=unit.known())
        if not_lifted and match.fit is not Fit.EXPECTED:
            return []  # the meter was set anew under the probes, which still lie on the last pair
        self._touch = Touch(settled)
        if unit.admit(match) is Ruling.HINT:
            code = "pair.other" if match.fit is Fit.OTHER_PAIR else "pair.unclear"
            hint = Notice(Weight.WARNING, code, match.hint, settled.utc_s, unit.serial, step.pair)
            return [match, hint]
        return [match, *self._judged(match, step, unit)]

    def _is_news(self, settled: Settled, unit: UnitProgress) -> bool:
        """Whether a report is a new touch, or a correction of the one acted on (which is then taken back)."""
        touch = self._touch
        if touch is None or touch.settled.contact_s != settled.contact_s:
            return True
        before = touch.settled.value_si
        moved = abs(settled.value_si - before)
        if moved <= max(touch.settled.expanded_si, settled.expanded_si):
            return False
        if moved <= SLID * abs(before):
            unit.take_back()
        return True

    def _correct(self, settled: Settled, step: Step) -> Corrected | Notice:
        """Leads and temperature off; a notice where something needed for that is missing."""
        temperature = self.conditions.fresh_temperature(settled.utc_s)
        if temperature is None:
            text = "There is no fresh temperature, so verdicts wait: check the thermometer or type one in."
            return Notice(Weight.STOP, "temperature.missing", text, settled.utc_s, pair=step.pair)
        statement = self.meter.in_use(settled.quantity, settled.range_full_scale_si, settled.value_si)
        if statement is None:
            text = (
                f"The meter file {self.place.meter_model} states no accuracy for {settled.value_si:.4g} ohm "
                "on the range in use, so there is no verdict: change the range or add it to the file."
            )
            return Notice(Weight.STOP, "meter.unstated", text, settled.utc_s, pair=step.pair)
        return correct(
            settled,
            four_wire=settled.quantity is Quantity.RESISTANCE_4W,
            lead=self.conditions.lead,
            now_utc_s=settled.utc_s,
            winding_celsius=temperature.celsius,
            winding_u_kelvin=temperature.standard_uncertainty_kelvin,
            reference_celsius=self.place.sheet.reference_celsius,
            conductor=CONDUCTORS[self.table.material(step.pair)],
            accuracy=statement,
            ambient_celsius=temperature.celsius,
        )

    def _judged(self, match: Match, step: Step, unit: UnitProgress) -> list[Event]:
        """Decide, let the unit's progress say whether it counts, and close the unit after its last step."""
        corrected = match.corrected
        settled = corrected.settled
        settle_s = settled.monotonic_s - settled.contact_s
        attempt = Attempt(unit.serial, unit.attempt, settled.revision, settle_s=settle_s)
        ohm, u_ohm = corrected.reference_ohm, corrected.standard_uncertainty_ohm
        repeat_u_ohm = corrected.part_ohm(TOUCH_TERMS)
        if step.name == WARM_CHECK:
            counts = unit.judged(Outcome.PASS, ohm, u_ohm, repeat_u_ohm=repeat_u_ohm)
            verdict, evidence = judge_repeat(match, step, unit.moved() or 0.0, attempt, self.place)
        else:
            limits, nominal = self._limits(step)
            verdict, evidence = judge(match, step, limits, nominal, attempt, self.place)
            unit.warm_check = not {unit.outcome, verdict.outcome} & FAILING
            counts = unit.judged(verdict.outcome, ohm, u_ohm, repeat_u_ohm=repeat_u_ohm)
        return [Judged(replace(verdict, counts=counts), evidence), *self._closed(settled.utc_s)]

    def _limits(self, step: Step) -> tuple[Limits, float]:
        """Limits and nominal of a step, for the bench's purpose."""
        return self.table.limits_for(step, self.place.purpose), self.table.nominal_ohm(step.pair)

    def _closed(self, utc_s: float, given_up: str = "") -> list[Event]:
        """The unit's own result, once it is done or given up."""
        unit, started = self.unit, self._started
        if unit is None or started is None or not (unit.done or given_up):
            return []
        self.unit = self._started = None
        return [close_unit(unit, started, self.place, utc_s, given_up)]

    def _zero(self, settled: Settled) -> list[Event]:
        """Take the lead zero from shorted probes."""
        zero, notices = take_zero(settled, self.conditions.lead, self.place)
        if zero is None:
            return list(notices)
        self._touch = Touch(settled)
        self.conditions.lead, self._zeroing = zero, False
        return [zero, *notices]

    def _lifted(self, event: LiftOff) -> None:
        self._touch, self._in_contact, self._asked_s = None, False, event.monotonic_s

    # ------------------------------------------------------------------ the operator

    def _obey(self, command: Command, utc_s: float) -> list[Event]:
        match command:
            case StartUnit():
                return self._start(command, utc_s)
            case ZeroLeads():
                self._zeroing = True
                return []
            case Note():
                serial = self.unit.serial if self.unit else ""
                return [Notice(Weight.REMARK, "note", command.text, utc_s, serial)]
            case _ if self.unit is None:
                raise InputImpossible("There is no unit on the bench.", "Scan or type its serial first.")
            case _:
                return self._obey_for_unit(command, self.unit, utc_s)

    def _obey_for_unit(self, command: Command, unit: UnitProgress, utc_s: float) -> list[Event]:
        match command:
            case MeasureAgain():
                unit.measure_again(command.step)
            case SkipStep():
                step = unit.skip(command.reason, command.step)
                text = f"{step.name} was left out: {command.reason}"
                notice = Notice(Weight.WARNING, "step.skipped", text, utc_s, unit.serial, step.pair)
                return [notice, *self._closed(utc_s)]
            case GiveUpUnit():
                return self._closed(utc_s, f"given up: {command.reason}")
            case ConfirmOpen():
                return self._confirmed_open(unit, utc_s)
        return []

    def _start(self, command: StartUnit, utc_s: float) -> list[Event]:
        """Put a unit on the bench; the one before ends as it is."""
        if self.unit is not None and self.unit.serial == command.serial:
            raise InputImpossible(f"{command.serial} is on the bench already.")
        events = self._closed(utc_s, "given up: the next unit was started")
        place = self.place
        self.unit = UnitProgress(self.table, command.serial)
        self._started = UnitStarted(
            place.bench,
            command.serial,
            place.sheet.name,
            place.sheet.content_hash,
            place.purpose,
            command.batch or place.batch,
            command.operator or place.operator,
            utc_s,
        )
        self._zeroing = self.conditions.lead_zero_due(utc_s)
        self._touch = None
        return [*events, self._started]

    def _confirmed_open(self, unit: UnitProgress, utc_s: float) -> list[Event]:
        """Believe the operator that the probes are on the pair, unless the meter says otherwise."""
        step = unit.current
        if step is None or self._zeroing:
            raise InputImpossible("No pair is asked for now.")
        if self._in_contact:
            raise InputImpossible(f"The meter reads a value, so {step.pair} is not open.", "Hold still.")
        attempt = Attempt(unit.serial, unit.attempt)
        outcome, counts = unit.confirmed_open()
        limits, nominal = self._limits(step)
        verdict, evidence = judge_open(step, limits, nominal, attempt, self.place, utc_s)
        verdict = replace(verdict, outcome=outcome, counts=counts)
        self._asked_s, self._prompt = 0.0, None
        return [Judged(verdict, evidence), *self._closed(utc_s)]

    def _asked(self, monotonic_s: float) -> list[Event]:
        """The prompt, when it has changed."""
        prompt = self._prompt_now(monotonic_s)
        if prompt == self._prompt:
            return []
        if self._prompt is None or prompt.pair != self._prompt.pair or prompt.step != self._prompt.step:
            self._asked_s = monotonic_s
            prompt = self._prompt_now(monotonic_s)
        self._prompt = prompt
        return [prompt]

    def _prompt_now(self, monotonic_s: float) -> Prompt:
        serial = self.unit.serial if self.unit else ""
        if self._zeroing:
            return Prompt(Ask.SHORT_PROBES, "Hold the probes together, to zero the leads.", serial)
        if self.unit is None:
            return Prompt(Ask.START_UNIT, "Scan or type the serial of the next unit.")
        return self.unit.prompt(0.0 if self._in_contact else monotonic_s - self._asked_s)
