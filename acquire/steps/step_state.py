"""What has happened at one step of one unit, and how it is asked for next.

Not for the rules (see unit).
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

from acquire.records import Ask, Fact, Outcome, Pair, Step, StepKind, Why
from acquire.records.words import FAILING
from acquire.steps.bracket import Bracket


@dataclass(slots=True)
class StepState:
    """What has happened at one step so far.

    Attributes:
        attempts: touches that were judged.
        outcome: of the verdict that counts, None while there is none.
        ohm, u_ohm: value that counts, at the reference temperature, and its standard uncertainty; infinite
            for a confirmed open pair, None before.
        repeat_u_ohm: the part of `u_ohm` that differs from one touch to the next.
        refused_ohm: last value that was taken for another pair's, None when there is none.
        looks_like: that pair.
        insisted: True when such a value came again and was judged after all.
        failed: failing values that wait for one that agrees with them.
        passed_once: True while a pass after those waits for its repetition.
        out_of_turn: True when a value came in free order while the meter was set for another step, and could
            not be judged as it was.
        own_setup: False where the value that counts came while the meter was set for another step.
        rechecked: how often it was asked for again at the end because it failed, see `recheck`.
        doubted: how often because it passed although the set speaks against it.
        bracket: the proof in progress of an open step, None where only a key can give it.
        skipped: the reason for leaving the step out, else empty.
    """

    step: Step
    attempts: int = 0
    outcome: Outcome | None = None
    ohm: float | None = None
    u_ohm: float = 0.0
    repeat_u_ohm: float = 0.0
    refused_ohm: float | None = None
    looks_like: Pair | None = None
    insisted: bool = False
    failed: tuple[float, ...] = ()
    passed_once: bool = False
    out_of_turn: bool = False
    own_setup: bool = True
    rechecked: int = 0
    doubted: int = 0
    bracket: Bracket | None = None
    skipped: str = ""

    @property
    def done(self) -> bool:
        """A verdict counts, or the step was left out."""
        return self.outcome is not None or bool(self.skipped)

    def copied(self) -> StepState:
        """An independent copy, to go back to."""
        return replace(self, bracket=replace(self.bracket) if self.bracket else None)

    def ask_again(self) -> None:
        """Ask for the step once more after all; the value that counted so far is the one to compare with."""
        if self.outcome in FAILING:
            self.rechecked += 1
        else:
            self.doubted += 1
        self.outcome, self.refused_ohm = None, self.ohm if self.insisted else None
        self.ohm = None
        if self.bracket is not None:
            self.bracket.anew()

    def set_up_and_ask(self) -> None:
        """Ask for the step once more with the meter set for it; nothing speaks against the value so far."""
        self.own_setup, self.out_of_turn = True, True
        self.outcome = self.ohm = None


def request(
    state: StepState, *, silent: bool, free: bool = False, after: Pair | None = None
) -> tuple[Ask, Why, int, dict[str, Fact]]:
    """How a step is asked for: the kind of action, why, how often before, and facts of `Prompt`.

    Args:
        state: of the step that is due.
        silent: True when no contact was seen for so long that an open pair must be thought of.
        free: True where any step still open may be measured instead.
        after: a pair that was just measured again by touch.
    """
    why, times = _why_again(state)
    ask = Ask.TOUCH if why is Why.NONE else Ask.TOUCH_AGAIN
    if state.step.kind is StepKind.OPEN:
        return ask, why, times, {"open": True, **(state.bracket.facts() if state.bracket else {})}
    if silent:
        return ask, Why.SILENT, 0, {}
    if why is Why.NONE and free:
        why = Why.FREE
    return ask, why, times, {"after": after} if after and state.refused_ohm is None else {}


def mistrust_brackets(states: Sequence[StepState]) -> None:
    """No pair is proven open by a continuity that has failed on this very unit: only a key can do it then.

    What such a bracket has already passed is asked for again.

    Args:
        states: of all steps of the unit; changed.
    """
    failed = {frozenset(s.step.pair) for s in states if s.outcome in FAILING}
    for state in states:
        if state.bracket is None or failed.isdisjoint(map(frozenset, state.bracket.pairs)):
            continue
        proven, state.bracket = state.bracket.closed and state.outcome is not None, None
        if proven:
            state.ask_again()


def _why_again(state: StepState) -> tuple[Why, int]:
    """Why the step is asked for once more, and how often it was; NONE the first time."""
    looks = state.rechecked + state.doubted
    if state.out_of_turn:
        return Why.SET_UP, 1
    if len(state.failed) > 1:
        return Why.DISAGREE, len(state.failed) + state.passed_once
    if state.passed_once:
        return Why.PASSED_AFTER_FAIL, 1
    if state.failed:
        return Why.FAILED, 1
    if looks:
        return Why.INCONSISTENT, looks
    return (Why.NONE if state.refused_ohm is None else Why.LOOKS_LIKE), 0
