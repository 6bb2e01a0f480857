"""How far one unit has come: which step is next, what counts, what is asked for once more.

The rules of the bench stand here, as plain state that outcomes are told to:

* a value that reads like another pair gets a hint and no verdict; the same value once more on request is
  taken for what the asked pair really reads, so that no fault is explained away as a wrong probe;
* a failing value is asked for once more before it counts, and counts when two agree (see counting); when the
  second one passes, it counts where a dirty pin explains the first, else a third touch decides;
* a value that the other readings speak against is asked for once more at the end (see recheck);
* lifting and touching the pair just judged once more measures it again (see touched_again);
* no contact is never taken for an open winding by itself, for a probe in the air reads the same: after a
  while the operator is asked to confirm by key or pedal, twice, like any failing value; a pair that must be
  open passes by key, or bracketed by known continuities (see bracket);
* when all steps are done, the first resistance is read once more to see whether the unit is still warm.

Not for limits and verdict words (verdict/), not for time: waiting is told in seconds by the caller.
"""

from __future__ import annotations

import math
from collections.abc import Iterable
from dataclasses import replace
from enum import StrEnum

from acquire.records import (
    Ask,
    Fit,
    Match,
    Notice,
    Outcome,
    Pair,
    Prompt,
    Refusal,
    Refused,
    Step,
    StepKind,
    Verdict,
    Why,
)
from acquire.steps.bracket import Bracket, bracket_for
from acquire.steps.counting import counts
from acquire.steps.pairs import PairTable
from acquire.steps.recall import recall
from acquire.steps.recheck import doubtful, too_coarse
from acquire.steps.standing import Standing
from acquire.steps.step_state import StepState, mistrust_brackets, request
from acquire.steps.touched_again import afresh, repeatable_by_touch, same_again
from acquire.steps.warm import WARM_CHECK, repeatable


class Ruling(StrEnum):
    """What is done with a matched value.

    JUDGE: it is the current step's; HINT: the operator is told what it reads like; PROVED: it shows that the
    clip of an open step is sound, nothing to judge yet; OPEN: it closes the bracket, the step has passed;
    AGAIN: it is the pair judged last, measured again: current now.
    """

    JUDGE = "judge"
    HINT = "hint"
    PROVED = "proved"
    OPEN = "open"
    AGAIN = "again"


class Order(StrEnum):
    """Whether the steps must come as the sheet lists them."""

    GUIDED = "guided"
    FREE = "free"


