"""What happens on the bench around the verdicts: units, lead zeros, prompts and notices to the operator."""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum

from acquire.choices import Outcome, Purpose
from acquire.records.batches import WoundFrom
from acquire.records.words import Pair


@dataclass(frozen=True, slots=True)
class Hypothesis:
    """One explanation of all readings of a unit.

    Attributes:
        fault: short name from the fault dictionary, e.g. "shorted_turns".
        probability: given the readings, 0 to 1.
        sentence: plain words with the physical size ("about 60 of 1020 turns").
    """

    fault: str
    probability: float
    sentence: str


@dataclass(frozen=True, slots=True)
class UnitStarted:
    """A unit was put on the bench.

    Attributes:
        batch: that it belongs to; empty for none.
        spools: what its windings were wound from, as far as the batch knew when it was started.
        attempt: 1 for the first time that this batch and purpose measure it; the first one counts.
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
    """

    ask: Ask
    text: str
    serial: str = ""
    pair: Pair | None = None
    step: str = ""
    steps_done: int = 0
    steps_total: int = 0


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
        text: one sentence: what, where, what to do.
    """

    weight: Weight
    code: str
    text: str
    utc_s: float
    serial: str = ""
    pair: Pair | None = None
