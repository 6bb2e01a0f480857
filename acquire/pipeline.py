"""The way of one reading: Reading -> settle -> (correct -> match -> judge) -> events. Pure.

Readings, commands and ticks go in, events come out, in the order in which they happened. It opens no port,
reads no clock and throws no dice: fed the same recording it gives the same verdicts. Everything that touches
the world is in `acquire.bench.daemon`.
"""

from __future__ import annotations

from collections import deque
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace

from acquire.conditions import CalibrationDue, Conditions
from acquire.errors import InputImpossible
from acquire.heart.batches import BatchCommand, Batches
from acquire.heart.duties import Duties, Duty
from acquire.heart.fixture_hold import FixtureHold
from acquire.heart.touching import Touching
from acquire.heart.unit_work import UnitWork
from acquire.heart.watch import ReadingWatch
from acquire.physics.wire import SpoolCard
from acquire.records import (
    Ask,
    Batch,
    CheckStandard,
    Circumstances,
    Command,
    ConfirmOpen,
    Contact,
    Ending,
    Event,
    FixtureMoved,
    FixtureOpen,
    GiveUpUnit,
    Judged,
    LeadZero,
    LiftOff,
    MakeWay,
    MeasureAgain,
    Note,
    Notice,
    Prompt,
    Settled,
    SkipStep,
    StartUnit,
    TypedResult,
    UnitResult,
    UnitStarted,
    Verdict,
    Weight,
)
from acquire.settle import Expectation, SettleFilter, SettleSettings
from acquire.steps.checking import CheckDuty
from acquire.steps.open_witness import OpenWitness
from acquire.steps.pairs import PairTable
from acquire.steps.recall import LEFT_OUT, left_out
from acquire.steps.setup_choice import MeterStatements, Wanted
from acquire.steps.unit import Order, UnitProgress
from acquire.steps.untested import required
from acquire.verdict.typed import Habit
from drivers.reading import Reading

HELD_REMEMBERED = 1000
"""How many held serials are remembered: a unit that has rested is not held for the same shift again."""


