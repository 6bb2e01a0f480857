"""A unit's result from its entries: the one place that says what a visit on the bench comes to. Pure.

Steps and rules over several windings come to `measured` when the visit ends (verdict.close); results that a
person types in, whenever they come, and a doubt of the batch's first unit are laid over that here. What is
told later makes the next revision. Not for judging single values (verdict) nor for sentences (words).
"""

from __future__ import annotations

import re
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field, replace

from acquire.choices import PASSING, Outcome
from acquire.records import (
    Finding,
    FindingKind,
    Recorded,
    ResultKind,
    TypedResult,
    UnitResult,
    UnitStarted,
    UntestedKind,
)

WORST_LAST = (
    Outcome.PASS,
    Outcome.CONDITIONAL_PASS,
    Outcome.CANNOT_JUDGE,
    Outcome.CONDITIONAL_FAIL,
    Outcome.FAIL,
)
"""Outcomes in the order in which the worse one decides over a whole unit."""


def worst(outcomes: Iterable[Outcome | None]) -> Outcome | None:
    """The one that decides; None where there is none."""
    return max((each for each in outcomes if each is not None), key=WORST_LAST.index, default=None)


def worse(outcome: Outcome, than: Outcome) -> bool:
    """Whether an outcome is worse than another."""
    return WORST_LAST.index(outcome) > WORST_LAST.index(than)


def of_steps(outcomes: Iterable[Outcome | None], *, left_out: bool) -> Outcome | None:
    """What a unit's own steps come to.

    Args:
        outcomes: that count, of its steps; None of one that has none yet.
        left_out: a step was left out, so the unit can be no pass.
    """
    return worst([*outcomes, Outcome.CANNOT_JUDGE if left_out else None])


TURN_KINDS = frozenset({ResultKind.INDUCTANCE, ResultKind.QUALITY, ResultKind.LOSS})
TURN_TESTS = frozenset({"surge", "ring", "ringing"})
"""What can show a fault between turns: by its kind, or by a word in the name of the test."""


def shows_turns(kind: ResultKind, name: str) -> bool:
    """Whether a result of this kind and name can show a fault between turns."""
    return kind in TURN_KINDS or not TURN_TESTS.isdisjoint(re.findall(r"[a-z]+", name.casefold()))


def of(result: TypedResult) -> str:
    """What a typed result is about: the id of what the sheet asks for, else its own name."""
    return result.target or f"typed:{result.name.casefold()}"


def counting_typed(typed: Iterable[TypedResult]) -> dict[str, TypedResult]:
    """The typed results that count: of several about one thing the latest that has an outcome."""
    return {of(each): each for each in typed if each.outcome is not None}


def with_typed(
    result: UnitResult, typed: Sequence[TypedResult], *, doubted: bool | None = None
) -> UnitResult:
    """A unit's result with what was typed in for it: the worst outcome decides.

    Args:
        result: of the visit, at any revision; revision and times stay as they are.
        typed: all results typed in for it, in order.
        doubted: whether it is the first unit of its batch and in doubt; None leaves that as it is.
    """
    counting = counting_typed(typed)
    found = [each for each in result.found if each.kind not in (FindingKind.TYPED, FindingKind.FIRST_UNIT)]
    found += [
        Finding(FindingKind.TYPED, each.name, about, each.outcome)
        for about, each in counting.items()
        if each.outcome is not Outcome.PASS
    ]
    before = any(each.kind is FindingKind.FIRST_UNIT for each in result.found)
    if before if doubted is None else doubted:
        found.append(Finding(FindingKind.FIRST_UNIT, result.batch))
    tested = {of(each) for each in typed}
    if any(each.shows_turns for each in counting.values()) or result.measured not in PASSING:
        tested |= {each.id for each in result.untested if each.kind is UntestedKind.TURNS}
    outcomes = [result.measured, *(each.outcome for each in counting.values())]
    return replace(
        result,
        outcome=worst(outcomes) if result.ending.judged else None,
        found=tuple(found),
        untested=tuple(each for each in result.untested if each.id not in tested),
    )


def revised(
    result: UnitResult, typed: Sequence[TypedResult], utc_s: float, *, doubted: bool | None = None
) -> UnitResult | None:
    """The next revision of a result that is on record; None where nothing in it has changed.

    Args:
        result: the latest revision.
        typed: all results typed in for this visit, in order.
        utc_s: when it changed.
        doubted: as for `with_typed`.
    """
    now = with_typed(result, typed, doubted=doubted)
    if now == result:
        return None
    return replace(now, revision=result.revision + 1, utc_s=utc_s, ended_utc_s=ended_s(result))


def ended_s(result: UnitResult) -> float:
    """When the visit ended, whatever was found out later."""
    return result.utc_s if result.ended_utc_s is None else result.ended_utc_s


def visit_key(result: UnitResult) -> tuple[str, str, float]:
    """What all revisions of one result have in common: bench, serial, begin to the millisecond."""
    return result.bench, result.serial, round(result.started_utc_s, 3)


@dataclass(slots=True)
class VisitResult:
    """One visit of a unit on a bench, as far as its result goes.

    Attributes:
        started: how it began; None where that is not known.
        typed: all results typed in for it.
        last: its latest revision on record, None while it has no result.
        ended: the unit has left; one that was given up may come back.
    """

    started: UnitStarted | None = None
    typed: list[TypedResult] = field(default_factory=list)
    last: UnitResult | None = None
    ended: bool = False

    @property
    def result(self) -> UnitResult | None:
        """How it stands now, with what was typed in since the latest revision."""
        return None if self.last is None else with_typed(self.last, self.typed)


def visit_results(records: Iterable[Recorded]) -> list[VisitResult]:
    """The visits that records tell of, of one unit or of many, in the order of their begin.

    Args:
        records: oldest first; those that have no part in a result are passed over. A result whose begin is
            not among them has a visit without one.
    """
    visits: list[VisitResult] = []
    latest: dict[str, VisitResult] = {}
    for record in records:
        if not isinstance(record, UnitStarted | UnitResult | TypedResult):
            continue
        visit = latest.get(record.serial)
        if visit is None or isinstance(record, UnitStarted) or _is_another(visit, record):
            visit = latest[record.serial] = VisitResult(record if isinstance(record, UnitStarted) else None)
            visits.append(visit)
        if isinstance(record, TypedResult):
            visit.typed.append(record)
        elif isinstance(record, UnitResult):
            visit.last, visit.ended = record, True
    return visits


def _is_another(visit: VisitResult, record: UnitResult | TypedResult) -> bool:
    return (
        isinstance(record, UnitResult)
        and visit.last is not None
        and visit_key(visit.last) != visit_key(record)
    )
