"""One unit on the bench, from settled value to verdict: correct -> match -> judge, and the unit's own result.

Pure, like the pipeline that calls it. Not for contacts, prompts and commands (pipeline), nor for what counts
(steps/unit).
"""

from __future__ import annotations

from dataclasses import dataclass, field, replace

from acquire.conditions import Conditions
from acquire.errors import InputImpossible
from acquire.physics.copper import conductor_named
from acquire.physics.correct import correct
from acquire.physics.warm import Sample
from acquire.records import (
    Circumstances,
    Corrected,
    Ending,
    Event,
    Fit,
    Judged,
    Match,
    Notice,
    Outcome,
    Pair,
    Settled,
    Step,
    UnitStarted,
    Weight,
)
from acquire.records.words import FAILING
from acquire.steps.matcher import weigh
from acquire.steps.pairs import PairTable
from acquire.steps.setup_choice import (
    MeterStatements,
    Wanted,
    close_enough_ohm,
    expected_ohm,
    open_above_ohm,
    quantity_for,
)
from acquire.steps.touched_again import holds, inside
from acquire.steps.unit import Ruling, UnitProgress
from acquire.steps.warm import WARM_CHECK
from acquire.verdict.close import close_unit
from acquire.verdict.judge import Attempt, Yardstick, judge, judge_open, judge_repeat
from acquire.verdict.warmth import worth_a_second_look
from drivers.reading import Quantity