class UnitProgress(Standing):
    """One unit on its way through the steps of its sheet.

    Typed steps are not asked for here: their results come from an instrument or a keyboard.
    """

    def __init__(
        self,
        table: PairTable,
        serial: str,
        *,
        order: Order = Order.GUIDED,
        contact_wait_s: float = 10.0,
        warm_check: bool = True,
        brackets: bool = False,
        placed: bool = False,
    ) -> None:
        """Start at the first step.

        Args:
            table: of the unit's sheet.
            serial: identity of the unit.
            order: FREE takes a value for whichever open step it fits.
            contact_wait_s: seconds without contact before the operator is asked whether the pair is open.
            warm_check: False leaves out the repetition of the first resistance.
            brackets: True lets open steps pass between touches of two known continuities; the caller must
                then tell lift-offs (`lifted`) and act on `Ruling.PROVED` and `Ruling.OPEN`.
            placed: True where relays bring the asked pair to the meter: no value is a wrong probe's.
        """
        super().__init__(table, serial, brackets=brackets)
        self.order = order
        self.contact_wait_s = contact_wait_s
        self.warm_check = warm_check
        self.placed = placed
        self._before: tuple[list[StepState], str, str, bool] | None = None

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
        return tuple(s.step.pair for s in waiting if s.step.kind is StepKind.RESISTANCE)

    @property
    def last(self) -> StepState | None:
        """The step judged last, where touching its pair once more may be meant for it; else None."""
        state = self.state
        if state is None or state.step.kind is StepKind.OPEN or self.placed or not self._last:
            return None
        last = next((s for s in self.states if s.step.name == self._last), None)
        if last is None:
            return None
        others = (s for s in self.states if s is not last)
        asked = (state.step.pair, *self.open_pairs)
        return last if repeatable_by_touch(last, asked, others, self.table) else None

    @property
    def again(self) -> Pair | None:
        """The pair that was just measured again by touch, while another is asked for; else None."""
        return self.last.step.pair if self._touched_again and self.last is not None else None

    def admit(self, match: Match, *, again: bool = False) -> Ruling:
        """Decide what is done with a matched value.

        In free order a value may be taken for another open step: `current` is that step afterwards.

        Args:
            match: of the value.
            again: it holds as the step judged last, touched again after the probes were seen to leave.

        Raises:
            Refused: the unit is done.
        """
        state = self._open_state()
        self._remember()
        if state.bracket is not None:
            ruling = _bracketed(state.bracket, match)
            if ruling is not None:
                return ruling
        ohm = match.corrected.reference_ohm
        if self.placed or match.fit in (Fit.EXPECTED, Fit.FAULT):
            state.refused_ohm = None
            return Ruling.JUDGE
        if match.fit is Fit.OTHER_PAIR and state.bracket is None and match.pair in self.open_pairs:
            self._focus = next(s.step.name for s in self.states if s.step.pair == match.pair and not s.done)
            return Ruling.JUDGE
        if same_again(state, match):
            state.insisted = True
            return Ruling.JUDGE
        last = self.last if again and not self._touched_again else None
        if last is not None:
            state.refused_ohm, state.looks_like = None, None
            self.states[self.states.index(last)] = afresh(last)
            self._touched_again, self._focus = True, last.step.name
            return Ruling.AGAIN
        state.refused_ohm = ohm
        state.looks_like = match.pair if match.fit is Fit.OTHER_PAIR else None
        return Ruling.HINT

    def judged(
        self, outcome: Outcome, ohm: float, u_ohm: float = 0.0, *, repeat_u_ohm: float | None = None
    ) -> bool:
        """Take the outcome of the current step.

        Args:
            outcome: what the decision rule says.
            ohm: at the reference temperature; infinite for a confirmed open pair.
            u_ohm: its standard uncertainty.
            repeat_u_ohm: the part of it that differs from touch to touch (scatter, counts, contact); all of
                it when not given.

        Returns:
            Whether this attempt counts; False means that the step is asked for once more.

        Raises:
            Refused: the unit is done.
        """
        state = self._open_state()
        state.attempts += 1
        if state.step.name != self._last:
            self._last, self._touched_again = state.step.name, False
        touch_u_ohm = u_ohm if repeat_u_ohm is None else repeat_u_ohm
        if not counts(state, outcome, ohm, touch_u_ohm, self.table):
            return False
        if outcome is Outcome.CANNOT_JUDGE and self._focus and not state.out_of_turn:
            state.out_of_turn = True
            return False
        state.outcome, state.ohm, state.u_ohm = outcome, ohm, u_ohm
        state.repeat_u_ohm = touch_u_ohm
        state.failed, state.passed_once, state.out_of_turn = (), False, False
        if not self._touched_again:  # a value touched again is as good as the one before, see touched_again
            state.own_setup = not self._focus
        self._focus = ""
        mistrust_brackets(self.states)
        self._add_last_steps()
        return True

    def confirmed_open(self) -> tuple[Outcome, bool]:
        """The operator has confirmed by key or pedal that both probes are on the current pair.

        Also for a bracket that has closed (`Ruling.OPEN`).

        Returns:
            (outcome, whether it counts): a pass where the step wants the pair open, else a fail that is asked
            for once more like any other.

        Raises:
            Refused: the unit is done.
        """
        state = self._open_state()
        self._remember()
        wanted = state.step.kind is StepKind.OPEN or math.isinf(self.table.nominal_ohm(state.step.pair))
        outcome = Outcome.PASS if wanted else Outcome.FAIL
        return outcome, self.judged(outcome, math.inf)

    def take_back(self) -> None:
        """Undo the last touch: its value has moved on without a lift-off and will be told again, revised."""
        if self._before is not None:
            self.states, self._focus, self._last, self._touched_again = self._before
            self._before = None

    def measure_again(self, step_name: str | None = None) -> Step:
        """Forget the outcome of a step and ask for it again.

        Args:
            step_name: of the sheet; None for the one that was measured last.

        Raises:
            Refused: there is no such step, or nothing was measured yet.
        """
        state = self._named(step_name) if step_name else self._latest()
        index = self.states.index(state)
        bracket = bracket_for(self.table, state.step) if state.bracket else None
        self.states[index] = StepState(state.step, attempts=state.attempts, bracket=bracket)
        mistrust_brackets(self.states)
        if state.step.name != WARM_CHECK:
            self.states = [s for s in self.states if s.step.name != WARM_CHECK]
        self._before, self._focus = None, state.step.name
        return state.step

    def skip(self, reason: str, step_name: str | None = None) -> Step:
        """Leave a step out; the unit cannot pass any more.

        Args:
            reason: goes on the record, not empty.
            step_name: of the sheet; None for the current one.

        Raises:
            Refused: no reason, no such step, or the unit is done.
        """
        if not reason.strip():
            raise Refused(Refusal.SKIP_NO_REASON)
        state = self._named(step_name) if step_name else self._open_state()
        state.skipped, state.outcome = reason.strip(), None
        self._before, self._focus = None, ""
        self._add_last_steps()
        return state.step

    def resume(self, records: Iterable[Verdict | Notice]) -> None:
        """Bring back a unit from its record, for instance after a power cut.

        Args:
            records: verdicts of this serial and sheet, whether they count or not, and the notices of steps
                left out and of values refused, oldest first; other notices mean nothing here.
        """
        refused: set[str] = set()
        for record in records:
            recall(self.states, record, refused)
            mistrust_brackets(self.states)
            self._add_last_steps()

    def prompt(self, waited_s: float = 0.0) -> Prompt:
        """The next thing to do.

        Args:
            waited_s: seconds since the step was first asked for, or the probes were last seen in contact.
        """
        state = self.state
        done = sum(s.done for s in self.states)
        if state is None:
            return Prompt(Ask.START_UNIT, self.serial, steps_done=done, steps_total=self.total, why=Why.DONE)
        silent = waited_s >= self.contact_wait_s
        free = self.order is Order.FREE and bool(self.open_pairs)
        ask, why, times, facts = request(state, silent=silent, free=free, after=self.again)
        step = state.step
        return Prompt(ask, self.serial, step.pair, step.name, done, self.total, why, times, facts)

    def _latest(self) -> StepState:
        """The step measured last: the current one after an attempt, else the last one done.

        Where the value touched last reads like the step judged before, that one is meant (see touched_again).
        """
        state, last = self.state, self.last
        refused = state is not None and state.refused_ohm is not None
        if last is not None and state is not None and refused and state.looks_like == last.step.pair:
            return last
        if state is not None and (state.attempts or state.refused_ohm is not None):
            return state
        measured = [s for s in self.states if s.attempts]
        if not measured:
            raise Refused(Refusal.NOTHING_MEASURED)
        return measured[-1]

    def _remember(self) -> None:
        states = [state.copied() for state in self.states]
        self._before = (states, self._focus, self._last, self._touched_again)

    def _add_last_steps(self) -> None:
        """Once all steps are done: what the set speaks against, then the first resistance once more."""
        if not self.done:
            return
        again = doubtful(self.states, self.table)
        if again is not None:
            again.ask_again()
            return
        coarse = too_coarse(self.states, self.table)
        if coarse is not None:
            coarse.set_up_and_ask()
            return
        if any(s.step.name == WARM_CHECK for s in self.states):
            return
        first = repeatable(self.states, self.table.sheet.warm_limit)
        if self.warm_check and first is not None and len(self.readings()) > 1:
            self.states.append(StepState(replace(first.step, name=WARM_CHECK)))


def _bracketed(bracket: Bracket, match: Match) -> Ruling | None:
    """What a value means to the proof of an open step; None where it is any other value of that step."""
    if match.fit is Fit.OTHER_PAIR and match.pair in bracket.pairs:
        closed = bracket.touched(match.pair, match.corrected.settled.contact_s)
        if closed is None:
            return None
        return Ruling.OPEN if closed else Ruling.PROVED
    bracket.broken()
    return None
