"""Is the unit still warm? The first resistance read once more at the end of the unit tells.

Not for units that are warm but steady for a minute: those show as the same percentage on every winding, which
the diagnosis sees.
"""

from __future__ import annotations

import math
from collections.abc import Sequence

from acquire.records import StepKind
from acquire.steps.step_state import StepState

WARM_CHECK = "warm check"
"""Name of the step that repeats the first resistance at the end."""


def repeatable(states: Sequence[StepState], limit: float) -> StepState | None:
    """The first resistance whose repetition can show a movement as small as the limit.

    Args:
        states: of the unit's steps.
        limit: fraction by which a repeated value may move.
    """
    for state in states:
        if state.step.kind is not StepKind.RESISTANCE or state.step.name == WARM_CHECK:
            continue
        if state.ohm is None or math.isinf(state.ohm):
            continue
        if limit * abs(state.ohm) > 2.0 * math.sqrt(2.0) * state.repeat_u_ohm:
            return state
    return None


def movement(states: Sequence[StepState], limit: float) -> float | None:
    """How far the first resistance has moved during the test, as a fraction of its first value.

    Returns:
        None before the warm check; 0.0 where the two touches differ by no more than their scatter allows.
    """
    check = next((s for s in states if s.step.name == WARM_CHECK and s.ohm is not None), None)
    first = repeatable(states, limit)
    if check is None or first is None or check.ohm is None or first.ohm is None:
        return None
    change = check.ohm - first.ohm
    if abs(change) <= 2.0 * math.hypot(check.repeat_u_ohm, first.repeat_u_ohm):
        return 0.0
    return change / first.ohm
