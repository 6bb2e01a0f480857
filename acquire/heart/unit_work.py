"""One unit on the bench, from settled value to verdict: correct -> match -> judge, and the unit's own result.

It decides what a value is, makes the record of it, and takes that record in exactly as it would after a
restart (`replay`). Pure, like the pipeline that calls it. Not for contacts and commands (pipeline), nor for
what attempts add up to (unit_state).
"""

from __future__ import annotations

import math
from dataclasses import dataclass, field, replace
from functools import partial
from itertools import accumulate

from acquire.choices import PASSING
from acquire.conditions import Conditions
from acquire.heart.attempt import Attempt, AttemptKind, attempt_of, facts_of, refused
from acquire.heart.contact import Admission
from acquire.heart.unit_state import UnitState
from acquire.physics.cooling import Look
from acquire.physics.copper import conductor_named
from acquire.physics.correct import correct
from acquire.records import (
    Basis,
    Circumstances,
    Corrected,
    Ending,
    Event,
    Fact,
    Fit,
    Judged,
    Limits,
    Match,
    Notice,
    Outcome,
    Pair,
    Recorded,
    Settled,
    Severity,
    Step,
    UnitStarted,
    Verdict,
)
from acquire.records.bench import Refused
from acquire.records.codes import WARM_CHECK, Code, Refusal
from acquire.steps.matcher import weigh
from acquire.steps.pairs import PairTable
from acquire.steps.setup_choice import (
    NOTHING_WANTED,
    Wanted,
    close_enough_ohm,
    expected_ohm,
    open_above_ohm,
    quantity_for,
)
from acquire.verdict.close import close_unit
from acquire.verdict.judge import AcceptanceCriteria, judge, judge_open, judge_repeat
from acquire.verdict.judge import Attempt as Standing
from drivers.models import MeterModel
from drivers.reading import Flag, Quantity


