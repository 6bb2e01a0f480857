"""A study at the bench, from reading to measurement. Pure: readings and commands in, what happened out.

The same way as for a unit: settle, leads, temperature, match. No value is told while the study runs, or
people measure until it suits. Not for verdicts, the plan or the disk (`record`).
"""

from __future__ import annotations

from dataclasses import dataclass, field, replace

from acquire.conditions import Conditions
from acquire.errors import InputImpossible
from acquire.heart.contact import Admission
from acquire.heart.duties import Duties, Duty
from acquire.heart.standstill import MeterSaid, ReadingWatch, Standstill
from acquire.heart.unit_state import UnitState
from acquire.heart.unit_work import UnitWork
from acquire.records import (
    Approach,
    Ask,
    Circumstances,
    Code,
    Command,
    ConfirmOpen,
    Contact,
    Fact,
    Judged,
    LeadZero,
    LiftOff,
    MeasureAgain,
    Note,
    Notice,
    Prompt,
    Refusal,
    Refused,
    Settled,
    Severity,
    StartUnit,
    Step,
    UnitStarted,
    Why,
)
from acquire.records.bench import refusal
from acquire.settle import Expectation, SettleFilter, SettleSettings
from acquire.steps.pairs import PairTable
from acquire.steps.setup_choice import Wanted
from acquire.study.record import Measurement, Plan, Turn
from drivers.models import MeterModel
from drivers.reading import Kind, Quantity, Reading

SLID = 0.1
"""As in the pipeline: a value that moves by more without a lift-off is another contact."""

SWAP_S = 0.8
"""From the last reading of one part to the first of the next: nobody is quicker. A contact so soon is the
same part touched again. Workshop choice."""


@dataclass(frozen=True, slots=True)
class MeasurementTaken:
    """A measurement was made; `revised` where the value has moved on under the same touch."""

    measurement: Measurement
    turn: Turn
    revised: bool = False


@dataclass(frozen=True, slots=True)
class TakenBack:
    """The measurement of a turn counts no more and will be made again."""

    turn: Turn


@dataclass(frozen=True, slots=True)
class Finished:
    """Nothing is missing."""


StudyEvent = (
    MeasurementTaken | TakenBack | Finished | Prompt | Notice | LeadZero | Approach | Contact | LiftOff
)
"""What comes out, for the file and the screen. Never a value at rest: nobody is to see one."""


