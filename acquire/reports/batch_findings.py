"""What a reader of a batch's report should know first, a plain sentence each; and why one unit did not pass.

Not for figures (batch, series): the sentences only say what those show.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence

from acquire.quantity import counted
from acquire.records import BalanceFound, BatchDeed, Outcome
from acquire.records.words import FAILING
from acquire.reports.series import Change, Series
from acquire.reports.visits import BatchUnits, Unit, Visit, apart
from acquire.words.beside import typed_reason
from acquire.words.faults import batch_doubt, likely
from acquire.words.outcomes import OUTCOME_WORDS, deed_words
from acquire.words.verdicts import balance

NO_FAULT = frozenset({"healthy", "unknown"})
"""Explanations that name nothing that could be counted."""

MOST_UNITS = 12
"""So many units that did not pass are told one by one; the list of units has them all."""

NEAR = 1
"""Changes of level within so many units of each other are one happening."""


def why(visit: Visit) -> tuple[str, str]:
    """What is not as it should be with a unit: a short kind for counting, and a sentence.

    The most likely diagnosis where there is one, else the typed result, the rule or the step that failed.
    Both are empty for a unit that passed; a unit without outcome has a sentence alone.
    """
    outcome = visit.outcome
    if outcome is None:
        return "", visit.why_not or "no result yet"
    if outcome in FAILING:
        return _why_failed(visit)
    if outcome is Outcome.CANNOT_JUDGE:
        return "cannot judge", "the meter is not good enough for this tolerance"
    return "", "" if outcome is Outcome.PASS else OUTCOME_WORDS[outcome]


def _why_failed(visit: Visit) -> tuple[str, str]:
    balances = map(apart, visit.result.balances if visit.result else ())
    typed = [each for each in visit.judged if each.outcome in FAILING]
    rules = [each for each in balances if each.outcome in FAILING]
    steps = [value.step for value in visit.resistances().values() if value.outcome in FAILING]
    best = next((each for each in visit.hypotheses[:1] if each.fault not in NO_FAULT), None)
    if best is not None and (rules or steps or not typed):
        told = likely(best).rstrip(".")
        return best.fault.replace("_", " "), "; ".join([*_rules(rules), told])
    if typed:
        return typed[0].name, f"{typed[0].name}: {typed_reason(typed[0])}".rstrip(".")
    if rules:
        return rules[0].name, "; ".join(_rules(rules))
    return ", ".join(steps) or "failed", f"{', '.join(steps) or 'a step'} outside the limits"


def _rules(rules: Sequence[BalanceFound]) -> Iterator[str]:
    yield from (balance(rule).rstrip(".") for rule in rules)


def findings_of(found: BatchUnits, series: Sequence[Series]) -> tuple[str, ...]:
    """The sentences, what concerns the whole batch first."""
    return (
        *_changes(series),
        *_units(found.units),
        *_again(found.units),
        *_first_units(found),
        *_beyond(series),
        *_narrow(series),
        *(f"{each.name}: {each.drift}" for each in series if each.drift),
    )


def _changes(series: Sequence[Series]) -> Iterator[str]:
    """One sentence for each place where levels changed, however many rows did."""
    found = [(change.of.at, row, change) for row in series for change in row.changes]
    found.sort(key=lambda each: each[0])
    while found:
        at = found[0][0]
        here = [each for each in found if each[0] <= at + NEAR]
        found = found[len(here) :]
        _, row, change = min(here, key=lambda each: each[2].of.p)
        shifts = " and ".join(_shift(of, each) for _, of, each in here)
        causes = {cause.what: cause for _, _, each in here for cause in each.causes}
        told = " and ".join(f"the {c.what} changes from {c.before} to {c.after}" for c in causes.values())
        what = f": there {told}." if told else "; nothing on record changes there."
        yield f"From {row.points[change.of.at].serial} on {shifts}{what}"


def _shift(row: Series, change: Change) -> str:
    return f"{row.name} is {change.size} {'higher' if change.of.shift > 0.0 else 'lower'}"


def _units(units: Sequence[Unit]) -> Iterator[str]:
    bad = [(unit, first) for unit in units if (first := unit.first) is not None and first.failed]
    yield from (f"{unit.serial} failed: {why(visit)[1]}." for unit, visit in bad[:MOST_UNITS])
    if len(bad) > MOST_UNITS:
        yield f"And {counted(len(bad) - MOST_UNITS, 'more unit')} failed; the list of units has them."


def _again(units: Sequence[Unit]) -> Iterator[str]:
    for unit in units:
        first, last = unit.first, unit.last
        if first is not None and last is not None and last is not first:
            yield (
                f"{unit.serial} was measured {len(unit.visits)} times: first {first.ended}, which counts, "
                f"and {last.ended} in the end."
            )


def _first_units(found: BatchUnits) -> Iterator[str]:
    """What spoke against a first unit, and what became of it."""
    for place, deed in enumerate(found.deeds):
        if deed.deed is not BatchDeed.FIRST_UNIT or not deed.first_doubt:
            continue
        later = next((each for each in found.deeds[place + 1 :] if not each.first_doubt), None)
        became = "Nobody has accepted it yet."
        if later is not None:
            word = {BatchDeed.ACCEPTED: "Accepted", BatchDeed.SPOOL_CHANGED: "Settled by another spool"}
            became = f"{word.get(later.deed, 'Measured again')}: {deed_words(later).rstrip('.')}."
        yield f"First unit {deed.first_serial} was in doubt: {batch_doubt(deed)} {became}"


def _beyond(series: Sequence[Series]) -> Iterator[str]:
    """Values beyond the limits of their level, one sentence for all: what a change of level would hide."""
    rows: dict[str, list[str]] = {}
    for row in series:
        for place in row.beyond():
            rows.setdefault(row.points[place].serial, []).append(row.name)
    if rows:
        told = [f"{serial} ({', '.join(names)})" for serial, names in rows.items()]
        more = f" and {len(told) - MOST_UNITS} more" if len(told) > MOST_UNITS else ""
        yield f"Beyond the chart's own limits, not always the sheet's: {', '.join(told[:MOST_UNITS])}{more}."


def _narrow(series: Sequence[Series]) -> Iterator[str]:
    for row in series:
        ppk = row.capability.ppk if row.capability else None
        if ppk is not None and ppk.high < 1.0:
            yield (
                f"{row.name} spreads too far for its limits: Ppk {ppk.value:.2f}, with 95 % between "
                f"{ppk.low:.2f} and {ppk.high:.2f}; 1.33 is usual."
            )
