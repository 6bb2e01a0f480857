"""The end of a unit: worst outcome, warm or not, and what explains its readings. Single steps are judge's."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from typing import Protocol

from acquire.physics.common import PairReading
from acquire.physics.cooling import Look
from acquire.records import (
    BalanceFound,
    Circumstances,
    Ending,
    Finding,
    FindingKind,
    Hypothesis,
    Outcome,
    Pair,
    Purpose,
    Step,
    UnitResult,
    UnitStarted,
)
from acquire.records.bench import ClosureFound, UnitTemperature
from acquire.records.words import FAILING, WORST_LAST
from acquire.steps.agreement import oddest
from acquire.steps.balance import balances
from acquire.steps.pairs import PairTable
from acquire.verdict.closure import closures
from acquire.verdict.diagnose import best_next_pair, diagnose
from acquire.verdict.temperature import Judgeable, Standing, of_temperature
from acquire.words.verdicts import COLD_QUESTION, balance, closure
from acquire.words.verdicts import contradiction as contradiction_words

SIGNIFICANT = 4.0
"""Standard uncertainties from which readings contradict each other. A normal value is that far off once in
16 000 (two-sided): with six pairs, fewer than 1 good unit in 2 500 is remarked. The benchmark counts."""


class Measured(Protocol):
    """What is known of a unit when it ends; `acquire.heart.unit_state` has it."""

    table: PairTable
    serial: str

    @property
    def outcome(self) -> Outcome | None:
        """Worst outcome of the steps that counts."""
        ...

    @property
    def passed(self) -> int:
        """Steps that have passed."""
        ...

    @property
    def total(self) -> int:
        """Steps of the unit."""
        ...

    @property
    def judged(self) -> Sequence[tuple[Step, PairReading]]:
        """Resistance steps that count, with their values."""
        ...

    def readings(self) -> Sequence[PairReading]:
        """Values that count."""
        ...


def close_unit(
    unit: Measured,
    started: UnitStarted,
    place: Circumstances,
    utc_s: float,
    ending: Ending = Ending.DONE,
    remark: str = "",
    *,
    looks: Sequence[Look] = (),
    four_wire_below_ohm: float = 0.0,
) -> UnitResult:
    """Write the record of a finished unit.

    Rules over the whole unit are judged here: balance and matching on the windings' own values, closed
    relations of the circuit, and the temperature of the unit as an unknown. A unit that its temperature
    decides gets no outcome: it is held, or cannot be judged before somebody says how long it has rested.

    Args:
        unit: with the outcome of every step.
        started: its opening record.
        place: the bench.
        utc_s: now.
        ending: how; DONE becomes WARM where the unit is held.
        remark: the operator's words for giving up.
        looks: every touch, oldest first, as it tells of the temperature.
        four_wire_below_ohm: pairs of a smaller nominal were measured with four wires, so without leads.
    """
    readings, table, purpose = unit.readings(), unit.table, place.purpose
    balanced = balances(table, readings)
    closed = closures(table, readings, purpose)
    outcomes = [unit.outcome, *(rule.outcome for rule in balanced), *map(_counting, closed)]
    warmth = of_temperature(table, _judgeable(unit, purpose), looks, rested_s=started.rested_s)
    if unit.outcome is not None:
        outcomes.append(Outcome.CANNOT_JUDGE if warmth.standing is Standing.ASK else warmth.outcome)
    outcome = max((each for each in outcomes if each is not None), key=WORST_LAST.index, default=None)
    if ending is Ending.DONE and warmth.standing is Standing.HELD and outcome is not None:
        ending = Ending.WARM
    hypotheses, next_pair = _explained(unit, place, outcome, four_wire_below_ohm)
    warm, found = ending is Ending.WARM, warmth.warmth
    asked = (_ASKED,) if warmth.standing is Standing.ASK and not warm else ()
    odd = () if outcome in FAILING or ending is not Ending.DONE else contradiction(unit)
    return UnitResult(
        bench=place.bench,
        serial=unit.serial,
        sheet=place.sheet.name,
        sheet_hash=place.sheet.content_hash,
        purpose=purpose,
        batch=started.batch,
        operator=started.operator,
        outcome=outcome if ending is Ending.DONE else None,
        held=_held_words(ending, remark),
        wait_s=found.at_most_s if warm else None,
        wait_least_s=found.at_least_s if warm else None,
        steps_passed=unit.passed,
        steps_total=unit.total,
        hypotheses=hypotheses[:3],
        next_pair=next_pair,
        started_utc_s=started.utc_s,
        utc_s=utc_s,
        findings=_sentences(balanced, closed, odd, asked),
        balances=balanced,
        closures=closed,
        temperature=UnitTemperature(
            found.low_kelvin,
            found.kelvin,
            found.high_kelvin,
            warmth.u_kelvin,
            found.moving,
            warmth.told_by_shift,
            started.rested_s,
        ),
        found=(*odd, *asked),
        ending=ending,
        remark=remark,
    )


_ASKED = Finding(FindingKind.TEMPERATURE, outcome=Outcome.CANNOT_JUDGE)
"""Nothing that was measured tells the unit's temperature well enough: for how long has it lain cold?"""


