"""What has happened at one step of one unit, and when an attempt at it counts.

A wrong probe reads as it likes, a fault reads the same again. So a failing value is asked for until two
touches agree; and where a pass follows a failing value that no dirty pin explains, or the pair has a
look-alike that may have been touched instead, one more touch decides. Not for limits.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

from acquire.heart.attempt import Attempt
from acquire.physics.common import PairReading, reading_of
from acquire.records import Outcome, Pair, Step, Why
from acquire.records.codes import WARM_CHECK
from acquire.records.words import FAILING, PASSING
from acquire.steps.bracket import Bracket
from acquire.steps.pairs import PairTable
from acquire.unit_result import worse

SAME_SHARE = 0.05
"""Two failing values of one pair agree when they differ by no more than this share, for bad joints are
unsteady; workshop choice."""

_MOST = 4
"""So many attempts at most are left uncounted; workshop choice."""

AGREE, AGREE_SHARE = 3.0, 1e-3
"""Two touches of one pair agree within so many standard deviations of their difference, or this share of the
value: hands warm a winding between two touches. Workshop choices."""

AS_GOOD = 1.5
"""The meter may be set for another pair; a value this much less certain does not replace the earlier one.
Workshop choice."""


@dataclass(slots=True)
class StepState:
    """What has happened at one step so far.

    Attributes:
        attempts: touches that were judged.
        outcome: of the verdict that counts, None while there is none.
        ohm, u_ohm: value that counts, at the reference temperature, and its standard uncertainty; infinite
            for an open pair, NaN before.
        touch_u_ohm: the part of `u_ohm` that differs from one touch to the next.
        shared: the parts that other values of the unit share, by cause.
        at_most_ohm: what it has at most, 95 %, where no more than its continuity was judged; else None.
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
        skipped: it was left out.
    """

    step: Step
    attempts: int = 0
    outcome: Outcome | None = None
    ohm: float = math.nan
    u_ohm: float = 0.0
    touch_u_ohm: float = 0.0
    shared: tuple[tuple[str, float], ...] = ()
    at_most_ohm: float | None = None
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
    skipped: bool = False

    @property
    def done(self) -> bool:
        """A verdict counts, or the step was left out."""
        return self.outcome is not None or self.skipped

    @property
    def reading(self) -> PairReading:
        """The value that counts with what it shares."""
        return reading_of(self.step.pair, self.ohm, self.u_ohm, self.shared)

    @property
    def counted(self) -> bool:
        """It has a value of the unit's own that counts; the warm check only repeats one."""
        return self.outcome is not None and self.step.name != WARM_CHECK

    @property
    def repeatable_by_touch(self) -> bool:
        """A finite value that counts and that a further touch may replace, whatever else is on the unit."""
        if not self.step.conducts or self.step.name == WARM_CHECK:
            return False
        return self.outcome is not None and math.isfinite(self.ohm) and not (self.insisted or self.skipped)

    def ask_again(self) -> None:
        """Ask for the step once more after all; the value that counted so far is the one to compare with."""
        if self.outcome in FAILING:
            self.rechecked += 1
        else:
            self.doubted += 1
        self.outcome, self.refused_ohm = None, self.ohm if self.insisted else None
        self.ohm = math.nan
        if self.bracket is not None:
            self.bracket.anew()

    def set_up_and_ask(self) -> None:
        """Ask for the step once more with the meter set for it; nothing speaks against the value so far."""
        self.own_setup, self.out_of_turn = True, True
        self.outcome, self.ohm = None, math.nan

    def holds(self, attempt: Attempt) -> bool:
        """Whether a value touched again replaces the one that counts: both agree, or the new one is worse.

        It never makes a failing pair pass.
        """
        before, outcome, u_ohm = self.outcome, attempt.outcome, attempt.u_ohm
        if before is None or outcome is None or outcome is Outcome.CANNOT_JUDGE:
            return False
        if u_ohm > AS_GOOD * self.u_ohm or (before in FAILING and outcome not in FAILING):
            return False
        reach_ohm = max(
            AGREE * math.hypot(attempt.touch_u_ohm, self.touch_u_ohm), AGREE_SHARE * abs(self.ohm)
        )
        is_worse = worse(outcome, before)
        if is_worse and outcome in FAILING and self.rechecked:
            return False  # its next failing value counts at once: too much for one touch unasked for
        return is_worse or abs(attempt.ohm - self.ohm) <= reach_ohm

    def why_again(self) -> tuple[Why, int]:
        """Why the step is asked for although it was measured before, and for the how manieth time."""
        looks = self.rechecked + self.doubted
        if self.out_of_turn:
            return Why.SET_UP, 1
        if len(self.failed) > 1:
            return Why.DISAGREE, len(self.failed) + self.passed_once
        if self.passed_once:
            return Why.PASSED_AFTER_FAIL, 1
        if self.failed:
            return Why.FAILED, 1
        if looks:
            return Why.INCONSISTENT, looks
        return (Why.LOOKS_LIKE, 0) if self.refused_ohm is not None else (Why.NONE, 0)


def touched_afresh(last: StepState) -> StepState:
    """The step judged last, before a further touch: nothing counts, what was learnt of it stays."""
    failed = (last.ohm,) if last.outcome in FAILING else ()
    return StepState(
        last.step,
        attempts=last.attempts,
        failed=failed,
        own_setup=last.own_setup,
        rechecked=last.rechecked,
        doubted=last.doubted,
    )


def judged(state: StepState, attempt: Attempt, table: PairTable) -> bool:
    """Whether an attempt counts; one that does not is remembered in the state.

    Args:
        state: of the step, before the attempt.
        attempt: a value, or an open pair, with its outcome.
        table: of the sheet.
    """
    outcome, ohm = attempt.outcome, attempt.ohm
    if outcome in FAILING:
        if state.insisted or state.rechecked or len(state.failed) + state.passed_once >= _MOST:
            return True
        agrees = any(_agree(ohm, before, attempt.touch_u_ohm) for before in state.failed)
        state.failed = (*state.failed, ohm)
        return agrees
    if not state.failed or outcome not in PASSING or state.passed_once:
        return True
    read_low = any(before < ohm for before in state.failed)
    if state.rechecked or not (read_low or has_look_alike(state.step.pair, table)):
        return True
    state.passed_once = True
    return False


def has_look_alike(pair: Pair, table: PairTable) -> bool:
    """Whether a slip of one probe can lead to another pair that reads alike on a good unit."""
    if math.isinf(table.nominal_ohm(pair)):
        return True
    return any(len({*other} & {*pair}) == 1 and table.alike(other, pair) for other in table.pairs())


def _agree(ohm: float, before_ohm: float, u_ohm: float) -> bool:
    if math.isinf(ohm) or math.isinf(before_ohm):
        return ohm == before_ohm
    return abs(ohm - before_ohm) <= max(4.0 * u_ohm, SAME_SHARE * max(abs(before_ohm), abs(ohm)))
