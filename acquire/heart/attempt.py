"""Attempts at the steps of one unit: how the record keeps one, what they add up to, and which counts.

What happens to a unit is a touch that was judged, one that was refused as another pair's, one that proved a
clip, a word to measure again, or a step left out. Live and after a power cut the same attempts go through the
same transitions (unit_state), so that a restart is a replay.

A wrong probe reads as it likes, a fault reads the same again. So a failing value is asked for until two
touches agree; and where a pass follows a failing value that no dirty pin explains, or the pair has a
look-alike that may have been touched instead, one more touch decides. Pure. Not for limits.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass
from enum import StrEnum

from acquire.choices import FAILING, PASSING
from acquire.physics.common import PairReading, reading_of
from acquire.records import Basis, Event, Fit, Match, Notice, Outcome, Pair, Recorded, Step, Verdict, Why
from acquire.records.codes import WARM_CHECK, Code, Fact, Scope
from acquire.steps.bracket import Bracket
from acquire.steps.pairs import PairTable
from acquire.unit_result import worse


class AttemptKind(StrEnum):
    """What an attempt was.

    JUDGED: a value, or an open pair, held against the step's limits. REFUSED: a value taken for another
    pair's. PROVED: a continuity that shows that the clip of an open step is sound. AGAIN: a step is to be
    measured again. SKIPPED: a step was left out. UNDONE: the attempt before is taken back.
    """

    JUDGED = "judged"
    REFUSED = "refused"
    PROVED = "proved"
    AGAIN = "again"
    SKIPPED = "skipped"
    UNDONE = "undone"


@dataclass(frozen=True, slots=True)
class Attempt:
    """What one touch, key or word came to.

    Attributes:
        step: name of the step that it belongs to.
        touch: number of the touch in its unit, from 1; 0 where nothing was touched.
        revision: of the settled value; above 0 it takes the place of what the same touch came to before.
        outcome: of a JUDGED one.
        ohm: at the reference temperature; infinite for an open pair, NaN where there is none.
        u_ohm, touch_u_ohm: its standard uncertainty, and the part of it that differs from touch to touch.
        expanded_ohm, settled_expanded_ohm: 95 % half-widths with and without meter, leads and temperature.
        fit: where the value was found to belong; None where there is none.
        looks_like: the pair that a REFUSED one reads like, None where several are as likely.
        bracketed: an open pair proven between touches of two known continuities.
        utc_s: when.
        shared, rate_per_s, u_rate_per_s: of the verdict.
        at_most_ohm: what it has at most, 95 %, where only its continuity could be judged; else None.
    """

    deed: AttemptKind
    step: str
    touch: int = 0
    revision: int = 0
    outcome: Outcome | None = None
    ohm: float = math.nan
    u_ohm: float = 0.0
    touch_u_ohm: float = 0.0
    expanded_ohm: float = 0.0
    settled_expanded_ohm: float = 0.0
    fit: Fit | None = None
    looks_like: Pair | None = None
    bracketed: bool = False
    utc_s: float = 0.0
    shared: tuple[tuple[str, float], ...] = ()
    rate_per_s: float = 0.0
    u_rate_per_s: float = math.inf
    at_most_ohm: float | None = None

    @property
    def is_by_word(self) -> bool:
        """It came of a word or a key, not of a touch, so that it can be taken back."""
        return self.touch == 0 and self.deed is not AttemptKind.UNDONE


def refused(match: Match, step: str, touch: int, revision: int) -> Attempt:
    """A value that is not the asked pair's."""
    corrected = match.corrected
    return Attempt(
        AttemptKind.REFUSED,
        step,
        touch,
        revision,
        ohm=corrected.reference_ohm,
        expanded_ohm=corrected.expanded_ohm,
        settled_expanded_ohm=corrected.settled.expanded_si,
        fit=match.fit,
        looks_like=match.pair if match.fit is Fit.OTHER_PAIR else None,
        utc_s=corrected.settled.utc_s,
    )


def facts_of(attempt: Attempt) -> dict[str, Fact]:
    """What the notice of an attempt keeps of it beside code, step and time."""
    facts: dict[str, Fact] = {"touch": attempt.touch, "revision": attempt.revision}
    if attempt.deed is AttemptKind.REFUSED:
        facts |= {
            "ohm": attempt.ohm,
            "expanded_ohm": attempt.expanded_ohm,
            "settled_expanded_ohm": attempt.settled_expanded_ohm,
            "looks_like": tuple(attempt.looks_like or ()),
        }
    return facts


