"""How far one unit has come: which step is next, what counts, what is asked for once more.

The rules of the bench stand here, as plain state that outcomes are told to:

* a value that reads like another pair gets a hint and no verdict; the same value once more on request is
  taken for what the asked pair really reads, so that no fault is explained away as a wrong probe;
* a failing value is asked for once more before it counts; when the second one passes, it counts, for a dirty
  pin reads high and a good winding cannot read well by chance;
* no contact is never taken for an open winding by itself, for a probe in the air reads the same: after a
  while the operator is asked to confirm by key or pedal, twice, like any failing value;
* when all steps are done, the first resistance is read once more to see whether the unit is still warm.

Not for limits and verdict words (verdict/), not for time: waiting is told in seconds by the caller.
"""

from __future__ import annotations

import math
from collections.abc import Iterable
from copy import copy
from dataclasses import replace
from enum import StrEnum

from acquire.errors import InputImpossible
from acquire.records import Ask, Fit, Match, Outcome, Pair, Prompt, Step, StepKind, Verdict
from acquire.steps.pairs import PairTable
from acquire.steps.step_state import StepState, request

WARM_CHECK = "warm check"
"""Name of the step that repeats the first resistance at the end."""

_ALIKE = 0.01
"""Two values of one pair this close, as a fraction, are the same value measured twice; workshop choice."""

_WORST_LAST = (
    Outcome.PASS,
    Outcome.CONDITIONAL_PASS,
    Outcome.CANNOT_JUDGE,
    Outcome.CONDITIONAL_FAIL,
    Outcome.FAIL,
)

_FAILING = (Outcome.CONDITIONAL_FAIL, Outcome.FAIL)


class Ruling(StrEnum):
    """What is done with a matched value."""

    JUDGE = "judge"
    HINT = "hint"


