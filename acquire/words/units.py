"""How a unit ended, what speaks against it and what was not tested, in words. Not for single verdicts."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace

from acquire.choices import Outcome
from acquire.records import (
    BalanceFound,
    Ending,
    Finding,
    FindingKind,
    UnitResult,
    Untested,
    UntestedKind,
)
from acquire.records.bench import ClosureFound
from acquire.words.faults import likely
from acquire.words.saying import at_most
from acquire.words.verdicts import COLD_QUESTION, OUTCOME_WORDS, balance, closure, contradiction, step_at_end

TURN_FAULTS = "not tested: faults between turns, which a pass in ohms does not exclude"
"""Of a unit that passed its ohms and of which no surge, inductance, Q or loss is on record: direct current
does not show one shorted turn in a fine coil, nor weak insulation between turns."""

ENDINGS = {
    Ending.DONE: "no verdict counts",
    Ending.WARM: "held: the unit is warm",
    Ending.EARLY: "ended early",
    Ending.NEXT_UNIT: "ended early: the next unit was started",
    Ending.FILES_CHANGED: "ended early: its files were changed",
    Ending.UNDONE: "its scan was taken back",
}
"""How a visit ended that has no outcome."""


def ending_words(outcome: Outcome | None, ending: Ending = Ending.DONE, remark: str = "") -> str:
    """How a unit ended: its outcome, or why it has none."""
    if outcome is not None:
        return OUTCOME_WORDS[outcome]
    return f"{ENDINGS[ending]}: {remark}" if remark else ENDINGS[ending]


def result_words(result: UnitResult) -> str:
    """How a unit ended."""
    found = result.temperature
    if (
        result.outcome is None
        and result.ending is Ending.WARM
        and found is not None
        and found.high_kelvin < 0.0
    ):
        return "held: the unit is cold"
    return ending_words(result.outcome, result.ending, result.remark)


def why_not(result: UnitResult) -> str:
    """Why a unit has no outcome, in the fewest words; empty for one that has."""
    return "" if result.outcome is not None else result_words(result).removeprefix("held: ")


def findings_words(result: UnitResult) -> tuple[str, ...]:
    """What rules over the whole unit found, a sentence each."""
    rules = {each.name: each for each in result.balances}
    closed = {each.where: each for each in result.closures}
    return tuple(_finding(each, rules, closed) for each in result.found)


def _finding(found: Finding, rules: dict[str, BalanceFound], closed: dict[str, ClosureFound]) -> str:
    if found.kind is FindingKind.UNEVEN:
        return balance(rules[found.name]) if found.name in rules else f"{found.name} is uneven."
    if found.kind is FindingKind.CLOSURE:
        return closure(closed[found.name]) if found.name in closed else f"{found.name} is out of limits."
    return _ALONE[found.kind](found)


_ALONE: dict[FindingKind, Callable[[Finding], str]] = {
    FindingKind.TEMPERATURE: lambda _: COLD_QUESTION,
    FindingKind.CONTRADICTION: contradiction,
    FindingKind.STEP: step_at_end,
    FindingKind.TYPED: lambda f: f"{f.name}: {OUTCOME_WORDS[f.outcome] if f.outcome else 'did not pass'}.",
    FindingKind.FIRST_UNIT: lambda f: (
        f"The first unit of {f.name} is in doubt, and nobody has accepted it yet."
    ),
}
"""Findings that say all that there is to say."""


def relations_words(result: UnitResult) -> tuple[str, ...]:
    """Every closed relation of the circuit that the readings of a unit show, a sentence each."""
    return tuple(closure(each) for each in result.closures)


def untested_words(untested: Untested) -> str:
    """One thing that was not tested."""
    if untested.kind is UntestedKind.TURNS:
        return TURN_FAULTS
    if untested.kind is UntestedKind.TOLERANCE:
        ohm = untested.at_most_ohm
        known = "" if ohm is None else f": continuous, at most {at_most(ohm)}"
        return f"not judged: tolerance of {untested.name}, which this meter cannot{known}"
    volts = "" if untested.volts is None else f" at {untested.volts:g} V"
    return f"not tested: {untested.name}{volts}"


def missing_words(result: UnitResult) -> tuple[str, ...]:
    """Everything that was not tested, a line each."""
    return tuple(untested_words(each) for each in result.untested)


def reason_of(result: UnitResult) -> str:
    """The sentence that says why a unit ended as it did; empty where its word says all."""
    return cause_of(result) if result.outcome is not None else why_not(result)


def cause_of(result: UnitResult) -> str:
    """What was found, or what explains the readings best; empty where there is nothing of either."""
    first = next(iter(result.hypotheses), None)
    fault = first if first and first.fault != "healthy" else None
    told = [each for each in result.found if not (fault and each.kind is FindingKind.CLOSURE)]
    said = list(findings_words(replace(result, found=tuple(told))))
    if fault and all(each.kind is FindingKind.STEP for each in told):
        said.append(likely(fault))
    return " ".join(said) or (likely(first) if first else "")
