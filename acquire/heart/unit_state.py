"""Where one unit stands: a fold over its attempts. What is asked for, what counts, what was read. Pure.

    attempts ──> apply, one after the other ──> the state of every step ──> the step that is asked for now

The same attempts give the same state, live and after a restart. The rules in one place:

* a failing value is asked for until two touches agree, and a pass after it with care (`judged`);
* a value that reads like another pair is refused; the same value once more is taken for what the asked pair
  really reads (`same_again`), so that no fault is explained away as a wrong probe;
* touching the pair just judged once more measures it again, where that is plainly meant (`last`);
* no contact is taken for an open winding by itself; a key, a fixture or a bracket of continuities bears
witness;
* when all steps are done, what the set speaks against is asked for again (recheck), then the first resistance
  is read once more to see whether the unit is still warm.

Not for limits and outcomes (verdict), contacts (contact) and what is said (words).
"""

from __future__ import annotations

from collections.abc import Callable, Iterable
from dataclasses import replace

from acquire.choices import FAILING, PASSING
from acquire.heart.attempt import Attempt, AttemptKind, StepState, counts, touched_afresh
from acquire.heart.recheck import doubtful, known_readings, movement, repeatable, too_coarse
from acquire.physics.common import PairReading, reading_of
from acquire.records import Ask, Fact, Fit, Match, Outcome, Pair, Prompt, Step, StepKind
from acquire.records.codes import WARM_CHECK, Order, Why
from acquire.steps.bracket import Bracket, bracket_for
from acquire.steps.pairs import PairTable
from acquire.unit_result import of_steps

CONTACT_WAIT_S = 3.0
"""So long without contact, and the operator is asked whether the pair is open; workshop choice."""

_SAME, _DIGIT = 0.01, 1e-3
"""Two values of one pair this close, as a fraction, are one value measured twice; and where nothing but a
repetition to the digit will do. Workshop choices."""