@dataclass(slots=True)
class Pipeline:
    """The heart of one bench.

    Attributes:
        place: who measures what, where, with what.
        meter: what the meter's file states of its accuracy.
        conditions: temperature and lead zero.
        settle: limits of the settle stage.
        four_wire_below_ohm: steps with a smaller nominal use four wires; None for a meter with two.
        order: whether steps must come as the sheet lists them.
        unit: the unit on the bench, None between units.
        check: the check standard of the bench, None where it has none.
        habit: what the bench takes for granted of typed results.
        calibration: when the meter's falls due.
        cards: spool cards by what is written on the spool.
        fixture: None where hands hold the probes.
        duties: lead zero, check standard, typed values.
        batches: which batch units belong to.
    """

    place: Circumstances
    meter: MeterStatements
    conditions: Conditions
    settle: SettleSettings = field(default_factory=SettleSettings)
    four_wire_below_ohm: float | None = None
    order: Order = Order.GUIDED
    unit: UnitWork | None = None
    check: CheckDuty | None = None
    habit: Habit = field(default_factory=Habit)
    calibration: CalibrationDue | None = None
    cards: Mapping[str, SpoolCard] = field(default_factory=dict)
    fixture: FixtureHold | None = None
    table: PairTable = field(init=False)
    duties: Duties = field(init=False)
    batches: Batches = field(init=False)
    _filter: SettleFilter = field(init=False)
    _watch: ReadingWatch = field(default_factory=ReadingWatch)
    _witness: OpenWitness = field(init=False)
    _held: deque[str] = field(default_factory=lambda: deque(maxlen=HELD_REMEMBERED))
    _touch: Touching = field(default_factory=Touching)
    _asked_s: float = 0.0
    _prompt: Prompt | None = None

    def __post_init__(self) -> None:
        """The table of pairs fills as it is asked; nothing is solved yet."""
        self.table = PairTable(self.place.sheet)
        self.duties = Duties(
            self.place, self.meter, self.conditions, self.check, self.habit, self.calibration
        )
        self.batches = Batches(self.place, self.cards)
        self._filter = SettleFilter(self.settle)
        self._witness = OpenWitness(self.settle.silence_s)

    def feed(self, reading: Reading) -> list[Event]:
        """Take one reading of the ohms meter."""
        wanted = self.wanted
        events: list[Event] = list(self._watch.notices(reading, wanted.quantity))
        if self._witness.see(reading, wanted.quantity, wanted.open_above_ohm) and self.unit is not None:
            self.unit.progress.seen_open()
        expected = Expectation(wanted.slow, wanted.quantity, close_enough_si=wanted.close_enough_ohm)
        self._filter.expect(expected)
        for event in self._filter.feed(reading):
            events.append(event)
            if isinstance(event, Contact):
                self._touch.begun(reading.quantity)
            elif isinstance(event, Settled):
                events += self._settled(event)
            elif isinstance(event, LiftOff):
                self._lifted(event, reading)
        self._touch.seen_between(reading, self.settle.lift_off_s)
        return [*events, *self._asked(reading.monotonic_s)]

    def feed_temperature(self, reading: Reading, standard_uncertainty_kelvin: float) -> None:
        """Take one reading of the thermometer."""
        self.conditions.read(reading, standard_uncertainty_kelvin)

    def tick(self, monotonic_s: float, utc_s: float) -> list[Event]:
        """Let time pass: a meter gone silent, a contact that does not come."""
        events: list[Event] = [*self._filter.tick(monotonic_s, utc_s)]
        for event in events:
            if isinstance(event, LiftOff):
                self._lifted(event)
        if self.unit is None:
            self.duties.between_units(utc_s)
            events += self.batches.between_units(utc_s)
        return [*events, *self._asked(monotonic_s)]

    def command(self, command: Command, monotonic_s: float, utc_s: float) -> list[Event]:
        """Take one command. One that cannot be carried out is answered by a notice and changes nothing."""
        if isinstance(command, ConfirmOpen) and not self._witness.pressed(monotonic_s):
            return []  # a key held down, or a pedal that bounces
        # files that name another batch count from this unit on, with no moment between two units
        opened = self.batches.between_units(utc_s) if isinstance(command, StartUnit) else []
        try:
            events = self._obey(command, utc_s)
        except InputImpossible as error:
            events = [Notice(Weight.WARNING, "command.refused", str(error), utc_s)]
        return [*opened, *events, *self._asked(monotonic_s)]

    def link_lost(self) -> None:
        """The meter is gone: whatever was settling is void."""
        self._filter.reset()
        self._witness.forget()
        self._touch.forget()

    def recall(self, batches: Sequence[Batch]) -> None:
        """Take up the batches on record, the latest deed on each, oldest first."""
        self.batches.recall(batches)

    def resume(
        self, started: UnitStarted, told: Sequence[Verdict | Notice], typed: Sequence[TypedResult] = ()
    ) -> None:
        """Put an unfinished unit back on the bench, with what its record tells of its steps, oldest first."""
        self.unit = self._work(started)
        self.duties.resume(started, typed)
        self.batches.begin(started)
        self.unit.progress.resume(told)

    @property
    def wanted(self) -> Wanted:
        """What the meter should be set to now."""
        if self.duties.asked:
            return self.duties.wanted
        return self.unit.wanted if self.unit else Wanted()

    def _settled(self, settled: Settled) -> list[Event]:
        """A value is at rest: for a duty of the bench if one was asked for, else the unit's."""
        if self.fixture is not None and not self.fixture.fits(self._prompt):
            return []
        if self._touch.is_unlifted(settled):
            return self._unlifted(settled)
        if self.duties.asked:
            return self._duty(settled)
        unit, touch = self.unit, self._touch
        if unit is None or not touch.is_news(settled, unit.progress):
            return []
        events = unit.take(settled, lifted=touch.same_setting(settled), returned=touch.returned)
        if events:
            touch.latest = settled
        return self._noted(events)

    def _unlifted(self, settled: Settled) -> list[Event]:
        """The probes lie where they lay for the unit before, or for a duty: not this unit's value."""
        if self.unit is None or not self._touch.is_to_be_told(settled):
            return []
        text = "The probes have not left what they measured before: lift them, then touch this unit."
        return [Notice(Weight.WARNING, "probes.not_lifted", text, settled.utc_s, self.unit.serial)]

    def _noted(self, events: list[Event]) -> list[Event]:
        """Take a unit that has its result off the bench; remember it if it was held."""
        more: list[Event] = []
        for place, event in enumerate(events):
            if isinstance(event, Judged) and not event.verdict.counts:
                self._prompt = None  # asked for again in any case, though perhaps in the same words
            if isinstance(event, UnitResult) and self.unit is not None:
                readings, self.unit = self.unit.progress.readings(), None
                self._touch.spend()
                result = self.duties.ended(event)
                more += self.batches.ended(result, readings, self.four_wire_below_ohm or 0.0)
                events[place] = self.duties.doubted(result, doubted=self.batches.doubts(result))
                if result.ending is Ending.WARM:
                    self._held.append(event.serial)
        return [*events, *more]

    def _duty(self, settled: Settled) -> list[Event]:
        """What comes before the unit goes on; what was touched for something else means nothing."""
        if self._touch.is_judged_already(settled):
            return []
        events = self.duties.take(settled)
        if any(isinstance(event, LeadZero | CheckStandard) for event in events):
            self._touch.latest = settled
            self._touch.spend(may_slide=True)
        return events

    def _lifted(self, event: LiftOff, reading: Reading | None = None) -> None:
        self._touch.ended(reading)
        self._asked_s = event.monotonic_s
        if self.unit is not None:
            self.unit.progress.lifted(event.monotonic_s)

    def _obey(self, command: Command, utc_s: float) -> list[Event]:  # noqa: PLR0911  (one line a command)
        if isinstance(command, Duty):
            return self.duties.obey(command, utc_s)
        if isinstance(command, BatchCommand):
            events = self.batches.obey(command, utc_s)
            left = self.duties.result
            return [*events, *(self.duties.revise(utc_s, doubted=self.batches.doubts(left)) if left else ())]
        match command:
            case StartUnit():
                return self._start(command, utc_s)
            case FixtureMoved() if self.fixture is not None:
                self.fixture.moved(command)
                self.link_lost()  # whatever was settling was another pair's
                self._touch = Touching()
                return []
            case MakeWay():
                return self._noted(self.unit.closed(utc_s, Ending.NEXT_UNIT)) if self.unit else []
            case Note():
                serial = self.unit.serial if self.unit else ""
                return [Notice(Weight.REMARK, "note", command.text, utc_s, serial)]
            case _ if self.unit is None:
                raise InputImpossible("There is no unit on the bench.", "Scan or type its serial first.")
            case _:
                return self._obey_for_unit(command, self.unit, utc_s)

    def _obey_for_unit(self, command: Command, unit: UnitWork, utc_s: float) -> list[Event]:
        match command:
            case MeasureAgain():
                step = unit.progress.measure_again(command.step)
                text = f"{step.name} is measured again."
                return [Notice(Weight.REMARK, "step.again", text, utc_s, unit.serial, step.pair)]
            case SkipStep():
                step = unit.progress.skip(command.reason, command.step)
                text = left_out(step.name, command.reason.strip())
                notice = Notice(Weight.WARNING, LEFT_OUT, text, utc_s, unit.serial, step.pair)
                return self._noted([notice, *unit.closed(utc_s)])
            case GiveUpUnit():
                return self._noted(unit.closed(utc_s, Ending.GIVEN_UP, command.reason))
            case ConfirmOpen():
                return self._confirmed_open(unit, utc_s)
            case FixtureOpen():
                return self._noted(unit.found_open(utc_s, command.witness))
        return []

    def _start(self, command: StartUnit, utc_s: float) -> list[Event]:
        """Put a unit on the bench; the one before ends as it is."""
        if (before := self.unit) is not None and before.serial == command.serial:
            raise InputImpossible(f"{command.serial} is on the bench already.")
        told: list[Event] = [*self.duties.permit(utc_s)]
        started, news = self.batches.start(command, utc_s)
        if started is None:
            return [*told, *news]
        ended = before.closed(utc_s, Ending.NEXT_UNIT) if before else []
        ended = [self.duties.ended(each) if isinstance(each, UnitResult) else each for each in ended]
        started = replace(started, required=required(self.table), rested=started.serial in self._held)
        self.unit = self._work(started)
        self.duties.begin(started)
        self.batches.begin(started)
        if before is not None:
            self._touch.spend()
        return [*ended, *told, *news, started]

    def _work(self, started: UnitStarted) -> UnitWork:
        place = replace(self.place, operator=started.operator, batch=started.batch)
        held = self.fixture is not None and self.fixture.emptied()
        progress = UnitProgress(self.table, started.serial, order=self.order, brackets=not held, placed=held)
        return UnitWork(
            place,
            self.table,
            self.meter,
            self.conditions,
            self.four_wire_below_ohm,
            started,
            progress,
            rested=started.rested,
        )

    def _confirmed_open(self, unit: UnitWork, utc_s: float) -> list[Event]:
        """Believe the operator that the probes are on the pair, unless the meter says otherwise."""
        if self.fixture is not None and self.fixture.clip_on():
            return []
        if self.duties.asked:
            raise InputImpossible("No pair is asked for now.", self.duties.prompt(unit.serial).text)
        if self._touch.quantity is not None:
            raise InputImpossible("The meter reads a value, so the pair is not open.", "Hold still.")
        if refusal := self._witness.refusal(self._asked_s):
            raise InputImpossible(refusal, "Hold both probes on it, look at the meter, and press again.")
        self._asked_s, self._prompt = 0.0, None
        what = "probes" if self.fixture is None else "clips"
        return self._noted(unit.found_open(utc_s, f"with the {what} confirmed to be on the pins"))

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
        if self.duties.asked:
            prompt = self.duties.prompt(serial)
        elif self.unit is None:
            prompt = Prompt(Ask.START_UNIT, self.batches.next_unit)
        else:
            prompt = self.unit.progress.prompt(0.0 if self._touch.quantity else monotonic_s - self._asked_s)
        return prompt if self.fixture is None else self.fixture.prompt(prompt)