@dataclass(slots=True)
class StudyWork:
    """A study under way.

    Attributes:
        place: who measures what, where, with what; its sheet holds the one step alone.
        meter: what the meter's file states.
        conditions: temperature and lead zero.
        plan: of the study.
        taken: turns that have been measured, by number.
        settle: limits of the settle stage.
        four_wire_below_ohm: as the bench file says.
        ready: the operator whose turn it is has said so.
    """

    place: Circumstances
    meter: MeterModel
    conditions: Conditions
    plan: Plan
    taken: set[int]
    settle: SettleSettings = field(default_factory=SettleSettings)
    four_wire_below_ohm: float | None = None
    ready: bool = False
    table: PairTable = field(init=False)
    duties: Duties = field(init=False)
    settling: SettleFilter = field(init=False)
    _still: Standstill = field(init=False)
    _watch: ReadingWatch = field(default_factory=ReadingWatch)
    _unit: UnitWork | None = None
    _picked: int | None = None
    _last: int | None = None
    _hands: tuple[str, int] | None = None
    _conducted_s: float | None = None
    _lifted_s: float | None = None
    _acted: Settled | None = None
    _acted_turn: Turn | None = None
    _told: Notice | None = None
    _prompt: Prompt | None = None

    def __post_init__(self) -> None:
        """Set the settle stage up; nothing is asked for yet."""
        self.table = PairTable(self.place.sheet)
        self.duties = Duties(self.place, self.meter, self.conditions, one_hand=False)
        self.settling = SettleFilter(self.settle)
        self._still = Standstill(self.settling.pace)

    # ------------------------------------------------------------------ what is asked for

    @property
    def step(self) -> Step:
        """What is measured."""
        return self.place.sheet.steps[0]

    @property
    def turn(self) -> Turn | None:
        """The measurement that is asked for; None when nothing is missing."""
        if self._picked is not None:
            return self.plan.turns[self._picked - 1]
        return next((turn for turn in self.plan.turns if turn.number not in self.taken), None)

    @property
    def wanted(self) -> Wanted:
        """What the meter should be set to now."""
        return self.duties.wanted if self.duties.zeroing else self._work().next[1]

    @property
    def four_wire(self) -> bool:
        """Whether the step is measured with four wires, so that leads need no zero."""
        return self._work().next[1].quantity is Quantity.RESISTANCE_4W

    def prompt(self) -> Prompt:
        """The next thing to do, as a person would read it."""
        turn, done, total = self.turn, len(self.taken), len(self.plan.turns)
        if turn is None:
            return Prompt(Ask.WAIT, steps_done=done, steps_total=total, why=Why.DONE)
        facts: dict[str, Fact] = {"operator": turn.operator, "round": turn.trial, "part": turn.label}
        if not self.ready:
            return Prompt(Ask.WAIT, steps_done=done, steps_total=total, why=Why.STUDY, facts=facts)
        if self.duties.zeroing:
            return Prompt(Ask.SHORT_PROBES, steps_done=done, steps_total=total, why=Why.STUDY, facts=facts)
        step = self.step
        return Prompt(Ask.TOUCH, turn.label, step.pair, step.name, done, total, Why.STUDY, facts=facts)

    # ------------------------------------------------------------------ in

    def feed(self, reading: Reading) -> list[StudyEvent]:
        """Take one reading of the ohms meter."""
        wanted = self.wanted
        if reading.kind is Kind.VALUE:
            self._conducted_s = reading.monotonic_s
        out: list[StudyEvent] = list(self._watch.notices(reading, wanted.quantity))
        self._still.see(reading, wanted.quantity)
        self.settling.expect(
            Expectation(wanted.slow, wanted.quantity, close_enough_si=wanted.close_enough_ohm)
        )
        for event in self.settling.feed(reading):
            self._still.follow(event)
            if isinstance(event, Settled):
                out += self._settled(event)
            elif isinstance(event, Approach | Contact | LiftOff):
                out += self._moved(event)
        return [*out, *self._asked()]

    def feed_temperature(self, reading: Reading, standard_uncertainty_kelvin: float) -> list[StudyEvent]:
        """Take one reading of the thermometer."""
        return [*self.conditions.read(reading, standard_uncertainty_kelvin)]

    def tick(self, monotonic_s: float, utc_s: float) -> list[StudyEvent]:
        """Let time pass."""
        out: list[StudyEvent] = []
        for event in self.settling.tick(monotonic_s, utc_s):
            self._still.follow(event)
            if isinstance(event, LiftOff):
                out += self._moved(event)
        working = self.ready and self.turn is not None
        notices = self._still.notices(monotonic_s, utc_s, working=working, slow=self.wanted.slow)
        out += [_without_value(notice) for notice in notices]
        return [*out, *self._asked()]

    def told_of_meter(self, said: MeterSaid) -> None:
        """Take what the ohms meter's driver says beside readings."""
        self._still.take(said)

    def link_lost(self) -> None:
        """The meter is gone: whatever was settling is void."""
        self.settling.reset()
        self._still.forget()
        self._acted = self._acted_turn = None

    def command(self, command: Command, utc_s: float) -> list[StudyEvent]:
        """Carry out a command; one that makes no sense now is answered by a notice."""
        try:
            out = self._obey(command, utc_s)
        except InputImpossible as error:
            out = [refusal(error, utc_s)]
        return [*out, *self._asked()]

    # ------------------------------------------------------------------ values

    def _moved(self, event: Approach | Contact | LiftOff) -> list[StudyEvent]:
        if isinstance(event, LiftOff):
            if self._acted_turn is not None:
                self._lifted_s = self._conducted_s
            self._acted = self._acted_turn = None
        return [event]

    def _settled(self, settled: Settled) -> list[StudyEvent]:
        """A value is at rest: the leads', a part's, or one that nobody asked for."""
        before, turn = self._acted, self.turn
        if before is not None and before.contact_s == settled.contact_s:
            return self._revised(settled, before)
        if turn is None or settled.in_doubt:
            return []  # its wider U is for a verdict; as a measurement it would be the contact's spread
        if not self.ready:
            facts: dict[str, Fact] = {"operator": turn.operator}
            return self._once(Notice(Severity.WARNING, Code.STUDY_TURN, settled.utc_s, facts=facts))
        if self.duties.zeroing:
            self._acted = settled
            return [
                e for e in self.duties.take(settled) if isinstance(e, LeadZero | Notice) and not _moved(e)
            ]
        if self._lifted_s is not None and settled.contact_s - self._lifted_s < SWAP_S:
            self._acted = settled
            return [Notice(Severity.WARNING, Code.STUDY_TOO_SOON, settled.utc_s, facts={"part": turn.label})]
        return self._measured(settled, turn)

    def _revised(self, settled: Settled, before: Settled) -> list[StudyEvent]:
        """A later report of a touch that was acted on: news only if the value has moved since."""
        turn, moved = self._acted_turn, abs(settled.value_si - before.value_si)
        within = max(settled.expanded_si, before.expanded_si)
        if turn is None or not within < moved <= SLID * abs(before.value_si):
            return []
        return self._measured(settled, turn, revised=True)

    def _measured(self, settled: Settled, turn: Turn, *, revised: bool = False) -> list[StudyEvent]:
        """Correct, match, and take the value if it is of the pair that was asked for."""
        events = self._work().take(settled, Admission.NEW)
        verdict = next((event.verdict for event in events if isinstance(event, Judged)), None)
        self._acted = settled  # whatever came of it, the same touch says nothing new
        if verdict is None or verdict.reference_ohm is None or verdict.raw_ohm is None:
            return [e for event in events if isinstance(event, Notice) for e in self._once(event)]
        self._acted_turn, self._unit, self._told = turn, None, None
        measurement = Measurement(
            turn=turn.number,
            reference_ohm=verdict.reference_ohm,
            standard_uncertainty_ohm=verdict.standard_uncertainty_ohm or 0.0,
            expanded_ohm=verdict.expanded_ohm or 0.0,
            raw_ohm=verdict.raw_ohm,
            lead_ohm=verdict.lead_ohm or 0.0,
            winding_celsius=verdict.winding_celsius or self.place.sheet.reference_celsius,
            settle_s=settled.monotonic_s - settled.contact_s,
            utc_s=settled.utc_s,
            meter_id=settled.meter_id,
        )
        if not revised:
            self._picked, self._last = None, turn.number
        self._hands = (turn.operator, turn.trial)
        self.taken.add(turn.number)
        self._hand_over()
        return [MeasurementTaken(measurement, turn, revised), *([] if self.turn else [Finished()])]

    def _hand_over(self) -> None:
        """The next one is somebody else's, or of the next round: they must say that they are there."""
        following = self.turn
        self.ready = following is not None and (following.operator, following.trial) == self._hands

    def _once(self, notice: Notice) -> list[StudyEvent]:
        """A notice, unless it was the last that was told."""
        if self._told is not None and replace(self._told, utc_s=notice.utc_s) == notice:
            return []
        self._told = notice
        return [notice]

    def _work(self) -> UnitWork:
        """The part on the bench as a unit with one step; made afresh for each measurement."""
        if self._unit is None:
            turn = self.turn or self.plan.turns[-1]
            place = replace(self.place, operator=turn.operator, batch="")
            sheet = place.sheet
            started = UnitStarted(
                place.bench, turn.label, sheet.name, sheet.content_hash, place.purpose, "", turn.operator, 0.0
            )
            progress = UnitState(self.table, turn.label)
            self._unit = UnitWork(
                place, self.table, self.meter, self.conditions, self.four_wire_below_ohm, started, progress
            )
        return self._unit

    # ------------------------------------------------------------------ the operator

    def _obey(self, command: Command, utc_s: float) -> list[StudyEvent]:
        match command:
            case ConfirmOpen():
                return self._here()
            case StartUnit():
                return self._pick(command.serial)
            case MeasureAgain():
                return self._again(command.step)
            case Note():
                return [Notice(Severity.REMARK, Code.NOTE, utc_s, facts={"note": command.text})]
            case _ if isinstance(command, Duty):
                events = self.duties.obey(command, utc_s)
                return [event for event in events if isinstance(event, Notice)]
            case _:
                raise Refused(Refusal.STUDY_NO_PLACE)

    def _here(self) -> list[StudyEvent]:
        """The operator whose turn it is has the probes; the leads are zeroed as after any change of shift."""
        if self.turn is None:
            raise Refused(Refusal.STUDY_DONE)
        if self.ready:
            raise Refused(Refusal.STUDY_NOT_WAITING)
        self.ready = True
        self.duties.zeroing = self.conditions.lead_wanted and not self.four_wire
        return []

    def _pick(self, label: str) -> list[StudyEvent]:
        """Measure this part next; it must be this operator's and of this round."""
        turn = self.turn
        if turn is None:
            raise Refused(Refusal.STUDY_DONE)
        label = label.upper()
        mine = {
            t.label: t
            for t in self.plan.turns
            if (t.operator, t.trial) == (turn.operator, turn.trial) and t.number not in self.taken
        }
        if label not in mine:
            left = tuple(sorted(mine))
            raise Refused(Refusal.STUDY_OTHER_PART, part=label, operator=turn.operator, parts=left)
        self._picked, self._unit = mine[label].number, None
        return []

    def _again(self, label: str | None) -> list[StudyEvent]:
        """Take the last measurement back, or that of another part by the same hands in the same round."""
        number = self._last if label is None else self._by_the_same_hands(label.upper())
        if number is None or number not in self.taken:
            raise Refused(Refusal.STUDY_NOTHING_TAKEN)
        turn = self.plan.turns[number - 1]
        self.taken.discard(number)
        self._picked, self._unit, self._acted_turn = number, None, None
        self.ready = True  # whoever has just measured still holds the probes
        return [TakenBack(turn)]

    def _by_the_same_hands(self, label: str) -> int | None:
        """The turn of this part in the round that is under way, or has just ended."""
        turns = (t for t in self.plan.turns if t.label == label and (t.operator, t.trial) == self._hands)
        return next((t.number for t in turns), None)

    def _asked(self) -> list[StudyEvent]:
        """The prompt, when it has changed."""
        prompt = self.prompt()
        if prompt == self._prompt:
            return []
        self._prompt = prompt
        return [prompt]


def _without_value(notice: Notice) -> Notice:
    """What keeps a study waiting, told as at any bench, but for the value."""
    return replace(notice, facts={name: fact for name, fact in notice.facts.items() if name != "ohm"})


def _moved(event: LeadZero | Notice) -> bool:
    """That another operator finds another zero is what a study looks for, and no reason for doubt."""
    return isinstance(event, Notice) and event.code is Code.LEADS_MOVED