class UnitState:
    """The steps of one unit and what follows from its attempts.

    Typed steps are not asked for here: their results come from an instrument or a keyboard.

    Attributes:
        table: of the unit's sheet.
        serial: identity of the unit.
        states: of its steps, in the sheet's order, the warm check last once it is due.
        attempts: all that count for the state, oldest first.
        touch: number of the latest touch.
    """

    def __init__(
        self,
        table: PairTable,
        serial: str,
        *,
        order: Order = Order.GUIDED,
        warm_check: Callable[[list[PairReading]], bool] = lambda _: True,
        placed: bool = False,
    ) -> None:
        """Start at the first step.

        Args:
            table: of the unit's sheet.
            serial: identity of the unit.
            order: FREE takes a value for whichever open step it fits.
            warm_check: whether a failing unit is worth reading the first resistance again, from its readings.
            placed: True where relays bring the asked pair to the meter: no value is a wrong probe's, and what
                must be open is proven by them; else open steps may pass between touches of two known
                continuities.
        """
        self.table, self.serial = table, serial
        self.order, self.placed, self._worth = order, placed, warm_check
        self.attempts: list[Attempt] = []
        self.touch = 0
        self._begin()

    def _begin(self) -> None:
        self.states = [
            StepState(step, bracket=self._bracket(step))
            for step in self.table.sheet.steps
            if step.kind is not StepKind.TYPED
        ]
        self._focus = ""  # the step that a value or a word has turned to
        self._last = ""  # the step judged last
        self._touched_again = False  # whether it was measured again by touch since
        self._second_look = True

    # ------------------------------------------------------------------ transitions

    def apply(self, attempt: Attempt) -> bool:
        """Take an attempt; whether it counts.

        One of the same touch with a higher revision takes the place of the one before.
        """
        last = self.attempts[-1] if self.attempts else None
        if attempt.revision and last is not None and attempt.touch and last.touch == attempt.touch:
            self.refold(self.attempts[:-1])
        self.attempts.append(attempt)
        self.touch = max(self.touch, attempt.touch)
        return self._applied(attempt)

    def move_times(self, by_s: float) -> None:
        """The clock was set: no touch is further from another for that, as if the unit had cooled."""
        self.attempts = [replace(each, utc_s=each.utc_s + by_s) for each in self.attempts]

    def refold(self, attempts: Iterable[Attempt]) -> None:
        """Begin anew and take these attempts."""
        kept = list(attempts)
        self._begin()
        self.attempts = []
        for attempt in kept:
            self.attempts.append(attempt)
            self._applied(attempt)

    def _applied(self, attempt: Attempt) -> bool:
        self.unclip(but=attempt.step)
        match attempt.deed:
            case AttemptKind.JUDGED:
                return self._judged(attempt)
            case AttemptKind.REFUSED:
                self._refused(attempt)
            case AttemptKind.PROVED:
                state = self.named(attempt.step)
                if state.bracket is not None:
                    state.bracket.prove()
            case AttemptKind.AGAIN:
                self._again(attempt)
            case AttemptKind.SKIPPED:
                state = self.named(attempt.step)
                state.skipped, state.outcome = True, None
                self._focus = ""
                self._add_last_steps()
            case AttemptKind.UNDONE:
                self.refold(self.attempts[:-2])
        return False

    def _judged(self, attempt: Attempt) -> bool:
        state = self._turned_to(attempt)
        outcome = attempt.outcome or Outcome.CANNOT_JUDGE
        if state.step.name != WARM_CHECK:
            this = reading_of(state.step.pair, attempt.ohm, attempt.u_ohm, attempt.shared)
            readings = [*self.readings(), this]
            failing = bool({self.outcome, outcome} & FAILING)
            self._second_look = not failing or self._worth(readings)
        state.attempts += 1
        if state.step.name != self._last:
            self._last, self._touched_again = state.step.name, False
        if not counts(state, attempt, self.table):
            return False
        if outcome is Outcome.CANNOT_JUDGE and self._focus and not state.out_of_turn:
            state.out_of_turn = True
            return False
        state.outcome, state.ohm, state.u_ohm = outcome, attempt.ohm, attempt.u_ohm
        state.touch_u_ohm, state.shared = attempt.touch_u_ohm, attempt.shared
        state.at_most_ohm = attempt.at_most_ohm
        state.failed, state.passed_once, state.out_of_turn = (), False, False
        if not self._touched_again:  # a value touched again is as good as the one before
            state.own_setup = not self._focus
        self._focus = ""
        self._mistrust_brackets()
        self._add_last_steps()
        return True

    def _turned_to(self, attempt: Attempt) -> StepState:
        """The step of an attempt, which is current from now on; what was refused before it is settled."""
        state = self.named(attempt.step)
        current = self.state
        if state is not current:
            if state.done:  # the pair judged last, touched again
                if current is not None:
                    current.refused_ohm, current.looks_like = None, None
                self.states[self.states.index(state)] = state = touched_afresh(state)
                self._touched_again = True
            self._focus = state.step.name
        elif attempt.fit in (Fit.OTHER_PAIR, Fit.AMBIGUOUS) and not self.placed:
            state.insisted = True
        else:
            state.refused_ohm = None
        if state.bracket is not None:
            state.bracket.broken()
            state.bracket.closed = attempt.bracketed
        return state

    def _refused(self, attempt: Attempt) -> None:
        state = self.named(attempt.step)
        state.refused_ohm, state.looks_like = attempt.ohm, attempt.looks_like
        if state.bracket is not None:
            state.bracket.broken()
            state.bracket.exhausted |= attempt.looks_like == state.bracket.anchor

    def _again(self, attempt: Attempt) -> None:
        index = self.states.index(self.named(attempt.step))
        state = self.states[index]
        bracket = self._bracket(state.step) if state.bracket else None
        self.states[index] = StepState(state.step, attempts=state.attempts, bracket=bracket)
        self._mistrust_brackets()
        if attempt.step != WARM_CHECK:
            self.states = [s for s in self.states if s.step.name != WARM_CHECK]
        self._focus = attempt.step

    def _mistrust_brackets(self) -> None:
        """No pair is proven open by a continuity that has failed on this unit: only a key can do it then.

        What such a bracket has already passed is asked for again.
        """
        failed = {frozenset(s.step.pair) for s in self.states if s.outcome in FAILING}
        for state in self.states:
            bracket = state.bracket
            if bracket is None or failed.isdisjoint(map(frozenset, bracket.pairs)):
                continue
            state.bracket = None
            if bracket.closed and state.outcome is not None:
                state.ask_again()

    def _add_last_steps(self) -> None:
        """Once all steps are done: what the set speaks against, then the first resistance once more."""
        if not self.done:
            return
        if (again := doubtful(self.states, self.table)) is not None:
            again.ask_again()
        elif (coarse := too_coarse(self.states, self.table)) is not None:
            coarse.set_up_and_ask()
        elif not any(s.step.name == WARM_CHECK for s in self.states):
            now_s = self.attempts[-1].utc_s
            drifted = {each.step: abs(each.rate_per_s) * (now_s - each.utc_s) for each in self.attempts}
            first = repeatable(self.states, self.table.sheet.warm_limit, drifted)
            if self._second_look and first is not None and len(self.readings()) > 1:
                self.states.append(StepState(replace(first.step, name=WARM_CHECK)))

    # ------------------------------------------------------------------ what a value would be

    def refuses(self, match: Match) -> bool:
        """Whether a value at the current step is another pair's, and no verdict of this one."""
        state = self._open_state()
        if self.placed or match.fit in (Fit.EXPECTED, Fit.FAULT):
            return False
        return not self._same_again(state, match)

    def waiting(self, match: Match) -> Step | None:
        """In free order, the other open step whose value this is; else None."""
        state = self.state
        if state is None or state.bracket is not None or match.fit is not Fit.OTHER_PAIR:
            return None
        open_pairs = self.open_pairs if self.order is Order.FREE else ()
        if self.placed or match.pair not in open_pairs:
            return None
        return next(s.step for s in self.states if s.step.pair == match.pair and not s.done)

    @staticmethod
    def _same_again(state: StepState, match: Match) -> bool:
        """Whether the refused value has come again; to the digit where it looks like another pair now."""
        if state.refused_ohm is None:
            return False
        corrected, before_ohm = match.corrected, state.refused_ohm
        moved_on = match.fit is Fit.OTHER_PAIR and state.looks_like not in (None, match.pair)
        digit_ohm = 2.0 * corrected.settled.expanded_si + _DIGIT * abs(before_ohm)
        close_ohm = max(2.0 * corrected.expanded_ohm, _SAME * abs(before_ohm))
        return abs(corrected.reference_ohm - before_ohm) <= (digit_ohm if moved_on else close_ohm)

    # ------------------------------------------------------------------ where it stands

    @property
    def state(self) -> StepState | None:
        """The step that is asked for now; None when the unit is done."""
        first = None  # asked for at every reading, so it looks no further than it must
        for state in self.states:
            if state.outcome is not None or state.skipped:  # `done`, without the call
                continue
            if not self._focus or state.step.name == self._focus:
                return state
            first = first or state
        return first

    @property
    def current(self) -> Step | None:
        """The step to measure now; None when the unit is done."""
        state = self.state
        return state.step if state else None

    @property
    def done(self) -> bool:
        """Every step has a verdict that counts, or was skipped."""
        return self.state is None

    @property
    def steps_done(self) -> int:
        """Steps that have a verdict that counts, or were left out."""
        return sum(state.done for state in self.states)

    @property
    def ends_skipped(self) -> bool:
        """The latest thing was that a step was skipped."""
        return bool(self.attempts) and self.attempts[-1].deed is AttemptKind.SKIPPED

    @property
    def asks_set_up(self) -> bool:
        """The step is asked for again only because the meter is set for it now; the same touch will do."""
        return self.state is not None and self.state.out_of_turn

    @property
    def total(self) -> int:
        """Steps of the unit, the warm check once it is due."""
        return len(self.states)

    @property
    def passed(self) -> int:
        """Steps whose counting verdict is a pass, conditional ones included."""
        return sum(s.outcome in PASSING for s in self.states)

    @property
    def outcome(self) -> Outcome | None:
        """Worst outcome that counts; None before any. A step left out cannot be part of a pass."""
        return of_steps(
            (state.outcome for state in self.states), left_out=any(state.skipped for state in self.states)
        )

    @property
    def ended(self) -> list[tuple[Step, Outcome | None]]:
        """What each step that is done came to; None where it was skipped."""
        return [(s.step, s.outcome) for s in self.states if s.done]

    @property
    def continuous(self) -> list[tuple[Step, float]]:
        """Steps whose tolerance the meter could not judge, with what they have at most, 95 %."""
        return [(s.step, s.at_most_ohm) for s in self.states if s.counted and s.at_most_ohm is not None]

    @property
    def judged(self) -> list[tuple[Step, PairReading]]:
        """Resistance steps that count, with their values."""
        kinds = ((s.step, s.reading) for s in self.states if s.counted)
        return [(step, reading) for step, reading in kinds if step.conducts]

    def readings(self) -> tuple[PairReading, ...]:
        """Everything that counts; infinite where found open."""
        return tuple(s.reading for s in self.states if s.counted)

    def known(self) -> dict[Pair, tuple[float, float]]:
        """Finite readings that have passed, for the matcher."""
        return known_readings(self.states, None, passing=True)

    def moved(self) -> float | None:
        """How far the first resistance has moved during the test; see `recheck.movement`."""
        return movement(self.states)

    @property
    def open_pairs(self) -> tuple[Pair, ...]:
        """Pairs that a value may rightly belong to besides the asked one, for the matcher.

        In free order those of the steps still open, at an open step the two of its bracket; else none.
        """
        state = self.state
        if state is not None and state.step.kind is StepKind.OPEN:
            return state.bracket.pairs if state.bracket else ()
        if self.order is Order.GUIDED:
            return ()
        waiting = (s for s in self.states if not s.done and s is not state)
        return tuple(s.step.pair for s in waiting if s.step.conducts)

    @property
    def last(self) -> StepState | None:
        """The step judged last, where touching its pair once more may be meant for it; else None.

        A faulty pair can read what the pair before it has read, and so can a wrong probe: a touch means the
        pair before only where no pair that is asked for reads nearly so.
        """
        state = self.state
        if state is None or state.step.kind is StepKind.OPEN or self.placed or not self._last:
            return None
        last = next((s for s in self.states if s.step.name == self._last), None)
        if last is None or not last.repeatable_by_touch:
            return None
        pair = last.step.pair
        if any(s.step.pair == pair and (s.attempts or s.done) for s in self.states if s is not last):
            return None
        asked = (state.step.pair, *self.open_pairs)
        return None if any(self.table.alike(pair, other) for other in asked) else last

    def repeats(self, match: Match) -> bool:
        """Whether a value that reads like the step judged last is taken as its repetition.

        Once, and not where the asked pair has read so before: then it is that pair's, and no fault is
        explained away for ever.
        """
        state = self.state
        return state is not None and not self._touched_again and not self._same_again(state, match)

    @property
    def again(self) -> Pair | None:
        """The pair that was just measured again by touch, while another is asked for; else None."""
        return self.last.step.pair if self._touched_again and self.last is not None else None

    def latest(self) -> StepState | None:
        """The step measured last: the current one after an attempt, else the last one done.

        Where the value touched last reads like the step judged before, that one is meant.
        """
        state, last = self.state, self.last
        refused = state is not None and state.refused_ohm is not None
        if last is not None and state is not None and refused and state.looks_like == last.step.pair:
            return last
        if state is not None and (state.attempts or state.refused_ohm is not None):
            return state
        return next((s for s in reversed(self.states) if s.attempts), None)

    def named(self, step_name: str) -> StepState:
        """The state of a step.

        Raises:
            KeyError: there is no such step.
        """
        for state in self.states:
            if state.step.name == step_name:
                return state
        raise KeyError(step_name)

    # ------------------------------------------------------------------ what is asked

    def prompt(self, waited_s: float = 0.0) -> Prompt:
        """The next thing to do.

        Args:
            waited_s: seconds since the step was first asked for, or the probes were last seen in contact.
        """
        state, done = self.state, self.steps_done
        if state is None:
            return Prompt(Ask.START_UNIT, self.serial, None, "", done, self.total, Why.DONE)
        step, (why, times) = state.step, state.why_again()
        ask = Ask.TOUCH if why in (Why.NONE, Why.LOOKS_LIKE) else Ask.TOUCH_AGAIN
        facts: dict[str, Fact] = {}
        if step.kind is StepKind.OPEN:
            facts = {"open": True, **(state.bracket.facts() if state.bracket else {})}
        elif waited_s >= CONTACT_WAIT_S:
            why, times = Why.SILENT, 0
        else:
            if self.again is not None and state.refused_ohm is None:
                facts = {"after": tuple(self.again)}
            if why is Why.NONE and self.order is Order.FREE and self.open_pairs:
                why = Why.FREE
        return Prompt(ask, self.serial, step.pair, step.name, done, self.total, why, times, facts)

    @property
    def key_wait_s(self) -> float:
        """So long after a request a key may answer it: an open step asks for one at once."""
        state = self.state
        at_once = self.placed or state is None or state.step.kind is StepKind.OPEN
        return 0.0 if at_once else CONTACT_WAIT_S

    def lifted(self, monotonic_s: float) -> None:
        """The probes have left; needed for open steps that are bracketed by a known continuity."""
        if (state := self.state) is not None and state.bracket is not None:
            state.bracket.lifted(monotonic_s)

    def unclip(self, but: str = "") -> None:
        """Something else was touched, so that the clip has left the core: proofs in progress begin anew.

        Args:
            but: name of the step whose own touch it was; empty for none.
        """
        for state in self.states:
            if state.bracket is not None and state.step.name != but:
                state.bracket.broken()

    def seen_open(self, monotonic_s: float) -> None:
        """The meter shows no contact, and overload that would prove the pair of an open step open."""
        if (state := self.state) is not None and state.bracket is not None:
            state.bracket.seen_open(monotonic_s)

    def _open_state(self) -> StepState:
        state = self.state
        if state is None:
            raise ValueError("all steps are done")
        return state

    def _bracket(self, step: Step) -> Bracket | None:
        return None if self.placed or step.kind is not StepKind.OPEN else bracket_for(self.table, step)
