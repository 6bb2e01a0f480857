"""The end of a unit: warm or not, and what explains its readings. Single steps are judge's."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import replace
from typing import Protocol

from acquire.choices import FAILING
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
    Untested,
    UntestedKind,
)
from acquire.records.bench import ClosureFound, StepAtEnd, UnitTemperature
from acquire.records.codes import ClosureKind
from acquire.steps.agreement import balances, oddest
from acquire.steps.pairs import PairTable
from acquire.unit_result import worst
from acquire.verdict.closure import closures
from acquire.verdict.diagnose import best_next_pair, diagnose
from acquire.verdict.guard import inside_ohm
from acquire.verdict.temperature import Judgeable, OfTemperature, Standing, at_one_moment, of_temperature

BEYOND_SOUND = 2.5
"""Standard uncertainties above nothing that a sound joint reads once in 160 units. Workshop choice."""

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
    def ended(self) -> Sequence[tuple[Step, Outcome | None]]:
        """What each step came to; None where it was skipped."""
        ...

    @property
    def continuous(self) -> Sequence[tuple[Step, float]]:
        """Steps of which only continuity was judged, with what they have at most, in ohms."""
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
    *,
    ending: Ending = Ending.DONE,
    remark: str = "",
    looks: Sequence[Look] = (),
    four_wire_below_ohm: float = 0.0,
) -> UnitResult:
    """Write the record of a finished unit, from its ohms alone.

    Rules over the whole unit are judged here: balance and matching, closed relations of the circuit, and the
    temperature of the unit as an unknown. A unit that its temperature decides gets no outcome: it is held, or
    cannot be judged before somebody says how long it has rested.

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
    table, purpose = unit.table, place.purpose
    warmth = of_temperature(table, _judgeable(unit, purpose), looks, rested_s=started.rested_s)
    readings = at_one_moment(table, unit.readings(), looks, warmth.warmth.excess)
    odd, (balanced, blind) = contradiction(table, readings), _balanced(unit, readings)
    closed = closures(table, readings, purpose)
    over_all = [*(rule.outcome for rule in balanced), *map(_counting, closed)]
    outcome = worst([unit.outcome, _by_temperature(unit, warmth), _ODD if odd else None, *over_all])
    if ending is Ending.DONE and warmth.standing is Standing.HELD and outcome is not None:
        ending = Ending.WARM
    asked = warmth.standing is Standing.ASK and not FAILING.intersection(over_all)
    hypotheses, next_pair = _explained(table, readings, place, outcome, four_wire_below_ohm)
    warm, excess = ending is Ending.WARM, warmth.warmth
    found = _uneven(balanced, closed)
    if ending.judged:
        found += [*(odd if outcome not in FAILING else ()), *((_ASKED,) if asked else ())]
        if outcome is not Outcome.PASS and not _told(outcome, found, hypotheses):
            found += _deciding(unit, _judgeable(unit, purpose), warmth.steps, outcome)
    return replace(
        _bare(unit, started, place, utc_s),
        outcome=outcome if ending.judged else None,
        wait_s=excess.at_most_s if warm else None,
        hypotheses=hypotheses[:3],
        next_pair=next_pair,
        balances=balanced,
        ending=ending,
        remark=remark,
        found=tuple(found),
        measured=outcome,
        closures=closed,
        temperature=_recorded(warmth, started.rested_s),
        untested=(*_not_judged(unit, blind), *started.required),
        wait_least_s=excess.at_least_s if warm else None,
    )


def _balanced(unit: Measured, readings: Sequence[PairReading]) -> tuple[tuple[BalanceFound, ...], list[str]]:
    """Rules over windings that must be alike; and names of those that the meter cannot judge and need not."""
    table = unit.table
    loose = {b.name for step, _ in unit.continuous for b in table.windings(step.pair)}
    need_not = {rule.name for rule in table.sheet.balances if not loose.isdisjoint(rule.windings)}
    found = [
        each
        for each in balances(table, readings)
        if not (each.outcome is Outcome.CANNOT_JUDGE and each.name in need_not)
    ]
    names = [each.name for each in found]
    return tuple(found), [r.name for r in table.sheet.balances if r.name in need_not and r.name not in names]


def _bare(unit: Measured, started: UnitStarted, place: Circumstances, utc_s: float) -> UnitResult:
    """Which unit it is and how far it came; nothing of what was found."""
    return UnitResult(
        bench=place.bench,
        serial=unit.serial,
        sheet=place.sheet.name,
        sheet_hash=place.sheet.content_hash,
        purpose=place.purpose,
        batch=started.batch,
        operator=started.operator,
        outcome=None,
        wait_s=None,
        steps_passed=unit.passed,
        steps_total=unit.total,
        hypotheses=(),
        next_pair=None,
        started_utc_s=started.utc_s,
        utc_s=utc_s,
    )


def _not_judged(unit: Measured, blind: Sequence[str]) -> Iterator[Untested]:
    """What the meter was not good enough for where continuity was to be shown instead."""
    for step, at_most_ohm in unit.continuous:
        yield Untested(UntestedKind.TOLERANCE, f"tolerance:{step.name}", step.name, at_most_ohm=at_most_ohm)
    for name in blind:
        yield Untested(UntestedKind.TOLERANCE, f"tolerance:{name}", name)


_ASKED = Finding(FindingKind.TEMPERATURE, outcome=Outcome.CANNOT_JUDGE)
"""Nothing that was measured tells the unit's temperature well enough: for how long has it lain cold?"""