class UnitProgress:
    """One unit on its way through the steps of its sheet, in the sheet's order.

    Typed steps are not asked for here: their results come from an instrument or a keyboard.
    """

    def __init__(
        self, table: PairTable, serial: str, *, contact_wait_s: float = 10.0, warm_check: bool = True
    ) -> None:
        """Start at the first step.

        Args:
            table: of the unit's sheet.
            serial: identity of the unit.
            contact_wait_s: seconds without contact before the operator is asked whether the pair is open.
            warm_check: False leaves out the repetition of the first resistance.
        """
        self.table = table
        self.serial = serial
        self.contact_wait_s = contact_wait_s
        self.warm_check = warm_check
        self.states = [StepState(s) for s in table.sheet.steps if s.kind is not StepKind.TYPED]
        self._before: tuple[int, StepState] | None = None

    @property
    def state(self) -> StepState | None:
        """The step that is asked for now; None when the unit is done."""
        return next((state for state in self.states if not state.done), None)

    @property
    def current(self) -> Step | None:
        """The step to measure now; None when the unit is done."""
        state = self.state
        return state.step if state else None

    @property
    def attempt(self) -> int:
        """Number of the attempt that comes next at the current step, from 1."""
        state = self.state
        return state.attempts + 1 if state else 0

    @property
    def done(self) -> bool:
        """Every step has a verdict that counts, or was left out."""
        return self.state is None

    @property
    def total(self) -> int:
        """Steps of the unit, the warm check once it is due."""
        return len(self.states)

    @property
    def passed(self) -> int:
        """Steps whose counting verdict is a pass, conditional ones included."""
        return sum(s.outcome in (Outcome.PASS, Outcome.CONDITIONAL_PASS) for s in self.states)

    @property
    def outcome(self) -> Outcome | None:
        """Worst outcome that counts; None before any. A step left out cannot be part of a pass."""
        outcomes = [state.outcome for state in self.states if state.outcome is not None]
        if any(state.skipped for state in self.states):
            outcomes.append(Outcome.CANNOT_JUDGE)
        return max(outcomes, key=_WORST_LAST.index, default=None)

    def readings(self) -> tuple[tuple[Pair, float, float], ...]:
        """(pair, ohm, standard uncertainty) of everything that counts; infinite where confirmed open."""
        return tuple(
            (state.step.pair, state.ohm, state.u_ohm)
            for state in self.states
            if state.outcome is not None and state.ohm is not None and state.step.name != WARM_CHECK
        )

    def known(self) -> dict[Pair, tuple[float, float]]:
        """Finite readings that have passed, for the matcher."""
        return {
            state.step.pair: (state.ohm, state.u_ohm)
            for state in self.states
            if state.outcome in (Outcome.PASS, Outcome.CONDITIONAL_PASS)
            and state.ohm is not None
            and math.isfinite(state.ohm)
        }

    def admit(self, match: Match) -> Ruling:
        """Decide whether a matched value of the current step is judged or answered by a hint.

        Raises:
            InputImpossible: the unit is done.
        """
        state = self._open_state()
        self._remember(state)
        ohm = match.corrected.reference_ohm
        if match.fit in (Fit.EXPECTED, Fit.FAULT):
            state.refused_ohm = None
            return Ruling.JUDGE
        if state.refused_ohm is not None and _alike(ohm, state.refused_ohm, match.corrected.expanded_ohm):
            state.insisted = True
            return Ruling.JUDGE
        state.refused_ohm = ohm
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
            InputImpossible: the unit is done.
        """
        state = self._open_state()
        if self._before is None or self._before[0] != self.states.index(state):
            self._remember(state)
        state.attempts += 1
        if outcome in _FAILING and not (state.failed_once or state.insisted):
            state.failed_once = True
            return False
        state.outcome, state.ohm, state.u_ohm = outcome, ohm, u_ohm
        state.repeat_u_ohm = u_ohm if repeat_u_ohm is None else repeat_u_ohm
        state.failed_once = False
        self._add_warm_check()
        return True

    def confirmed_open(self) -> tuple[Outcome, bool]:
        """The operator has confirmed by key or pedal that both probes are on the current pair.

        Returns:
            (outcome, whether it counts): a pass where the step wants the pair open, else a fail that is asked
            for once more like any other.

        Raises:
            InputImpossible: the unit is done.
        """
        state = self._open_state()
        self._remember(state)
        wanted = state.step.kind is StepKind.OPEN or math.isinf(self.table.nominal_ohm(state.step.pair))
        outcome = Outcome.PASS if wanted else Outcome.FAIL
        return outcome, self.judged(outcome, math.inf)

    def take_back(self) -> None:
        """Undo the last touch: its value has moved on without a lift-off and will be told again, revised."""
        if self._before is not None:
            index, state = self._before
            if index < self._steps_proper():
                del self.states[self._steps_proper() :]
            self.states[index] = state
            self._before = None

    def measure_again(self, step_name: str | None = None) -> Step:
        """Forget the outcome of a step and ask for it again.

        Args:
            step_name: of the sheet; None for the one that was measured last.

        Raises:
            InputImpossible: there is no such step, or nothing was measured yet.
        """
        state = self._named(step_name) if step_name else self._latest()
        index = self.states.index(state)
        self.states[index] = StepState(state.step, attempts=state.attempts)
        if state.step.name != WARM_CHECK:
            del self.states[self._steps_proper() :]
        self._before = None
        return state.step

    def skip(self, reason: str, step_name: str | None = None) -> Step:
        """Leave a step out; the unit cannot pass any more.

        Args:
            reason: goes on the record, not empty.
            step_name: of the sheet; None for the current one.

        Raises:
            InputImpossible: no reason, no such step, or the unit is done.
        """
        if not reason.strip():
            raise InputImpossible("A step is left out only with a reason.", "Say why it cannot be measured.")
        state = self._named(step_name) if step_name else self._open_state()
        state.skipped, state.outcome = reason.strip(), None
        self._before = None
        self._add_warm_check()
        return state.step

    def resume(self, verdicts: Iterable[Verdict]) -> None:
        """Bring back a unit from its record, for instance after a power cut.

        Args:
            verdicts: of this serial and sheet, oldest first, whether they count or not.
        """
        for verdict in verdicts:
            state = next((s for s in self.states if s.step.name == verdict.step), None)
            if state is None:
                continue
            state.attempts = verdict.attempt
            if verdict.counts:
                open_pair = verdict.reference_ohm is None
                state.outcome = verdict.outcome
                state.ohm = math.inf if open_pair else verdict.reference_ohm
                state.u_ohm = state.repeat_u_ohm = verdict.standard_uncertainty_ohm or 0.0
                state.failed_once = False
            else:
                state.failed_once = True
            self._add_warm_check()

    def moved(self) -> float | None:
        """How far the first resistance has moved during the test, as a fraction of its first value.

        Returns:
            None before the warm check; 0.0 where the two touches differ by no more than their scatter allows.
        """
        check = next((s for s in self.states if s.step.name == WARM_CHECK and s.ohm is not None), None)
        first = self._first_repeatable()
        if check is None or first is None or check.ohm is None or first.ohm is None:
            return None
        change = check.ohm - first.ohm
        if abs(change) <= 2.0 * math.hypot(check.repeat_u_ohm, first.repeat_u_ohm):
            return 0.0
        return change / first.ohm

    @property
    def still_warm(self) -> bool:
        """The first resistance has moved by more than the sheet allows."""
        return abs(self.moved() or 0.0) > self.table.sheet.warm_limit

    def prompt(self, waited_s: float = 0.0) -> Prompt:
        """The next thing to do.

        Args:
            waited_s: seconds since the step was first asked for, or the probes were last seen in contact.
        """
        state = self.state
        done = sum(s.done for s in self.states)
        if state is None:
            text = f"{self.serial} is done: take the next unit."
            return Prompt(Ask.START_UNIT, text, self.serial, steps_done=done, steps_total=self.total)
        ask, text = request(state, silent=waited_s >= self.contact_wait_s)
        return Prompt(ask, text, self.serial, state.step.pair, state.step.name, done, self.total)

    def _open_state(self) -> StepState:
        state = self.state
        if state is None:
            raise InputImpossible(f"All steps of {self.serial} are done.", "Take the next unit.")
        return state

    def _named(self, step_name: str) -> StepState:
        for state in self.states:
            if state.step.name == step_name:
                return state
        names = ", ".join(state.step.name for state in self.states)
        raise InputImpossible(f'There is no step "{step_name}".', f"The steps are {names}.")

    def _latest(self) -> StepState:
        """The step measured last: the current one after an attempt, else the last one done."""
        state = self.state
        if state is not None and (state.attempts or state.refused_ohm is not None):
            return state
        measured = [s for s in self.states if s.attempts]
        if not measured:
            raise InputImpossible("Nothing was measured yet.", "Touch the pair that is asked for.")
        return measured[-1]

    def _remember(self, state: StepState) -> None:
        self._before = (self.states.index(state), copy(state))

    def _steps_proper(self) -> int:
        return len(self.states) - (self.states[-1].step.name == WARM_CHECK if self.states else 0)

    def _first_repeatable(self) -> StepState | None:
        """The first resistance whose repetition can show a movement as small as the sheet's warm limit."""
        limit = self.table.sheet.warm_limit
        for state in self.states[: self._steps_proper()]:
            if state.step.kind is not StepKind.RESISTANCE or state.ohm is None or math.isinf(state.ohm):
                continue
            if limit * abs(state.ohm) > 2.0 * math.sqrt(2.0) * state.repeat_u_ohm:
                return state
        return None

    def _add_warm_check(self) -> None:
        """Once all steps are done and at least two gave a value, ask for the first one once more."""
        if not self.warm_check or not self.done or self._steps_proper() != len(self.states):
            return
        first = self._first_repeatable()
        if first is not None and len(self.readings()) > 1:
            self.states.append(StepState(replace(first.step, name=WARM_CHECK)))


def _alike(ohm: float, before_ohm: float, expanded_ohm: float) -> bool:
    return abs(ohm - before_ohm) <= max(2.0 * expanded_ohm, _ALIKE * abs(before_ohm))
