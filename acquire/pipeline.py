"""The way of one reading: Reading -> settle -> (correct -> match -> judge) -> events. Pure.

Readings, commands and ticks go in, events come out, in the order in which they happened. It opens no port,
reads no clock and throws no dice: fed the same recording it gives the same verdicts (see `bench.daemon`).
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace
from functools import partial
from typing import Any, Self

from acquire.conditions import CalibrationDue, Conditions
from acquire.errors import InputImpossible
from acquire.heart.attempt import attempt_of, clock_set_s
from acquire.heart.batches import BatchCommand, Batches
from acquire.heart.contact import LINGER_S, Admission, ContactRule, OpenWitness
from acquire.heart.duties import Duties, Duty
from acquire.heart.fixture_hold import FixtureHold
from acquire.heart.learnt import Learning
from acquire.heart.serials import SerialRule, asked_about, scan_doubt, still_asked
from acquire.heart.standstill import MeterSaid, ReadingWatch, Standstill, Untaken
from acquire.heart.unit_state import UnitState
from acquire.heart.unit_work import UnitWork
from acquire.physics.wire import SpoolCard
from acquire.records import (
    Basis,
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
    Learned,
    LiftOff,
    MeasureAgain,
    Note,
    Notice,
    Prompt,
    Recorded,
    Settled,
    Severity,
    SkipStep,
    StartUnit,
    StateRange,
    Undo,
    UnitResult,
    UnitStarted,
    Verdict,
)
from acquire.records.bench import Refused, refusal
from acquire.records.codes import Code, Order, Refusal
from acquire.settle import Expectation, SettleFilter, SettleSettings
from acquire.steps.checking import CheckDuty
from acquire.steps.dial import Dial
from acquire.steps.pairs import PairTable
from acquire.steps.setup_choice import NOTHING_WANTED, Wanted
from acquire.steps.untested import required
from acquire.verdict.temperature import may_be_warm
from acquire.verdict.typed import Habit
from drivers.models import MeterModel
from drivers.reading import Ranging, Reading


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
        checks: the check standard of the bench, and its references.
        habit: what the bench takes for granted of typed results.
        calibration: when the meter's falls due.
        cards: spool cards by what is written on the spool.
        fixture: None where hands hold the probes.
        serials: what serials of this bench look like.
        learned: what the bench had learnt of its contacts, with these leads at this meter.
        ranging: who chooses the meter's range.
        learning: what it has learnt since.
        duties: lead zero, check standard, typed values.
        batches: which batch units belong to.
        settling: follows the contact of the probes.
        question: what was asked about a scan that waits for a yes; None where none does.
    """

    place: Circumstances
    meter: MeterModel
    conditions: Conditions
    settle: SettleSettings = field(default_factory=SettleSettings)
    four_wire_below_ohm: float | None = None
    order: Order = Order.GUIDED
    unit: UnitWork | None = None
    checks: tuple[CheckDuty, ...] = ()
    habit: Habit = field(default_factory=Habit)
    calibration: CalibrationDue | None = None
    cards: Mapping[str, SpoolCard] = field(default_factory=dict)
    fixture: FixtureHold | None = None
    serials: SerialRule = field(default_factory=SerialRule)
    learned: Learned = field(default_factory=Learned)
    ranging: Ranging = Ranging.SET
    learning: Learning = field(init=False)
    table: PairTable = field(init=False)
    duties: Duties = field(init=False)
    batches: Batches = field(init=False)
    settling: SettleFilter = field(init=False)
    _watch: ReadingWatch = field(default_factory=ReadingWatch)
    _still: Standstill = field(init=False)
    _witness: OpenWitness = field(init=False)
    _contact: ContactRule = field(init=False)
    _dial: Dial = field(init=False)
    _left: UnitWork | None = None  # the unit that was given up last, until the next verdict
    question: Notice | None = None
    _setting: Wanted = field(default_factory=Wanted)
    _asked_s: float = 0.0
    _prompt: Prompt | None = None

    def __post_init__(self) -> None:
        """The table of pairs fills as it is asked; nothing is solved yet."""
        self.table = PairTable(self.place.sheet)
        duties = self.place, self.meter, self.conditions, self.checks, self.habit, self.calibration
        self.duties = Duties(*duties, one_hand=self.fixture is None)
        self.batches = Batches(self.place, self.cards)
        self.settling = SettleFilter(self.settle, learned=self.learned)
        self.learning = Learning(self.settling, self.place.meter_hash, self.learned)
        self._still = Standstill(self.settling.pace)
        self._witness = OpenWitness(self.settle.silence_s)
        self._contact = ContactRule(self.settle.lift_off_s)
        self._dial = Dial(self.meter, self.ranging)

    # ------------------------------------------------------------------ what comes in

    def feed(self, reading: Reading) -> list[Event]:
        """Take one reading of the ohms meter."""
        wanted, reading = self.wanted, self._dial.see(reading)
        events: list[Event] = list(self._watch.notices(reading, wanted.quantity))
        self._still.see(reading, wanted.quantity)
        self._witness.freshest_s = self.settling.patience_s
        sees = self._witness.see(reading, wanted.quantity, wanted.open_above_ohm, tells=self._dial.tells)
        if sees and self.unit is not None and self._contact.quantity is None:
            self.unit.state.seen_open(reading.monotonic_s)
        self.settling.expect(
            Expectation(wanted.slow, wanted.quantity, close_enough_si=wanted.close_enough_ohm)
        )
        for event in self.settling.feed(reading):
            events.append(event)
            self._still.follow(event)
            if isinstance(event, Contact):
                events[-1] = replace(event, goes_on=not self._contact.seen_open)
                self._contact.begun(reading.quantity)
            elif isinstance(event, LiftOff):
                self._lifted(event, reading)
            elif isinstance(event, Settled) and not self._dial.too_coarse(event, wanted):
                events += self._settled(event)  # else the prompt says where to turn the dial
        self.question = still_asked(self.question, *events)
        self._contact.see(reading)
        purpose, now = self._next
        if not self._contact.lies(purpose):
            self._setting = now
        if self._contact.overdue(reading.monotonic_s, max(LINGER_S, self.settling.patience_s)):
            serial = self.unit.serial if self.unit else ""
            events.append(Notice(Severity.WARNING, Code.PROBES_NOT_LIFTED, reading.utc_s, serial))
        return [*events, *self._asked(reading.monotonic_s)]

    def feed_temperature(self, reading: Reading, standard_uncertainty_kelvin: float) -> list[Event]:
        """Take one reading of the thermometer."""
        return [*self.conditions.read(reading, standard_uncertainty_kelvin)]

    def tick(self, monotonic_s: float, utc_s: float) -> list[Event]:
        """Let time pass: a meter gone silent, a contact that does not come."""
        events: list[Event] = [*self.settling.tick(monotonic_s, utc_s)]
        for event in events:
            if isinstance(event, LiftOff):
                self._lifted(event)
        working = self.unit is not None or bool(self.duties.asked)
        events += self._still.notices(monotonic_s, utc_s, working=working, slow=self.wanted.slow)
        if self.unit is None:
            self.duties.between_units(utc_s)
            events += self.batches.between_units(utc_s)
        return [*events, *self._asked(monotonic_s)]

    def command(self, command: Command, monotonic_s: float, utc_s: float) -> list[Event]:
        """Take one command. One that cannot be carried out is answered by a notice and changes nothing."""
        if isinstance(command, ConfirmOpen) and not self._witness.pressed(monotonic_s):
            return []  # a key held down, or a pedal that bounces
        opened = self.batches.between_units(utc_s) if isinstance(command, StartUnit) else []
        try:
            events = self._obey(command, utc_s)
        except InputImpossible as error:
            events = [refusal(error, utc_s)]
        self._clock_set(*events)
        self.question = still_asked(self.question, *events)
        return [*opened, *events, *self._asked(monotonic_s)]

    def told_of_meter(self, said: MeterSaid) -> None:
        """Take what the ohms meter's driver says beside readings."""
        self._still.take(said)

    def link_lost(self) -> None:
        """The meter is gone: whatever was settling is void."""
        self.settling.reset()
        self._still.forget()
        self._witness.forget()
        self._contact.forget()
        self._dial.asked()

    def on(self, **files: Any) -> Self:
        """The same bench with other files, between two units; gives the attributes that they say."""
        files.setdefault("learned", self.learning.under(files["place"].meter_hash))
        fresh = replace(self, **files)
        fresh.duties.go_on(self.duties)
        fresh.batches.go_on(self.batches)
        return fresh

    # ------------------------------------------------------------------ a restart is a replay

    def recall(self, batches: Sequence[Batch]) -> None:
        """Take up the batches on record, the latest deed on each, oldest first."""
        self.batches.recall(batches)

    def replay(self, records: Sequence[Recorded], utc_s: float) -> list[Event]:
        """Take in what the record tells of bench and unit, as when it was made.

        Args:
            records: oldest first: what the bench owes, then everything since the latest unit was started.
            utc_s: now.

        Returns:
            The result of a unit that cannot go on since it began with other files, and doubts of the clock.
        """
        self._prompt = None  # whatever was asked for before belongs to no operator yet
        for record in records:
            self.duties.replay(record, utc_s)
            self.learning.replay(record)
            self._clock_set(record)
            self.question = still_asked(self.question, record)
            if isinstance(record, LeadZero | CheckStandard) or attempt_of(record) is not None:
                self._contact.taken_before()
            match record:
                case UnitStarted():
                    self.unit = self._work(record)
                    self.batches.begin(record)
                case UnitResult() if self.unit is not None and record.serial == self.unit.serial:
                    self._off(self.unit, record)
                case Notice(code=Code.UNIT_REOPENED) if self._left is not None:
                    self.duties.reopen(self._left.started)
                    self.unit, self._left = self._left, None
                case LeadZero() | CheckStandard() if self.unit is not None:
                    self.unit.state.unclip()
                case _ if self.unit is not None:
                    self._left = None if isinstance(record, Verdict) else self._left
                    self.unit.replay(record)
        doubts = self.duties.clock_doubt(utc_s)
        if self.unit is None:
            return [*doubts]
        place, started = self.place, self.unit.started
        then = started.sheet_hash, started.meter_hash, started.bench_hash
        same = then == (place.sheet.content_hash, place.meter_hash, place.bench_hash)
        ending = Ending.DONE if same else Ending.FILES_CHANGED
        return [*doubts, *self._noted(self.unit.closed(utc_s, ending))]

    @property
    def wanted(self) -> Wanted:
        """What the meter should be set to now: while probes lie on what is done with, what it was set to."""
        purpose, now = self._next
        return self._setting if self._contact.lies(purpose) else now

    @property
    def _next(self) -> tuple[tuple[str, ...], Wanted]:
        """What a touch would be for now, see `contact`, and what that wants of the meter."""
        if self.duties.asked:
            return self.duties.purpose, self.duties.wanted
        return (self.duties.purpose, NOTHING_WANTED) if self.unit is None else self.unit.next

    # ------------------------------------------------------------------ values at rest

    def _settled(self, settled: Settled) -> list[Event]:
        """A value is at rest: for a duty of the bench if one was asked for, else the unit's."""
        unit, duty, (purpose, wanted) = self.unit, self.duties.asked, self._next
        if self.fixture is not None and not self.fixture.fits(self._prompt):
            return self._still.untaken(settled, Untaken.FIXTURE)
        if unit is None and not duty:
            return self._still.untaken(settled, Untaken.NO_UNIT) if self._contact.seen_open else []
        admission = self._contact.admits(settled, purpose)
        if admission is Admission.UNLIFTED and unit is not None and not duty:
            purpose, admission = self._contact.unlifted(settled, purpose, self._asked_s, unit.expects)
        if admission in (Admission.KNOWN, Admission.UNLIFTED) or (duty and settled.in_doubt):
            return []  # what is in doubt is good enough to judge a winding by, not to zero by
        if settled.quantity is not wanted.quantity:  # by what lay on the probes before
            return self._still.untaken(settled, Untaken.FUNCTION)
        events = self._taken(settled, admission, unit)
        if any(
            isinstance(e, LeadZero | CheckStandard) if duty else not isinstance(e, Notice) for e in events
        ):
            self._contact.take(settled, purpose)
        if duty or unit is None:
            return self.learning.after(events, settled.utc_s)
        return self._noted([*events, *unit.closed(settled.utc_s)])

    def _taken(self, settled: Settled, admission: Admission, unit: UnitWork | None) -> list[Event]:
        """What a value comes to where it was asked for."""
        if unit is not None and not self.duties.asked:
            unasked = admission is Admission.SET_UP and not unit.state.asks_set_up
            return [] if unasked else unit.take(settled, admission)
        events = [] if admission in (Admission.REVISED, Admission.MOVED) else self.duties.take(settled)
        if unit is not None and any(isinstance(event, LeadZero | CheckStandard) for event in events):
            unit.state.unclip()
        return events

    def _noted(self, events: list[Event]) -> list[Event]:
        """Take a unit that has its result off the bench."""
        more: list[Event] = []
        for place, event in enumerate(events):
            if isinstance(event, Judged):
                self._left = None
                if not event.verdict.counts:
                    self._prompt = None  # asked for again in any case, though perhaps in the same words
            if isinstance(event, UnitResult) and (unit := self.unit) is not None:
                result = self.duties.ended(event)
                self._off(unit, result)
                more += self.batches.ended(result, unit.state.readings(), self.four_wire_below_ohm or 0.0)
                more += self.learning.news(result.utc_s)
                events[place] = self.duties.doubted(doubted=self.batches.doubts(result)) or result
        return [*events, *more]

    def _off(self, unit: UnitWork, result: UnitResult) -> None:
        """The unit has left the bench; until the next verdict it can come back, if that was a slip."""
        self.unit = None
        self._contact.spend()
        if result.ending is not Ending.UNDONE:
            slip = result.ending in (Ending.NEXT_UNIT, Ending.GIVEN_UP) or unit.state.ends_skipped
            self._left = unit if slip else None

    def _lifted(self, event: LiftOff, reading: Reading | None = None) -> None:
        self._still.follow(event)
        self._contact.ended(reading)
        self._asked_s = event.monotonic_s
        if self.unit is not None:
            self.unit.state.lifted(event.monotonic_s)

    # ------------------------------------------------------------------ commands

    def _obey(self, command: Command, utc_s: float) -> list[Event]:  # noqa: PLR0911  (one line a kind)
        if isinstance(command, Duty):
            return self.duties.obey(command, utc_s)
        if isinstance(command, BatchCommand):
            events, left = self.batches.obey(command, utc_s), self.duties.visit.last
            if left is not None:  # a word said to a batch may be one for its first unit, which has just left
                events += self.duties.revise(utc_s, doubted=self.batches.doubts(left))
            return events
        if isinstance(command, StartUnit):
            return self._start(command, utc_s)
        if isinstance(command, Undo):
            return self._undo(utc_s)
        if isinstance(command, FixtureMoved) and self.fixture is not None:
            self.fixture.moved(command)
            self.link_lost()  # whatever was settling was another pair's
            self._contact.cleared()
            return []
        if isinstance(command, Note):
            serial = self.unit.serial if self.unit else ""
            return [Notice(Severity.REMARK, Code.NOTE, utc_s, serial, facts={"note": command.text})]
        if self.unit is None:
            raise Refused(Refusal.NO_UNIT)
        return self._obey_for_unit(command, self.unit, utc_s)

    def _clock_set(self, *told: Event | Recorded) -> None:
        """Let no unit seem to have cooled, or to have rested, because the clock was set."""
        if by_s := sum(map(clock_set_s, told)):  # else each word and record would make all attempts anew
            self.batches.move_times(by_s)
            for unit in filter(None, (self.unit, self._left)):
                unit.state.move_times(by_s)

    def _obey_for_unit(self, command: Command, unit: UnitWork, utc_s: float) -> list[Event]:  # noqa: PLR0911
        match command:
            case MeasureAgain():
                return [unit.measure_again(command.step, utc_s)]
            case SkipStep():
                notice = unit.skip(command.reason, command.step, utc_s)
                return self._noted([notice, *unit.closed(utc_s)])
            case GiveUpUnit():
                return self._noted(unit.closed(utc_s, command.ending, command.reason.strip()))
            case ConfirmOpen():
                return self._confirmed_open(unit, utc_s)
            case StateRange():
                return [self._dial.obey(command, self.wanted.quantity, utc_s)]
            case FixtureOpen():
                found = unit.found_open(utc_s, Basis.OPEN_PROVEN, command.witness)
                return self._noted([*found, *unit.closed(utc_s)])
        return []

    def _start(self, command: StartUnit, utc_s: float) -> list[Event]:
        """Put a unit on the bench; the one before ends as it is, if that is meant."""
        before = self.unit
        if before is not None and before.serial == command.serial:
            raise Refused(Refusal.UNIT_HERE, serial=command.serial)
        if (doubt := self.doubt(command, utc_s)) is not None:
            return [doubt]
        told: list[Event] = [*self.duties.permit(utc_s)]
        started, news = self.batches.start(command, utc_s)
        if started is None:
            return [*told, *news]
        ended = self._noted(before.closed(utc_s, Ending.NEXT_UNIT)) if before else []
        started = replace(started, required=required(self.table))
        self.unit = self._work(started)
        self.duties.begin(started)
        self.batches.begin(started)
        return [*ended, *told, *news, started]

    def doubt(self, command: StartUnit, utc_s: float) -> Notice | None:
        """What must be asked before a unit is started; None where it is plain, or was scanned once more."""
        before = None if self.unit is None else self.unit.state
        return scan_doubt(command, self.serials, before, self.question, utc_s)

    @property
    def undoable(self) -> bool:
        """Whether there is a scan, giving up, skip or key that can be taken back."""
        by_word = self.unit is not None and self.unit.undoable
        return by_word or self.question is not None or self._left is not None

    def _undo(self, utc_s: float) -> list[Event]:
        """Take back the latest scan, giving up, skip or key, as long as nothing was judged since."""
        if self.question is not None:
            taken_back = {"next": asked_about(self.question)}
            return [Notice(Severity.REMARK, Code.SCAN_TAKEN_BACK, utc_s, facts=taken_back)]
        if self.unit is not None and self.unit.undoable:  # later than the scan that put it here
            return [self.unit.undo(utc_s)]
        if (left := self._left) is not None:
            ended = self._noted(self.unit.closed(utc_s, Ending.UNDONE)) if self.unit is not None else []
            self.unit, self._left = left, None
            self.duties.reopen(left.started)
            if self.fixture is not None:
                self.fixture.emptied()  # it may have been taken out
            reopened = Notice(Severity.REMARK, Code.UNIT_REOPENED, utc_s, left.serial)
            return [*ended, reopened, *([left.undo(utc_s)] if left.state.done else [])]
        raise Refused(Refusal.NOTHING_TO_UNDO)

    def _work(self, started: UnitStarted) -> UnitWork:
        place = replace(self.place, operator=started.operator, batch=started.batch)
        held = self.fixture is not None and self.fixture.emptied()
        worth = partial(may_be_warm, self.table)
        state = UnitState(self.table, started.serial, order=self.order, warm_check=worth, placed=held)
        how = self.table, self.meter, self.conditions, self.four_wire_below_ohm
        return UnitWork(place, *how, started, state)

    def _confirmed_open(self, unit: UnitWork, utc_s: float) -> list[Event]:
        """Believe the operator that the probes are on the pair, unless the meter says otherwise."""
        if self.fixture is not None and self.fixture.clip_on():
            return []
        if self.duties.asked:
            raise Refused(Refusal.NO_PAIR_ASKED)
        if self._contact.quantity is not None:
            raise Refused(Refusal.KEY_SEES_VALUE)
        wait_s, turn_ohm = unit.state.key_wait_s, self._dial.showing(unit.next[1])
        self._witness.check(self._asked_s, wait_s=wait_s, turn_ohm=turn_ohm)
        self._asked_s, self._prompt = 0.0, None
        basis = Basis.OPEN_BY_KEY if self.fixture is None else Basis.OPEN_BY_CLIP
        return self._noted([*unit.found_open(utc_s, basis), *unit.closed(utc_s)])

    # ------------------------------------------------------------------ prompts

    def _asked(self, monotonic_s: float) -> list[Event]:
        """The prompt, when it has changed."""
        prompt = self._prompt_now(monotonic_s)
        if prompt == self._prompt:
            return []
        before = self._prompt
        new = before is None or (prompt.pair, prompt.step) != (before.pair, before.step)
        if new:
            self._dial.asked()
        if new or (before and "turn_ohm" in before.facts and "turn_ohm" not in prompt.facts):
            self._asked_s = monotonic_s  # of a dial just turned too: until then nobody could touch
            prompt = self._prompt_now(monotonic_s)
        self._prompt = prompt
        return [prompt]

    def _prompt_now(self, monotonic_s: float) -> Prompt:
        serial = self.unit.serial if self.unit else ""
        if self.duties.asked:
            prompt = self.duties.prompt(serial)
        elif self.unit is None:
            prompt = self.batches.prompt()
        else:
            waits = not (self._contact.quantity or self._witness.typed or self._dial.turn_to(self.wanted))
            prompt = self.unit.state.prompt(monotonic_s - self._asked_s if waits else 0.0)
        prompt = self._dial.with_turn(prompt, self._next[1])  # probes may still lie: no touch is lost
        return prompt if self.fixture is None else self.fixture.prompt(prompt)