_ODD = Outcome.CANNOT_JUDGE
"""Of readings that contradict each other."""


def _by_temperature(unit: Measured, warmth: OfTemperature) -> Outcome | None:
    """What a temperature that nobody knows leaves of the outcome; nothing where nothing was judged."""
    if unit.outcome is None:
        return None
    return Outcome.CANNOT_JUDGE if warmth.standing is Standing.ASK else warmth.outcome


def _recorded(found: OfTemperature, rested_s: float | None) -> UnitTemperature:
    excess = found.warmth
    ends = excess.low_kelvin, excess.kelvin, excess.high_kelvin
    return UnitTemperature(*ends, found.u_kelvin, excess.moving, found.told_by_shift, rested_s, found.steps)


def _counting(closed: ClosureFound) -> Outcome | None:
    """What a closed relation adds to the unit's outcome.

    Where the meter is too coarse for it, nothing: no step of the sheet asked for it, and the record shows it;
    unless it shows a joint beyond its limit that no sound one, of next to no ohms, would read as.
    """
    if closed.contradicts:
        return Outcome.CANNOT_JUDGE
    if closed.outcome is not Outcome.CANNOT_JUDGE:
        return closed.outcome
    least_ohm = max(closed.upper_ohm or 0.0, BEYOND_SOUND * closed.expanded_ohm / 2.0)
    return Outcome.CANNOT_JUDGE if closed.kind is ClosureKind.JOINT and closed.ohm > least_ohm else None


def _judgeable(unit: Measured, purpose: Purpose) -> list[Judgeable]:
    """Values that have limits; the temperature decides nothing about others."""
    loose = [step for step, _ in unit.continuous]
    every = [
        Judgeable(reading, unit.table.limits_for(step, purpose), step.name)
        for step, reading in unit.judged
        if step not in loose
    ]
    return [e for e in every if e.limits.lower_ohm is not None or e.limits.upper_ohm is not None]


def _uneven(rules: Sequence[BalanceFound], closed: Sequence[ClosureFound]) -> list[Finding]:
    """Rules over several readings that are not plainly passed."""
    found = [
        Finding(FindingKind.UNEVEN, each.name, outcome=each.outcome)
        for each in rules
        if each.outcome is not Outcome.PASS
    ]
    return found + [
        Finding(FindingKind.CLOSURE, each.where, outcome=each.outcome)
        for each in closed
        if _counting(each) not in (None, Outcome.PASS)
    ]


def _told(outcome: Outcome | None, found: Sequence[Finding], hypotheses: Sequence[Hypothesis]) -> bool:
    """Whether a rule over the whole unit, or a fault, says why a unit did not plainly pass."""
    if outcome is Outcome.FAIL and hypotheses and hypotheses[0].fault != "healthy":
        return True
    return any(each.outcome is outcome or each.kind is FindingKind.CONTRADICTION for each in found)


def _deciding(
    unit: Measured, held: Sequence[Judgeable], steps: Sequence[StepAtEnd], outcome: Outcome | None
) -> list[Finding]:
    """The step that decides over a unit, the least likely to conform of several; at most one.

    Args:
        unit: whose steps are done.
        held: what has limits, as it was judged with the unit's temperature: `steps`, those that conduct.
        steps: what these come to.
        outcome: of the unit.
    """
    ohms = {each.step: each for each in held}
    for step in sorted(steps, key=lambda each: each.conformance_probability):
        if step.outcome is outcome:
            limits, ohm = ohms[step.step].limits, ohms[step.step].reading.ohm
            size = limits.tolerance_ohm if outcome is Outcome.CANNOT_JUDGE else inside_ohm(ohm, limits)
            return [
                Finding(
                    FindingKind.STEP, step.step, outcome=outcome, ohm=size, expanded_ohm=step.expanded_ohm
                )
            ]
    due = (o for o in unit.ended if o[1] is outcome or (o[1] is None and outcome is Outcome.CANNOT_JUDGE))
    return [Finding(FindingKind.STEP, step.name, outcome=came_to) for step, came_to in due][:1]


def contradiction(table: PairTable, readings: Sequence[PairReading]) -> tuple[Finding, ...]:
    """What is remarked of a unit whose readings pass and do not go together; mostly nothing.

    Nothing says which of the readings is wrong, and each was good.
    """
    odd = oddest(table, readings)
    if odd is None or odd.away < SIGNIFICANT:
        return ()
    found = Finding(FindingKind.CONTRADICTION, pair=odd.pair, ohm=odd.ohm)
    return (replace(found, predicted_ohm=odd.foretold_ohm, u_ohm=odd.u_ohm),)


def _explained(
    table: PairTable,
    readings: Sequence[PairReading],
    place: Circumstances,
    outcome: Outcome | None,
    four_wire_below_ohm: float,
) -> tuple[tuple[Hypothesis, ...], Pair | None]:
    """What explains the readings of a unit that did not pass, or moved; and which pair would tell more."""
    if outcome in (None, Outcome.PASS) or not readings:
        return (), None
    purpose, sheet = place.purpose, place.sheet
    below_ohm = four_wire_below_ohm
    found = diagnose(sheet, table, readings, purpose=purpose, four_wire_below_ohm=below_ohm)
    telling = best_next_pair(sheet, table, readings, found, purpose=purpose, four_wire_below_ohm=below_ohm)
    return found, telling
