"""The end of a unit: warm or not, and what explains its readings. Single steps are judge's."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from typing import Protocol

from acquire.physics.warm import Sample
from acquire.records import (
    BalanceFound,
    Circumstances,
    Ending,
    Finding,
    FindingKind,
    Hypothesis,
    Outcome,
    Pair,
    UnitResult,
    UnitStarted,
)
from acquire.records.words import FAILING
from acquire.steps.agreement import PairReading, oddest
from acquire.steps.balance import balances
from acquire.steps.pairs import PairTable
from acquire.unit_result import worst
from acquire.verdict.diagnose import best_next_pair, diagnose
from acquire.verdict.warmth import is_warm, rest_s

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
    def still_warm(self) -> bool:
        """The first resistance has moved during the test."""
        ...

    def readings(self) -> Sequence[PairReading]:
        """Values that count."""
        ...

    def touch_readings(self) -> Sequence[PairReading]:
        """The same with the uncertainty of each touch alone."""
        ...


def close_unit(
    unit: Measured,
    started: UnitStarted,
    place: Circumstances,
    utc_s: float,
    *,
    ending: Ending = Ending.DONE,
    remark: str = "",
    samples: Sequence[Sample] = (),
    four_wire_below_ohm: float = 0.0,
) -> UnitResult:
    """Write the record of a finished unit, from its ohms alone.

    A unit whose first resistance moved during the test, or that fails because all of its windings are off by
    what one warmer temperature explains, is held: it gets no outcome. Rules over several windings (balance,
    matching) are judged here, on the windings' own values.

    Args:
        unit: with the outcome of every step.
        started: its opening record.
        place: the bench.
        utc_s: now.
        ending: how; DONE becomes WARM where the unit is.
        remark: the operator's words for giving up.
        samples: values of one pair at several times, oldest first, for how long a warm unit must wait.
        four_wire_below_ohm: pairs of a smaller nominal were measured with four wires, so without leads.
    """
    readings = unit.readings()
    balanced = balances(unit.table, unit.touch_readings())
    outcome = worst([unit.outcome, *(rule.outcome for rule in balanced)])
    hypotheses, next_pair = _explained(unit, place, outcome, four_wire_below_ohm)
    may_be_warm = outcome in FAILING and not started.rested
    warm = unit.still_warm or (may_be_warm and is_warm(unit.table, readings, hypotheses, samples))
    wait_s = None
    if warm and ending is Ending.DONE:
        ending, wait_s = Ending.WARM, rest_s(unit.table, readings, samples, moved=unit.still_warm)
    return UnitResult(
        bench=place.bench,
        serial=unit.serial,
        sheet=place.sheet.name,
        sheet_hash=place.sheet.content_hash,
        purpose=place.purpose,
        batch=started.batch,
        operator=started.operator,
        outcome=outcome if ending.judged else None,
        wait_s=wait_s,
        steps_passed=unit.passed,
        steps_total=unit.total,
        hypotheses=hypotheses[:3],
        next_pair=next_pair,
        started_utc_s=started.utc_s,
        utc_s=utc_s,
        balances=balanced,
        ending=ending,
        remark=remark,
        found=_found(unit, balanced, contradicts=ending.judged and outcome not in FAILING),
        untested=started.required,
        measured=outcome,
    )


def _found(unit: Measured, rules: Sequence[BalanceFound], *, contradicts: bool) -> tuple[Finding, ...]:
    uneven = (
        Finding(FindingKind.UNEVEN, each.name, outcome=each.outcome)
        for each in rules
        if each.outcome is not Outcome.PASS
    )
    return (*uneven, *(contradiction(unit) if contradicts else ()))


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
    passed = outcome is Outcome.PASS and not unit.still_warm
    if outcome is None or passed or not readings:
        return (), None
    purpose, sheet, table = place.purpose, place.sheet, unit.table
    below_ohm = four_wire_below_ohm
    found = diagnose(sheet, table, readings, purpose=purpose, four_wire_below_ohm=below_ohm)
    telling = best_next_pair(sheet, table, readings, found, purpose=purpose, four_wire_below_ohm=below_ohm)
    return found, telling