def attempt_of(record: Recorded) -> Attempt | None:
    """The attempt that an entry of the journal is of; None where it is of none."""
    if isinstance(record, Verdict):
        return _of_verdict(record)
    if not isinstance(record, Notice) or not record.step:
        return None
    if record.code in (Code.PAIR_OTHER, Code.PAIR_UNCLEAR):
        return _of_refusal(record)
    deed = _DEEDS.get(record.code)
    touch, revision = _whole(record.facts, "touch"), _whole(record.facts, "revision")
    return None if deed is None else Attempt(deed, record.step, touch, revision, utc_s=record.utc_s)


def clock_set_s(record: Event | Recorded) -> float:
    """By how much one says that the clock was set: forward > 0, back < 0; 0 where it says no such thing."""
    sign = _CLOCKS.get(record.code, 0.0) if isinstance(record, Notice) else 0.0
    by_s = record.facts.get("by_s") if isinstance(record, Notice) else None
    return sign * by_s if isinstance(by_s, int | float) else 0.0


_CLOCKS = {Code.CLOCK_SET_FORWARD: 1.0, Code.CLOCK_SET_BACK: -1.0}

_DEEDS = {
    Code.OPEN_ANCHORED: AttemptKind.PROVED,
    Code.STEP_AGAIN: AttemptKind.AGAIN,
    Code.STEP_MOVED: AttemptKind.AGAIN,
    Code.STEP_SKIPPED: AttemptKind.SKIPPED,
    Code.STEP_UNDONE: AttemptKind.UNDONE,
}


def _of_verdict(verdict: Verdict) -> Attempt:
    u_ohm = verdict.standard_uncertainty_ohm or 0.0
    outcome = verdict.outcome
    if verdict.step == WARM_CHECK:  # its verdict tells of the unit; as a touch it is a value, or an open pair
        outcome = Outcome.FAIL if verdict.reference_ohm is None else Outcome.PASS
    return Attempt(
        AttemptKind.JUDGED,
        verdict.step,
        verdict.touch,
        verdict.revision,
        outcome,
        math.inf if verdict.reference_ohm is None else verdict.reference_ohm,
        u_ohm,
        u_ohm if verdict.touch_u_ohm is None else verdict.touch_u_ohm,
        fit=verdict.fit,
        bracketed=verdict.basis is Basis.OPEN_BRACKETED,
        utc_s=verdict.utc_s,
        shared=verdict.shared,
        rate_per_s=verdict.rate_per_s or 0.0,
        u_rate_per_s=math.inf if verdict.u_rate_per_s is None else verdict.u_rate_per_s,
        at_most_ohm=verdict.at_most_ohm if verdict.scope is Scope.CONTINUITY_ONLY else None,
    )


def _of_refusal(notice: Notice) -> Attempt:
    facts = notice.facts
    pins = facts.get("looks_like") or ()
    return Attempt(
        AttemptKind.REFUSED,
        notice.step,
        _whole(facts, "touch"),
        _whole(facts, "revision"),
        ohm=_number(facts, "ohm"),
        expanded_ohm=_number(facts, "expanded_ohm"),
        settled_expanded_ohm=_number(facts, "settled_expanded_ohm"),
        fit=Fit.OTHER_PAIR if notice.code is Code.PAIR_OTHER else Fit.AMBIGUOUS,
        looks_like=Pair(*pins) if isinstance(pins, tuple) and len(pins) == 2 else None,
        utc_s=notice.utc_s,
    )


def _number(facts: Mapping[str, Fact], name: str) -> float:
    value = facts.get(name)
    return float(value) if isinstance(value, int | float) else math.nan


def _whole(facts: Mapping[str, Fact], name: str) -> int:
    value = facts.get(name)
    return value if isinstance(value, int) else 0


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
        """A verdict counts, or the step was skipped."""
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


def counts(state: StepState, attempt: Attempt, table: PairTable) -> bool:
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
    if outcome not in PASSING or state.passed_once:
        return True
    twice = state.insisted and state.rechecked  # another value came twice: one touch is no proof against it
    read_low = any(before < ohm for before in state.failed)
    alone = bool(state.failed) and not state.rechecked
    state.passed_once = bool(twice or (alone and (read_low or has_look_alike(state.step.pair, table))))
    return not state.passed_once


def has_look_alike(pair: Pair, table: PairTable) -> bool:
    """Whether a slip of one probe can lead to another pair that reads alike on a good unit."""
    if math.isinf(table.nominal_ohm(pair)):
        return True
    return any(len({*other} & {*pair}) == 1 and table.alike(other, pair) for other in table.pairs())


def _agree(ohm: float, before_ohm: float, u_ohm: float) -> bool:
    if math.isinf(ohm) or math.isinf(before_ohm):
        return ohm == before_ohm
    return abs(ohm - before_ohm) <= max(4.0 * u_ohm, SAME_SHARE * max(abs(before_ohm), abs(ohm)))
