"""What has happened at one step of one unit, and how that is put to the operator.

Not for the rules (see unit).
"""

from __future__ import annotations

from dataclasses import dataclass

from acquire.records import Ask, Outcome, Step, StepKind


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
        insisted: True when such a value came again and was judged after all.
        failed_once: True while a failing value waits for its repetition.
        skipped: the reason for leaving the step out, else empty.
    """

    step: Step
    attempts: int = 0
    outcome: Outcome | None = None
    ohm: float | None = None
    u_ohm: float = 0.0
    repeat_u_ohm: float = 0.0
    refused_ohm: float | None = None
    insisted: bool = False
    failed_once: bool = False
    skipped: str = ""

    @property
    def done(self) -> bool:
        """A verdict counts, or the step was left out."""
        return self.outcome is not None or bool(self.skipped)


def request(state: StepState, *, silent: bool) -> tuple[Ask, str]:
    """The kind of action and the sentence that ask for a step.

    Args:
        state: of the step that is due.
        silent: True when no contact was seen for so long that an open pair must be thought of.
    """
    step = state.step
    if step.kind is StepKind.OPEN:
        text = f"Touch {step.pair} ({step.name}), which must be open, and press Enter or the pedal."
        return Ask.TOUCH, text
    if silent:
        return (
            Ask.TOUCH_AGAIN if state.failed_once else Ask.TOUCH,
            f"No contact seen on {step.pair}: press Enter or the pedal if both probes are on it.",
        )
    if state.failed_once:
        return Ask.TOUCH_AGAIN, f"Touch {step.pair} ({step.name}) once more: the value did not pass."
    if state.refused_ohm is not None:
        return Ask.TOUCH_AGAIN, f"Touch {step.pair} ({step.name}): the last value reads like another pair."
    return Ask.TOUCH, f"Touch {step.pair} ({step.name})."
