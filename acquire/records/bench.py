"""What happens on the bench around the verdicts: units, lead zeros, prompts and notices to the operator."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from enum import StrEnum

from acquire.choices import Outcome, Purpose
from acquire.records.batches import WoundFrom
from acquire.records.codes import Ending, Fact, FindingKind, UntestedKind, Why
from acquire.records.words import Pair


@dataclass(frozen=True, slots=True)
class FaultPlace:
    """One fault, where it sits and how large it is; all that a sentence about it needs.

    Attributes:
        fault: short name from the fault dictionary, e.g. "shorted_turns".
        where: windings, pins or words, as the fault has it.
        sizes: a fraction of a winding, ohms or kelvin, as the fault counts them.
        turns: of the first winding, None when not known; strands: wires in hand of it.
        ends: the pin (or the core) at which each winding of `where` begins; empty where none can be touched.
        core: name of the core, empty when the unit has none.
    """

    fault: str
    where: tuple[str, ...] = ()
    sizes: tuple[float, ...] = ()
    turns: int | None = None
    strands: int = 1
    ends: tuple[str, ...] = ()
    core: str = ""


@dataclass(frozen=True, slots=True)
class Hypothesis:
    """One explanation of all readings of a unit.

    Attributes:
        fault: short name from the fault dictionary, e.g. "shorted_turns".
        probability: given the readings, 0 to 1.
        sentence: plain words with the physical size; going away, `acquire.words` makes it from `places`.
        places: the faults that make it up, one or two.
    """

    fault: str
    probability: float
    sentence: str = ""
    places: tuple[FaultPlace, ...] = ()


@dataclass(frozen=True, slots=True)
class Untested:
    """Something that the sheet or its circuit leaves open until it is tested.

    Attributes:
        kind: what sort of thing.
        id: unique on the sheet, e.g. "isolation:1,2,3|CORE", "step:surge", "turns"; a test names it by this.
        name: as people read it on the sheet.
        volts: test voltage that the sheet asks for, None where it asks for none.
    """

    kind: UntestedKind
    id: str
    name: str
    volts: float | None = None


@dataclass(frozen=True, slots=True)
class Finding:
    """What a rule over a whole unit found that is not plainly a pass.

    Attributes:
        kind: which rule; UNEVEN: `name` is that of a rule in `UnitResult.balances`; CONTRADICTION: `pair`
            reads `ohm` where the other readings predict `predicted_ohm` with standard uncertainty `u_ohm`;
            TYPED: `name` and `id` are those of a typed result.
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


@dataclass(frozen=True, slots=True)
class UnitStarted:
    """A unit was put on the bench.

    Attributes:
        batch: that it belongs to; empty for none.
        spools: what its windings were wound from, as far as the batch knew when it was started.
        attempt: 1 for the first time that this batch and purpose measure it; the first one counts.
        meter_hash, bench_hash: of the files in force; a unit goes on only under what it began with.
        required: everything that sheet and circuit leave untested by ohms alone; see `Untested`.
        rested: the unit was held as warm before, and has waited.
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
    rested: bool = False


@dataclass(frozen=True, slots=True)
class BalanceFound:
    """Windings that must be alike, as they were found on one unit.

    Attributes:
        name: of the rule on the sheet.
        windings: their names; `ohm`: of each, at the reference temperature.
        deviation: largest deviation of one from their mean, as a fraction of it.
        expanded_deviation: half-width of its 95 % interval.
        limit: largest deviation allowed, as a fraction.
        worst: name of the winding that deviates most.
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


@dataclass(frozen=True, slots=True)
class UnitResult:
    """A unit is done, held or given up.

    Attributes:
        outcome: worst outcome of the steps that count; None when the unit was held or abandoned.
        held: reason why no verdict is given yet (a warm part), else empty.
        wait_s: how long to wait before trying a held unit again, None when unknown.
        hypotheses: diagnosis, most likely first; empty for a unit that passed.
        findings: one sentence for each rule over several windings (balance, matching) that is not passed.
        next_pair: the pair whose measurement would tell the first two hypotheses apart best, if any.
        not_tested: what the sheet asks for besides ohms and nobody has typed in yet; it blocks nothing.
        balances: each rule over several windings, with what was found.
        ending: how the stay on the bench ended; `remark`: the operator's own words for giving up.
        found: what rules over the whole unit found (takes the place of `findings`).
        untested: by id (takes the place of `not_tested`).
        revision: 0 for the result at the bench, then 1, 2, ... whenever something later changes it.
    """

    bench: str
    serial: str
    sheet: str
    sheet_hash: str
    purpose: Purpose
    batch: str
    operator: str
    outcome: Outcome | None
    held: str
    wait_s: float | None
    steps_passed: int
    steps_total: int
    hypotheses: tuple[Hypothesis, ...]
    next_pair: Pair | None
    started_utc_s: float
    utc_s: float
    findings: tuple[str, ...] = ()
    not_tested: tuple[str, ...] = ()
    balances: tuple[BalanceFound, ...] = ()
    ending: Ending = Ending.DONE
    remark: str = ""
    found: tuple[Finding, ...] = ()
    untested: tuple[Untested, ...] = ()
    revision: int = 0


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
    TURN_DIAL = "turn_dial"
    WAIT = "wait"
    CLIP_ON = "clip_on"


@dataclass(frozen=True, slots=True)
class Prompt:
    """The next thing to do, as a person would read it.

    Attributes:
        ask: the kind of action.
        text: one short sentence.
        pair: the pins to touch, None when the action has none.
        step: name of the step, empty when there is none.
        steps_done, steps_total: progress of the unit.
        why: why it is asked in this way; NONE for a plain request.
        times: which repetition this is, 1 for the first; 0 where it is none.
        facts: numbers and names that the sentence needs beside these.
    """

    ask: Ask
    text: str
    serial: str = ""
    pair: Pair | None = None
    step: str = ""
    steps_done: int = 0
    steps_total: int = 0
    why: Why = Why.NONE
    times: int = 0
    facts: Mapping[str, Fact] = field(default_factory=dict)


class Weight(StrEnum):
    """How much a notice matters."""

    REMARK = "remark"
    WARNING = "warning"
    STOP = "stop"


ASKED_FOR = frozenset({"command.help", "result.help"})
"""Codes of notices that answer a question which somebody has just typed; several lines each."""


@dataclass(frozen=True, slots=True)
class Notice:
    """Something the operator must know that is no verdict: a wrong pair, a lost link, an old zero.

    Attributes:
        code: stable short name in dotted lower case, e.g. "pair.other".
        text: going away: `acquire.words` makes the sentence from the code and its facts.
        step: name of the step that it is about, empty where it is about none.
        facts: names, numbers (unit of measure in the key) and the words of people; never our own sentences.
    """

    weight: Weight
    code: str
    text: str
    utc_s: float
    serial: str = ""
    pair: Pair | None = None
    step: str = ""
    facts: Mapping[str, Fact] = field(default_factory=dict)
