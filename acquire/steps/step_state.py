"""What has happened at one step of one unit, and how that is put to the operator.

Not for the rules (see unit).
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

from acquire.records import Ask, Outcome, Pair, Step, StepKind
from acquire.records.words import FAILING
from acquire.steps.bracket import Bracket

_AGAIN = ("once more", "a third time", "a fourth time")
"""How a step is asked for again at the end; each time in other words, or nobody would see that it was."""


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
) -> tuple[Ask, str]:
    """The kind of action and the sentence that ask for a step.

    Args:
        state: of the step that is due.
        silent: True when no contact was seen for so long that an open pair must be thought of.
        free: True where any step still open may be measured instead.
        after: a pair that was just measured again by touch.
    """
    step, what = state.step, f"{state.step.pair} ({state.step.name})"
    reason = _why_again(state)
    ask = Ask.TOUCH_AGAIN if reason else Ask.TOUCH
    if step.kind is StepKind.OPEN:
        key = f"Touch {what}, which must be open, and press Enter or the pedal."
        text = state.bracket.text() if state.bracket else key
        return ask, f"{step.pair}{reason}. {text}" if reason else text
    if silent:
        return ask, f"No contact seen on {step.pair}: press Enter or the pedal if both probes are on it."
    told = f"Touch {what}{reason or (', or any pair still open' if free else '')}."
    return ask, f"{after} was measured again. {told}" if after and state.refused_ohm is None else told


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


def _why_again(state: StepState) -> str:
    """What is added to the request when the step was measured before; empty the first time."""
    looks = state.rechecked + state.doubted
    reason = ""
    if state.out_of_turn:
        reason = "once more: the meter is set for it now"
    elif len(state.failed) > 1:
        reason = f"{_again(len(state.failed) + state.passed_once)}: no two values agree yet"
    elif state.passed_once:
        reason = "once more: it did not pass first, and passes now"
    elif state.failed:
        reason = "once more: the value did not pass"
    elif looks:
        reason = f"{_again(looks)}, to be sure: it does not go with the other values"
    elif state.refused_ohm is not None:
        return ": the last value reads like another pair"
    return f" {reason}" if reason else ""


def _again(times: int) -> str:
    return _AGAIN[min(times, len(_AGAIN)) - 1]