TOUCH_TERMS = frozenset({"repeatability", "leftover drift", "display resolution", "contact"})
"""Budget terms that differ from one touch to the next; the others cancel when a pair is measured twice."""


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
        progress: which step is next, what counts.
        rested: True for a unit that was held as warm and has come back.
        samples: values of each pair over time, for the fit of a cooling.
    """

    place: Circumstances
    table: PairTable
    meter: MeterStatements
    conditions: Conditions
    four_wire_below_ohm: float | None
    started: UnitStarted
    progress: UnitProgress
    rested: bool = False
    samples: dict[Pair, list[Sample]] = field(default_factory=dict)
    _wanted: dict[str, Wanted] = field(default_factory=dict)
    _again_s: float | None = None  # start of the contact by which a pair was last measured again

    @property
    def serial(self) -> str:
        """Identity of the unit."""
        return self.started.serial

    @property
    def wanted(self) -> Wanted:
        """What the present step wants of the meter."""
        step = self.progress.current
        if step is None:
            return Wanted()
        if step.name not in self._wanted:
            self._wanted[step.name] = self._wanted_for(step)
        return self._wanted[step.name]

    def _wanted_for(self, step: Step) -> Wanted:
        purpose = self.place.purpose
        quantity = quantity_for(step, self.table.nominal_ohm(step.pair), self.four_wire_below_ohm)
        expected = expected_ohm(self.table, step, purpose, quantity, self.meter)
        return Wanted(
            quantity,
            expected,
            step.slow,
            close_enough_ohm(self.table, step, purpose),
            open_above_ohm(self.table, step, purpose),
        )

    # ------------------------------------------------------------------ the way

    def take(self, settled: Settled, *, lifted: bool, returned: bool = False) -> list[Event]:
        """Find the step that a value at rest belongs to, and judge it.

        Args:
            settled: the value.
            lifted: False where the meter was set anew under probes that have not left the last pair; then a
                value that is not the asked pair's means nothing.
            returned: the probes were seen in the air before this touch.

        Returns:
            Match, and a verdict or a hint; after the last step the unit's result too. A notice alone where
            something is missing that a verdict needs. Empty where the value means nothing.
        """
        progress = self.progress
        step = progress.current
        if step is None:
            return []
        corrected = self._corrected(settled, step)
        if isinstance(corrected, Notice):
            return [corrected]
        match = weigh(
            corrected,
            step.pair,
            self.table,
            limits=self._yardstick(step).limits,
            known=progress.known(),
            open_pairs=progress.open_pairs,
        )
        if not lifted and match.fit is not Fit.EXPECTED:
            return []
        meant = returned and self._reads_like_last(match, step)
        again = self._as_last(settled) if meant else None
        if again is None and self._again_s == settled.contact_s and (moved := self._moved(settled)):
            return moved
        ruling = progress.admit(match, again=again is not None)
        if ruling is Ruling.AGAIN and again is not None:
            return [again, *self._measured_again(again, settled)]
        offered = self._offer() if meant and ruling is Ruling.HINT else ""
        return [match, *self._ruled(ruling, match, step, settled, offered)]

    def _ruled(self, ruling: Ruling, match: Match, step: Step, settled: Settled, offered: str) -> list[Event]:
        """What follows from a match, by the rules of the unit's progress."""
        match ruling:
            case Ruling.JUDGE:
                return self._judged(match, settled)
            case Ruling.OPEN:
                return self.found_open(settled.utc_s, "between touches of two known continuities")
            case Ruling.HINT:
                code = "pair.other" if match.fit is Fit.OTHER_PAIR else "pair.unclear"
                text = f"{match.hint}{offered}"
                return [Notice(Weight.WARNING, code, text, settled.utc_s, self.serial, step.pair)]
            case Ruling.PROVED | Ruling.AGAIN:
                return []

    def _reads_like_last(self, match: Match, step: Step) -> bool:
        """Whether a value is clearly the pair judged last, and not the one that is asked for."""
        last = self.progress.last
        if last is None or match.fit is not Fit.OTHER_PAIR or match.pair != last.step.pair:
            return False
        return not inside(match.corrected.reference_ohm, self._yardstick(step).limits)

    def _as_last(self, settled: Settled) -> Match | None:
        """A value as one of the pair judged last, where it may replace the earlier one; else None."""
        last = self.progress.last
        corrected = self._corrected(settled, last.step) if last is not None else None
        if last is None or corrected is None or isinstance(corrected, Notice):
            return None
        yardstick = self._yardstick(last.step)
        known = self.progress.known()
        match = weigh(corrected, last.step.pair, self.table, limits=yardstick.limits, known=known)
        if match.fit not in (Fit.EXPECTED, Fit.FAULT):
            return None
        verdict, _ = judge(match, yardstick, Attempt(self.serial, last.attempts + 1), self.place)
        ohm, u_ohm = corrected.reference_ohm, corrected.standard_uncertainty_ohm
        holding = holds(last, verdict.outcome, ohm, u_ohm, corrected.part_ohm(TOUCH_TERMS))
        return match if holding else None

    def _measured_again(self, match: Match, settled: Settled) -> list[Event]:
        """A new attempt of the pair judged last, which is current now."""
        self._again_s = settled.contact_s
        text = f"{match.pair} measured again: the latest value counts, both are kept."
        notice = Notice(Weight.REMARK, "step.again", text, settled.utc_s, self.serial, match.pair)
        return [notice, *self._judged(match, settled)]

    def _moved(self, settled: Settled) -> list[Event]:
        """Ask once more for a pair measured again by this contact, if that was taken back meanwhile."""
        last = self.progress.last
        if last is None or self.progress.again is not None:
            return []
        self._again_s = None
        step = self.progress.measure_again(last.step.name)
        text = f"{step.name} has moved under the probes: it is measured again."
        return [Notice(Weight.WARNING, "step.again", text, settled.utc_s, self.serial, step.pair)]

    def _offer(self) -> str:
        """How the pair judged last is measured again after all."""
        last = self.progress.last
        return (
            ""
            if last is None
            else f" To measure {last.step.pair} again after all, type .again (or press its key)."
        )

    def _judged(self, match: Match, settled: Settled) -> list[Event]:
        """Decide, and let the unit's progress say whether it counts."""
        progress = self.progress
        step = progress.current  # in free order not always the one that was asked for
        if step is None:
            return []
        corrected = match.corrected
        settle_s = settled.monotonic_s - settled.contact_s
        attempt = Attempt(self.serial, progress.attempt, settled.revision, settle_s=settle_s)
        ohm, u_ohm = corrected.reference_ohm, corrected.standard_uncertainty_ohm
        repeat_u_ohm = corrected.part_ohm(TOUCH_TERMS)
        self.samples.setdefault(step.pair, []).append(Sample(settled.monotonic_s, ohm, repeat_u_ohm))
        if step.name == WARM_CHECK:
            counts = progress.judged(Outcome.PASS, ohm, u_ohm, repeat_u_ohm=repeat_u_ohm)
            verdict, evidence = judge_repeat(match, step, progress.moved(), attempt, self.place)
        else:
            verdict, evidence = judge(match, self._yardstick(step), attempt, self.place)
            # Of a unit that fails, the first pair is read again only where it may be warm instead of bad.
            progress.warm_check = not {progress.outcome, verdict.outcome} & FAILING or worth_a_second_look(
                self.table, [*progress.readings(), (step.pair, ohm, u_ohm)]
            )
            counts = progress.judged(verdict.outcome, ohm, u_ohm, repeat_u_ohm=repeat_u_ohm)
        four_wire = settled.quantity is Quantity.RESISTANCE_4W
        evidence = self.conditions.on_record(evidence, four_wire=four_wire)
        return [Judged(replace(verdict, counts=counts), evidence), *self.closed(settled.utc_s)]

    def found_open(self, utc_s: float, witness: str) -> list[Event]:
        """The current pair is open, and something bears witness that the probes were on it.

        Args:
            utc_s: now.
            witness: what does, for the record.

        Raises:
            InputImpossible: nothing is asked for.
        """
        step = self.progress.current
        if step is None:
            raise InputImpossible("No pair is asked for now.")
        attempt = Attempt(self.serial, self.progress.attempt)
        outcome, counts = self.progress.confirmed_open()
        verdict, evidence = judge_open(self._yardstick(step), attempt, self.place, utc_s, witness)
        verdict = replace(verdict, outcome=outcome, counts=counts)
        return [Judged(verdict, evidence), *self.closed(utc_s)]

    def closed(self, utc_s: float, ending: Ending = Ending.DONE, remark: str = "") -> list[Event]:
        """The unit's result, once all its steps are done or it ends otherwise; else nothing."""
        if ending is Ending.DONE and not self.progress.done:
            return []
        longest = max(self.samples.values(), key=len, default=[])
        return [
            close_unit(
                self.progress,
                self.started,
                self.place,
                utc_s,
                ending=ending,
                remark=remark,
                samples=longest if len(longest) > 1 else (),
                rested=self.rested,
                four_wire_below_ohm=self.four_wire_below_ohm or 0.0,
            )
        ]

    def _corrected(self, settled: Settled, step: Step) -> Corrected | Notice:
        """Leads and temperature off; a notice where something needed for that is missing."""
        temperature = self.conditions.fresh_temperature(settled.utc_s)
        if temperature is None:
            text = "There is no fresh temperature, so verdicts wait: check the thermometer or type one in."
            return Notice(Weight.STOP, "temperature.missing", text, settled.utc_s, self.serial, step.pair)
        statement = self.meter.in_use(
            settled.quantity, settled.range_full_scale_si, settled.value_si, settled.resolution_si
        )
        if statement is None:
            text = (
                f"The meter file {self.place.meter_model} states no accuracy for {settled.value_si:.4g} Ω "
                "on the range in use, so there is no verdict: change the range or add it to the file."
            )
            return Notice(Weight.STOP, "meter.unstated", text, settled.utc_s, self.serial, step.pair)
        return correct(
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

    def _yardstick(self, step: Step) -> Yardstick:
        limits = self.table.limits_for(step, self.place.purpose)
        return Yardstick(step, limits, self.table.nominal_ohm(step.pair))
