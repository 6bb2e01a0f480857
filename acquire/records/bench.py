"""What happens on the bench around the verdicts: units, lead zeros, prompts and notices to the operator."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from enum import StrEnum

from acquire.choices import Outcome, Pair, Purpose
from acquire.errors import InputImpossible
from acquire.records.batches import WoundFrom
from acquire.records.codes import (
    BalanceKind,
    ClosureKind,
    Code,
    Ending,
    Fact,
    FindingKind,
    Hypothesis,
    Refusal,
    UntestedKind,
    Why,
)


@dataclass(frozen=True, slots=True)
class Untested:
    """Something that the sheet or its circuit leaves open until it is tested.

    Attributes:
        kind: what sort of thing.
        id: unique on the sheet, e.g. "isolation:1,2,3|CORE", "step:surge", "turns"; a test names it by this.
        name: as people read it on the sheet.
        volts: test voltage that the sheet asks for, None where it asks for none.
        at_most_ohm: of a TOLERANCE, what the step was shown to have at most, 95 %.
    """

    kind: UntestedKind
    id: str
    name: str
    volts: float | None = None
    at_most_ohm: float | None = None


@dataclass(frozen=True, slots=True)
class Finding:
    """What a rule over a whole unit found that is not plainly a pass.

    Attributes:
        kind: which rule; UNEVEN: `name` is that of a rule in `UnitResult.balances`; CONTRADICTION: `pair`
            reads `ohm` where the other readings predict `predicted_ohm` with standard uncertainty `u_ohm`;
            TYPED: `name` is that of a typed result, `id` says what it is about; FIRST_UNIT: `name` is that of
            the batch whose first unit it is, in doubt until somebody accepts it; STEP: the step `name` lies
            `ohm` within its nearer limit (beyond it if negative), with `expanded_ohm` of U, the unit's
            temperature included; `ohm` is the tolerance of one that cannot be judged. Both are None of one
            that is not judged by ohms, the outcome too of one that was left out.
        outcome: what the rule says; None for a remark.
    """

    kind: FindingKind
    name: str = ""
    id: str = ""
    outcome: Outcome | None = None
    pair: Pair | None = None
    ohm: float | None = None
    predicted_ohm: float | None = None
    u_ohm: float | None = None
    expanded_ohm: float | None = None


@dataclass(frozen=True, slots=True)
class UnitStarted:
    """A unit was put on the bench.

    Attributes:
        batch: that it belongs to; empty for none.
        spools: what its windings were wound from, as far as the batch knew when it was started.
        attempt: 1 for the first time that this batch and purpose measure it; the first one counts.
        meter_hash, bench_hash: of the files in force; a unit goes on only under what it began with.
        required: everything that sheet and circuit leave untested by ohms alone; see `Untested`.
        rested_s: how long it is known to have rested since it was held as warm; None where nothing is known.
    """

    bench: str
    serial: str
    sheet: str
    sheet_hash: str
    purpose: Purpose
    batch: str
    operator: str
    utc_s: float
    spools: tuple[WoundFrom, ...] = ()
    attempt: int = 1
    meter_hash: str = ""
    bench_hash: str = ""
    required: tuple[Untested, ...] = ()
    rested_s: float | None = None


@dataclass(frozen=True, slots=True)
class BalanceFound:
    """Windings that must be alike, as they were found on one unit.

    Attributes:
        name: of the rule on the sheet.
        windings: their names; `ohm`: of each, at the reference temperature.
        deviation: what the rule limits, by its `kind`, as a fraction of the mean.
        expanded_deviation: half-width of its 95 % interval.
        limit: largest deviation allowed, as the sheet states it.
        worst: name of the winding that lies furthest off the mean.
        outcome: what the rule says.
    """

    name: str
    windings: tuple[str, ...]
    ohm: tuple[float, ...]
    deviation: float
    expanded_deviation: float
    limit: float
    worst: str
    outcome: Outcome
    kind: BalanceKind = BalanceKind.FROM_MEAN


@dataclass(frozen=True, slots=True)
class ClosureFound:
    """One closed relation of the circuit, such as R12 + R23 - R13, on one unit; at the reference temperature.

    Attributes:
        where: the pin of a joint, or the name of a winding.
        ohm: of it; of a joint, what it has beyond the pin's own lead.
        expanded_ohm: half-width of its 95 % interval.
        lower_ohm, upper_ohm: limits; None where there is none.
        outcome: by the sheet's rule; conformance_probability: probability of being within the limits.
        contradicts: the readings would need a joint of less than nothing: one of them is of another pair.
        pairs: that it follows from.
    """

    kind: ClosureKind
    where: str
    ohm: float
    expanded_ohm: float
    lower_ohm: float | None
    upper_ohm: float | None
    outcome: Outcome
    conformance_probability: float
    contradicts: bool
    pairs: tuple[Pair, ...]


@dataclass(frozen=True, slots=True)
class StepAtEnd:
    """What a step comes to by the sheet's rule, the unit's temperature in its U (95 %)."""

    step: str
    expanded_ohm: float
    outcome: Outcome
    conformance_probability: float


@dataclass(frozen=True, slots=True)
class UnitTemperature:
    """What is known of a unit's temperature, as its excess over the thermometer when it was touched last.

    Attributes:
        low_kelvin, kelvin, high_kelvin: 2.5 %, median, 97.5 %.
        u_kelvin: standard uncertainty of the winding against the thermometer, as budgets count it.
        moving: probability that it is off by more than the sheet allows.
        told_by_shift: what two windings or more share has a say; else drift and a stated rest are all.
        rested_s: how long it was known to have rested, None when nothing was.
        steps: that have limits, with `u_kelvin` in their budgets.
    """

    low_kelvin: float
    kelvin: float
    high_kelvin: float
    u_kelvin: float
    moving: float
    told_by_shift: bool
    rested_s: float | None
    steps: tuple[StepAtEnd, ...] = ()


@dataclass(frozen=True, slots=True)
class UnitResult:
    """A unit is done, held or given up; or, later, what has changed of that. All by `acquire.unit_result`.

    Attributes:
        outcome: the worst of what was measured and typed in decides; None where the visit ended without one.
        wait_s: how long to wait before trying a held unit again, with 95 % certainty long enough; None when
            unknown. wait_least_s: the least that it can need.
        closures: every closed relation of the circuit that its readings show.
        temperature: what is known of it; None in older records.
        hypotheses: diagnosis, most likely first; empty for a unit that passed.
        next_pair: the pair whose measurement would tell the first two hypotheses apart best, if any.
        started_utc_s: when the visit began; bench, serial and this are the same in all its revisions.
        utc_s: when it ended, or when the revision was found.
        balances: each rule over several windings, with what was found.
        ending: how the visit on the bench ended; `remark`: the operator's own words for giving up.
        found: what rules over the whole unit found that is not plainly a pass.
        untested: what the sheet or its circuit asks for besides ohms and nobody has typed in; blocks nothing.
        revision: 0 for the result at the bench, then 1, 2, ... whenever something later changes it.
        measured: what its own steps and balances come to, without typed results.
        ended_utc_s: when the visit ended, of a later revision; None of the first, which says it by `utc_s`.
    """

    bench: str
    serial: str
    sheet: str
    sheet_hash: str
    purpose: Purpose
    batch: str
    operator: str
    outcome: Outcome | None
    wait_s: float | None
    steps_passed: int
    steps_total: int
    hypotheses: tuple[Hypothesis, ...]
    next_pair: Pair | None
    started_utc_s: float
    utc_s: float
    balances: tuple[BalanceFound, ...] = ()
    ending: Ending = Ending.DONE
    remark: str = ""
    found: tuple[Finding, ...] = ()
    untested: tuple[Untested, ...] = ()
    revision: int = 0
    measured: Outcome | None = None
    ended_utc_s: float | None = None
    closures: tuple[ClosureFound, ...] = ()
    temperature: UnitTemperature | None = None
    wait_least_s: float | None = None

    @property
    def must_rest(self) -> bool:
        """Its temperature is not known or too far off: how long it lay until it comes again tells more."""
        return self.ending is Ending.WARM or any(f.kind is FindingKind.TEMPERATURE for f in self.found)


@dataclass(frozen=True, slots=True)
class LeadZero:
    """Resistance of the leads with the probes held together.

    Attributes:
        value_ohm, standard_uncertainty_ohm: what two-wire readings are reduced by, and how well it is known.
        utc_s: when it was measured; its age counts from here.
        doubtful_since_utc_s: verdicts on low ohms since then are doubtful, because the zero has moved by more
            than half the uncertainty allowed; None while it holds.
    """

    bench: str
    meter_id: str
    value_ohm: float
    standard_uncertainty_ohm: float
    utc_s: float
    doubtful_since_utc_s: float | None = None


class Ask(StrEnum):
    """What the operator is asked to do next."""

    START_UNIT = "start_unit"
    SHORT_PROBES = "short_probes"
    CHECK_RESISTOR = "check_resistor"
    TOUCH = "touch"
    TOUCH_AGAIN = "touch_again"
    LIFT = "lift"
    WAIT = "wait"
    CLIP_ON = "clip_on"


@dataclass(frozen=True, slots=True)
class Prompt:
    """The next thing to do; `acquire.words` makes a sentence of it.

    Attributes:
        ask: the kind of action.
        pair: the pins to touch, None when the action has none.
        step: name of the step, empty when there is none.
        steps_done, steps_total: progress of the unit.
        why: why it is asked in this way; NONE for a plain request.
        times: how often it was answered before, where that is said; 0 where it is not.
        facts: names and numbers beside these, see `acquire.words.prompts`.
    """

    ask: Ask
    serial: str = ""
    pair: Pair | None = None
    step: str = ""
    steps_done: int = 0
    steps_total: int = 0
    why: Why = Why.NONE
    times: int = 0
    facts: Mapping[str, Fact] = field(default_factory=dict)


class Severity(StrEnum):
    """How much a notice matters."""

    INFO = "info"
    WARNING = "warning"
    STOP = "stop"


@dataclass(frozen=True, slots=True)
class Notice:
    """Something the operator must know that is no verdict: a wrong pair, a lost link, an old zero.

    Attributes:
        code: what it is.
        step: name of the step that it is about, empty where it is about none.
        facts: names, numbers (unit of measure in the key) and the words of people; `said` alone is the
            sentence of an old record, or of an edge that has read a file or a typed line.
    """

    severity: Severity
    code: Code
    utc_s: float
    serial: str = ""
    pair: Pair | None = None
    step: str = ""
    facts: Mapping[str, Fact] = field(default_factory=dict)


class Refused(InputImpossible):
    """A command cannot be carried out now; a notice says why."""

    def __init__(self, refusal: Refusal, **facts: Fact) -> None:
        """Say why, with the facts that the sentence needs."""
        super().__init__(refusal.value)
        self.refusal, self.facts = refusal, facts

    def notice(self, utc_s: float, serial: str = "") -> Notice:
        """What the operator is told."""
        facts = {"refusal": self.refusal.value, **self.facts}
        return Notice(Severity.WARNING, Code.COMMAND_REFUSED, utc_s, serial, facts=facts)


def refusal(error: InputImpossible, utc_s: float) -> Notice:
    """What the operator is told of a command that could not be carried out.

    Args:
        error: why; of a typed line that cannot be, with its own sentence.
        utc_s: now.
    """
    if isinstance(error, Refused):
        return error.notice(utc_s)
    return Notice(Severity.WARNING, Code.COMMAND_REFUSED, utc_s, facts={"said": str(error)})