@dataclass(slots=True)
class UnitWork:
    """The unit that lies on the bench.

    Attributes:
        place: who measures what, where, with what.
        table: what every pair should read.
        meter: what the meter's file states of its accuracy.
        conditions: temperature and lead zero of the bench.
        four_wire_below_ohm: steps with a smaller nominal use four wires; None for a meter with two.
        started: the unit's opening record.
        state: which step is next, what counts.
    """

    place: Circumstances
    table: PairTable
    meter: MeterModel
    conditions: Conditions
    four_wire_below_ohm: float | None
    started: UnitStarted
    state: UnitState
    _wanted: dict[str, Wanted] = field(default_factory=dict)

    @property
    def serial(self) -> str:
        """Identity of the unit."""
        return self.started.serial

    @property
    def next(self) -> tuple[tuple[str, ...], Wanted]:
        """What a touch is for now, see `contact`, and what the present step wants of the meter."""
        step = self.state.current
        if step is None:
            return (self.serial, ""), NOTHING_WANTED
        if step.name not in self._wanted:
            self._wanted[step.name] = self._wanted_for(step)
        return (self.serial, step.name), self._wanted[step.name]

    def _wanted_for(self, step: Step) -> Wanted:
        purpose = self.place.purpose
        quantity = quantity_for(step, self.table.nominal_ohm(step.pair), self.four_wire_below_ohm)
        expected = expected_ohm(self.table, step, purpose, quantity, self.meter)
        above = open_above_ohm(self.table, step, purpose)
        if step.name == WARM_CHECK:  # a range on which it has read before, however bad the pair is
            same = [s.ohm for s in self.state.states if s.counted and s.step.pair == step.pair]
            read = [ohm for ohm in same if above < ohm < math.inf]
            expected, above = max([expected, *read]), max([above, *read])
        return Wanted(
            quantity,
            expected,
            step.slow,
            close_enough_ohm(self.table, step, purpose, self.meter, (quantity, expected)),
            above,
        )

    def looks(self) -> list[Look]:
        """Every touch that counts as it tells of the unit's temperature, oldest first.

        A value that another has replaced was doubted, mostly as another pair's: it would seem to have cooled.
        Where the clock was set back, no time passes until it is where it was.
        """
        judged = [a for a in self.state.attempts if a.deed is AttemptKind.JUDGED]
        times_s = accumulate((a.utc_s for a in judged), max)
        every = [(a, self.state.named(a.step), at_s) for a, at_s in zip(judged, times_s, strict=True)]
        return [
            Look(str(s.step.pair), at_s, a.ohm, a.touch_u_ohm, a.rate_per_s, a.u_rate_per_s)
            for a, s, at_s in every
            if math.isfinite(a.ohm) and a.ohm == s.ohm
        ]

    def closed(self, utc_s: float, ending: Ending = Ending.DONE, remark: str = "") -> list[Event]:
        """The unit's result, once all its steps are done or it ends otherwise; else nothing."""
        if not self.state.done and ending is Ending.DONE:
            return []
        how = partial(close_unit, ending=ending, remark=remark, looks=self.looks())
        below_ohm = self.four_wire_below_ohm or 0.0
        return [how(self.state, self.started, self.place, utc_s, four_wire_below_ohm=below_ohm)]

    # ------------------------------------------------------------------ from the record

    def replay(self, record: Recorded) -> None:
        """Take an entry of this unit's record, as when it was made."""
        attempt = attempt_of(record)
        if attempt is not None:
            self.state.apply(attempt)

    # ------------------------------------------------------------------ a value at rest

    def take(self, settled: Settled, admission: Admission) -> list[Event]:
        """Find the step that a value at rest belongs to, and judge it.

        Args:
            settled: the value.
            admission: NEW, REVISED, MOVED or SET_UP; see `contact`.

        Returns:
            Match, and a verdict or a hint. A notice alone where something is missing that a verdict needs.
        """
        state = self.state
        before = state.attempts[-1] if state.attempts else None
        if admission is Admission.MOVED:
            if before is None or before.deed is not AttemptKind.JUDGED or before.touch != state.touch:
                return []
            return [self._moved(state.named(before.step).step, settled, state.touch, 0)]
        taken_back = admission is Admission.REVISED and before is not None and before.touch == state.touch
        touch, revision = state.touch + (admission is Admission.NEW), 0
        if taken_back and before is not None:
            state.refold(state.attempts[:-1])
            revision = before.revision + 1
        events = self._taken(settled, touch, revision, moved=before if taken_back else None)
        if (
            taken_back
            and before is not None
            and not any(isinstance(e, Judged) or _is_attempt(e) for e in events)
        ):
            state.refold([*state.attempts, before])
        return events

    def _taken(self, settled: Settled, touch: int, revision: int, moved: Attempt | None) -> list[Event]:
        state = self.state
        step = state.current
        if step is None:
            return []
        corrected = self._corrected(settled, step)
        if isinstance(corrected, Notice):
            return [corrected]
        match = weigh(
            corrected,
            step.pair,
            self.table,
            limits=self._limits(step),
            known=state.known(),
            open_pairs=state.open_pairs,
        )
        last = state.last
        meant = last is not None and self._reads_like(last.step.pair, match, step)
        repeats = meant and state.repeats(match)
        if last is not None and repeats and (again := self._as(last.step, settled)) is not None:
            number = last.attempts + 1
            attempt, judged = self._judged(again, last.step, touch, revision, number)
            if last.holds(attempt):
                notice = self._notice(Code.STEP_TOUCHED_AGAIN, settled, last.step)
                return [again, notice, self._counted(attempt, judged)]
        if moved is not None and last is not None and moved.step == last.step.name:
            return [self._moved(last.step, settled, touch, revision)]
        return [match, *self._ruled(match, step, settled, touch, revision, offer=meant)]

    def _ruled(
        self, match: Match, step: Step, settled: Settled, touch: int, revision: int, *, offer: bool
    ) -> list[Event]:
        """What follows from a match: a proof, a verdict, or a refusal."""
        state = self.state
        now = state.state
        bracket = now.bracket if now is not None else None
        if bracket is not None and match.fit is Fit.OTHER_PAIR:
            if bracket.closes(match.pair, settled.contact_s):
                return [self._open(step, settled.utc_s, Basis.OPEN_BRACKETED, bracket.pairs, touch)]
            if bracket.proves(match.pair):
                attempt = Attempt(AttemptKind.PROVED, step.name, touch, revision, utc_s=settled.utc_s)
                state.apply(attempt)
                return [self._notice(Code.OPEN_ANCHORED, settled, step, attempt, match.pair)]
        if (other := state.waiting(match)) is not None:
            step = other
        elif state.refuses(match):
            attempt = refused(match, step.name, touch, revision)
            state.apply(attempt)
            code = Code.PAIR_OTHER if match.fit is Fit.OTHER_PAIR else Code.PAIR_UNCLEAR
            return [self._refusal(code, match, step, attempt, offer=offer)]
        number = state.named(step.name).attempts + 1
        return [self._counted(*self._judged(match, step, touch, revision, number))]

    def _reads_like(self, pair: Pair, match: Match, step: Step) -> bool:
        """Whether a value is clearly the pair judged last, and not the one that is asked for."""
        if match.fit is not Fit.OTHER_PAIR or match.pair != pair:
            return False
        limits, ohm = self._limits(step), match.corrected.reference_ohm
        low, high = limits.lower_ohm, limits.upper_ohm
        return not (low is not None and high is not None and low <= ohm <= high)

    def expects(self, settled: Settled) -> bool:
        """Whether a value is just what the asked pair of a good unit reads, and passes."""
        step = self.state.current
        match = None if step is None or not step.conducts else self._as(step, settled)
        if step is None or match is None or match.fit is not Fit.EXPECTED:
            return False
        number = Standing(self.serial)
        return judge(match, self._criteria(step), number, self.place)[0].outcome in PASSING

    def _as(self, step: Step, settled: Settled) -> Match | None:
        """A value as one of another step, where it can be; else None."""
        corrected = self._corrected(settled, step)
        if isinstance(corrected, Notice):
            return None
        known = self.state.known()
        match = weigh(corrected, step.pair, self.table, limits=self._limits(step), known=known)
        return match if match.fit in (Fit.EXPECTED, Fit.FAULT) else None

    # ------------------------------------------------------------------ verdicts

    def _judged(
        self, match: Match, step: Step, touch: int, revision: int, number: int
    ) -> tuple[Attempt, Judged]:
        """The attempt and its record, before it is known whether it counts."""
        settled = match.corrected.settled
        standing = Standing(self.serial, number, revision, settle_s=settled.monotonic_s - settled.contact_s)
        if step.name == WARM_CHECK:
            verdict, evidence = judge_repeat(match, step, standing, self.place)
        else:
            verdict, evidence = judge(match, self._criteria(step), standing, self.place)
        four_wire = settled.quantity is Quantity.RESISTANCE_4W
        evidence = self.conditions.on_record(evidence, four_wire=four_wire)
        verdict = replace(verdict, touch=touch)
        if Flag.TYPED in settled.flags and verdict.basis is Basis.MEASURED:
            verdict = replace(verdict, basis=Basis.TYPED)
        return _attempt_of(verdict), Judged(verdict, evidence)

    def _counted(self, attempt: Attempt, judged: Judged) -> Judged:
        """Take an attempt in; its record says whether it counts."""
        counts = self.state.apply(attempt)
        verdict = replace(judged.verdict, counts=counts)
        if attempt.step == WARM_CHECK:
            moved, allowed = self.state.moved(), self.place.sheet.warm_limit
            rested = moved is not None and abs(moved) <= allowed
            outcome = Outcome.PASS if rested else Outcome.CANNOT_JUDGE
            verdict = replace(verdict, outcome=outcome, moved=moved, moved_allowed=allowed)
        return Judged(verdict, judged.evidence)

    def found_open(self, utc_s: float, basis: Basis, witness: tuple[Pair, ...] = ()) -> list[Event]:
        """The current pair is open, and something bears witness that the probes were on it.

        Args:
            utc_s: now.
            basis: what does.
            witness: continuities that do.
        """
        step = self.state.current
        return [] if step is None else [self._open(step, utc_s, basis, witness, 0)]

    def _open(self, step: Step, utc_s: float, basis: Basis, witness: tuple[Pair, ...], touch: int) -> Judged:
        number = self.state.named(step.name).attempts + 1
        standing = Standing(self.serial, number)
        verdict, evidence = judge_open(
            self._criteria(step), standing, self.place, utc_s, basis=basis, witness=witness
        )
        verdict = replace(verdict, touch=touch)
        return self._counted(_attempt_of(verdict), Judged(verdict, evidence))

    # ------------------------------------------------------------------ words of the operator

    def measure_again(self, name: str | None, utc_s: float) -> Notice:
        """Forget what a step came to, and ask for it again; None means the one measured last.

        Raises:
            Refused: there is no such step, or nothing was measured yet.
        """
        latest = self.state.latest() if name is None else None
        if name is None and latest is None:
            raise Refused(Refusal.NOTHING_MEASURED)
        step = latest.step if latest is not None else self._named(name or "")
        return self._told(Notice(Severity.REMARK, Code.STEP_AGAIN, utc_s, self.serial, step.pair, step.name))

    def skip(self, reason: str, name: str | None, utc_s: float) -> Notice:
        """Leave a step out; the unit cannot pass any more.

        Args:
            reason: goes on the record, not empty.
            name: of the step; None for the current one.
            utc_s: now.

        Raises:
            Refused: no reason, no such step, or the unit is done.
        """
        if not reason.strip():
            raise Refused(Refusal.SKIP_NO_REASON)
        step = self.state.current if name is None else self._named(name)
        if step is None:
            raise Refused(Refusal.DONE, serial=self.serial)
        facts = {"reason": reason.strip()}
        notice = Notice(Severity.WARNING, Code.STEP_SKIPPED, utc_s, self.serial, step.pair, step.name, facts)
        return self._told(notice)

    @property
    def undoable(self) -> bool:
        """The last thing was a word or a key, not a touch."""
        return bool(self.state.attempts) and self.state.attempts[-1].is_by_word

    def undo(self, utc_s: float) -> Notice:
        """Take back the word or key that came last.

        Raises:
            Refused: the last thing was a touch, or nothing.
        """
        if not self.undoable:
            raise Refused(Refusal.NOTHING_TO_UNDO)
        step = self.state.named(self.state.attempts[-1].step).step
        return self._told(Notice(Severity.REMARK, Code.STEP_UNDONE, utc_s, self.serial, step.pair, step.name))

    def _named(self, name: str) -> Step:
        try:
            return self.state.named(name).step
        except KeyError:
            names = tuple(state.step.name for state in self.state.states)
            raise Refused(Refusal.STEP_UNKNOWN, step=name, steps=names) from None

    def _told(self, notice: Notice) -> Notice:
        self.replay(notice)
        return notice

    # ------------------------------------------------------------------ what is told

    def _moved(self, step: Step, settled: Settled, touch: int, revision: int) -> Notice:
        """A pair measured again by a touch that has moved since: it is asked for once more."""
        attempt = Attempt(AttemptKind.AGAIN, step.name, touch, revision, utc_s=settled.utc_s)
        self.state.apply(attempt)
        return self._notice(Code.STEP_MOVED, settled, step, attempt)

    def _notice(
        self,
        code: Code,
        settled: Settled,
        step: Step,
        attempt: Attempt | None = None,
        pair: Pair | None = None,
    ) -> Notice:
        weight = Severity.WARNING if code is Code.STEP_MOVED else Severity.REMARK
        facts = {} if attempt is None else facts_of(attempt)
        return Notice(weight, code, settled.utc_s, self.serial, pair or step.pair, step.name, facts)

    def _refusal(self, code: Code, match: Match, step: Step, attempt: Attempt, *, offer: bool) -> Notice:
        """A value that reads like another pair, with the word that measures that one again if it is meant."""
        last = self.state.last
        facts = facts_of(attempt) | {
            "fit": match.fit.value,
            "reads_like": tuple(str(pair) for pair in match.reads_like),
            "reads_through": match.reads_through,
            "last": tuple(last.step.pair) if offer and last is not None else (),
        }
        utc_s = match.corrected.settled.utc_s
        return Notice(Severity.WARNING, code, utc_s, self.serial, step.pair, step.name, facts)

    # ------------------------------------------------------------------ its parts

    def _corrected(self, settled: Settled, step: Step) -> Corrected | Notice:
        """Leads and temperature off; a notice where something needed for that is missing."""
        temperature = self.conditions.fresh_temperature(settled.utc_s)
        if temperature is None:
            code = Code.TEMPERATURE_MISSING
            return Notice(Severity.STOP, code, settled.utc_s, self.serial, step.pair, step.name)
        statement = self.meter.in_use(
            settled.quantity, settled.range_full_scale_si, settled.value_si, settled.resolution_si
        )
        if statement is None:
            code = Code.METER_UNSTATED
            facts: dict[str, Fact] = {"model": self.place.meter_model, "ohm": settled.value_si}
            return Notice(Severity.STOP, code, settled.utc_s, self.serial, step.pair, step.name, facts)
        how = partial(
            correct,
            settled,
            four_wire=settled.quantity is Quantity.RESISTANCE_4W,
            lead=self.conditions.lead,
            now_utc_s=settled.utc_s,
            winding_celsius=temperature.celsius,
            winding_u_kelvin=temperature.standard_uncertainty_kelvin,
            reference_celsius=self.place.sheet.reference_celsius,
            conductor=conductor_named(self.table.material(step.pair)),
            accuracy=statement,
            ambient_celsius=temperature.celsius,
        )
        beside = self.conditions.beside(settled.quantity, statement, settled.utc_s)
        found = [how(), *(how(against=each) for each in beside)]
        return min(found, key=lambda each: each.standard_uncertainty_ohm)

    def _limits(self, step: Step) -> Limits:
        return self.table.limits_for(step, self.place.purpose)

    def _criteria(self, step: Step) -> AcceptanceCriteria:
        return AcceptanceCriteria(step, self._limits(step), self.table.nominal_ohm(step.pair))


def _attempt_of(verdict: Verdict) -> Attempt:
    attempt = attempt_of(verdict)
    assert attempt is not None  # noqa: S101  (every verdict is of an attempt; the type does not know)
    return attempt


def _is_attempt(event: Event) -> bool:
    return isinstance(event, Notice) and attempt_of(event) is not None