def _counting(closed: ClosureFound) -> Outcome | None:
    """What a closed relation adds to the unit's outcome.

    Where the meter is too coarse for it, nothing: no step of the sheet asked for it, and the record shows it.
    """
    if closed.contradicts:
        return Outcome.CANNOT_JUDGE
    return None if closed.outcome is Outcome.CANNOT_JUDGE else closed.outcome


def _judgeable(unit: Measured, purpose: Purpose) -> list[Judgeable]:
    """Values that have limits; the temperature decides nothing about those that it cannot move."""
    limits = ((reading, unit.table.limits_for(step, purpose)) for step, reading in unit.judged)
    return [
        Judgeable(r, each) for r, each in limits if each.lower_ohm is not None or each.upper_ohm is not None
    ]


def _held_words(ending: Ending, remark: str) -> str:
    if ending is Ending.DONE:
        return ""
    return "the unit is warm" if ending is Ending.WARM else f"given up: {remark or ending.value}"


def _sentences(
    balanced: Sequence[BalanceFound],
    closed: Sequence[ClosureFound],
    odd: Sequence[Finding],
    asked: Sequence[Finding],
) -> tuple[str, ...]:
    """As people read them; going away with `UnitResult.findings`."""
    told = [balance(each) for each in balanced if each.outcome is not Outcome.PASS]
    told += [closure(each) for each in closed if each.outcome is not Outcome.PASS or each.contradicts]
    return (*told, *map(contradiction_words, odd), *(COLD_QUESTION for _ in asked))


def contradiction(unit: Measured) -> tuple[Finding, ...]:
    """What is remarked of a unit whose readings pass and do not go together; mostly nothing.

    The verdict stands: nothing says which of the readings is wrong, and each was good.
    """
    odd = oddest(unit.table, unit.readings())
    if odd is None or odd.away < SIGNIFICANT:
        return ()
    found = Finding(FindingKind.CONTRADICTION, pair=odd.pair, ohm=odd.ohm)
    return (replace(found, predicted_ohm=odd.foretold_ohm, u_ohm=odd.u_ohm),)


def _explained(
    unit: Measured, place: Circumstances, outcome: Outcome | None, four_wire_below_ohm: float
) -> tuple[tuple[Hypothesis, ...], Pair | None]:
    """What explains the readings of a unit that did not pass, or moved; and which pair would tell more."""
    readings = unit.readings()
    if outcome in (None, Outcome.PASS) or not readings:
        return (), None
    purpose, sheet, table = place.purpose, place.sheet, unit.table
    below_ohm = four_wire_below_ohm
    found = diagnose(sheet, table, readings, purpose=purpose, four_wire_below_ohm=below_ohm)
    telling = best_next_pair(sheet, table, readings, found, purpose=purpose, four_wire_below_ohm=below_ohm)
    return found, telling
