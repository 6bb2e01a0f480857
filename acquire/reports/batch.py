"""The report of a batch as plain figures: who passed, every row with its statistics, what a reader must know.

    with JournalReader(folder) as record:
        report = batch_report(record, "lot 12")

Statistics come from `acquire.stats`, what happened from the record. A unit's first visit with an outcome is
the one that counts, for yields and for charts; later visits show beside it. Not for what it looks like
(batch_document).
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass

from acquire.choices import FAILING, PASSING
from acquire.errors import InputImpossible
from acquire.journal.query import Record
from acquire.quantity import counted
from acquire.records import BalanceFound, Batch, BatchEvent, BatchState, Outcome, Purpose
from acquire.reports.series import Counted, Series, series_of
from acquire.reports.visits import (
    Unit,
    Visit,
    apart,
    batch_visits,
    brief_visits,
    units_in,
    without_collecting,
)
from acquire.stats import CONFIDENCE
from acquire.stats.capability import ParetoBar, Share, pareto, share_of
from acquire.stats.drift import change_sentence
from acquire.words.beside import typed_reason
from acquire.words.faults import batch_doubt, likely
from acquire.words.verdicts import OUTCOME_WORDS, balance, deed_words


@dataclass(frozen=True, slots=True)
class Deed:
    """Something that was done to the batch; `doubted`: the first unit spoke against it."""

    utc_s: float
    deed: BatchEvent
    text: str
    doubted: bool


@dataclass(frozen=True, slots=True)
class UnitLine:
    """One unit of the batch.

    Attributes:
        utc_s: when its first visit that counts began; of the first visit at all where none counts. outcome:
        of that visit; None where no visit has one. now: outcome of its last visit with one. visits: how often
        it was on a bench for this batch. why: one sentence on what is not as it should be; kind: of that,
        short, for counting. Empty for a pass. spools: what it was wound from, as "36-A, 24-K".
    """

    serial: str
    utc_s: float
    outcome: Outcome | None
    now: Outcome | None
    visits: int
    why: str
    kind: str
    spools: str


@dataclass(frozen=True, slots=True)
class Yield:
    """What passed of one thing that was asked: `sort` is "step", "rule" (over windings) or "typed"."""

    name: str
    sort: str
    passed: Share


@dataclass(frozen=True, slots=True)
class BatchReport:
    """All that is told of a batch.

    Attributes:
        state: where it stands; None for a name that was only written on units. sheet: what was made;
        sheet_hashes: of every sheet file that was in force. purpose: why it was measured; other_purposes:
        what else it was measured for. benches: where; operators: by whom; meters: with what; rules: decision
        rules of the verdicts. expected: how many units it shall have, None where nobody said; remark: that it
        was opened with. first_utc_s, last_utc_s: of the units' starts; None without units. deeds: what was
        done to it, oldest first; units: in the order in which they came. first_pass: units that passed at the
        first visit that counts, of all that have one; now: by their last. open_units: how many have no
        outcome: held, given up or under way. yields: by step, rule over several windings, and typed result.
        pareto: kinds of what was not as it should be, one a unit, at its first visit that counts. findings:
        what a reader should know first, a sentence each. subgroup: values in a subgroup of the charts of
        means; None where none were asked for.
    """

    name: str
    state: BatchState | None
    sheet: str
    sheet_hashes: tuple[str, ...]
    purpose: Purpose
    other_purposes: tuple[Purpose, ...]
    benches: tuple[str, ...]
    operators: tuple[str, ...]
    meters: tuple[str, ...]
    expected: int | None
    remark: str
    first_utc_s: float | None
    last_utc_s: float | None
    reference_celsius: float | None
    rules: tuple[str, ...]
    deeds: tuple[Deed, ...]
    units: tuple[UnitLine, ...]
    first_pass: Share
    now: Share
    open_units: int
    yields: tuple[Yield, ...]
    pareto: tuple[ParetoBar, ...]
    series: tuple[Series, ...]
    findings: tuple[str, ...]
    subgroup: int | None
    confidence: float = CONFIDENCE


@without_collecting()
def batch_report(
    record: Record, name: str, *, purpose: Purpose | None = None, subgroup: int | None = None
) -> BatchReport:
    """Make the report of a batch.

    Args:
        record: of one bench or of many.
        name: of the batch, exactly.
        purpose: only what was measured for this; None: final visits where there are any, else the latest.
        subgroup: values in a subgroup, 2 to 25, for charts of means beside those of single values.

    Raises:
        InputImpossible: the record has no such batch, or a subgroup that cannot be.
        JournalUnusable: the record cannot be read.
    """
    if subgroup is not None and not 2 <= subgroup <= 25:
        raise InputImpossible(f"Subgroups have 2 to 25 values, not {subgroup}.", "Choose --subgroup anew.")
    deeds: list[Batch] = []
    visits = batch_visits(record, name, deeds)
    if not visits and not deeds:
        what = f"The record has no batch {name}."
        raise InputImpossible(what, "`steadyohm batch` without a name lists those that it has.")
    purposes = [visit.purpose for visit in visits]
    usual = Purpose.FINAL if Purpose.FINAL in purposes or not purposes else purposes[-1]
    units = units_in(visit for visit in visits if visit.purpose is (purpose or usual))
    return _report(name, tuple(dict.fromkeys([purpose or usual, *purposes])), deeds, units, subgroup)


def _report(
    name: str,
    purposes: tuple[Purpose, ...],
    deeds: Sequence[Batch],
    units: tuple[Unit, ...],
    subgroup: int | None,
) -> BatchReport:
    """Of these units, measured for the first of the purposes."""
    firsts = [
        Counted(visit, visit.resistances(), visit.outcome)
        for unit in units
        if (visit := unit.first) and visit.outcome is not None
    ]
    visits = [visit for unit in units for visit in unit.visits]
    values = [value for visit in visits for value in visit.values if value.counts]
    series = tuple(series_of(firsts, subgroup))
    latest = deeds[-1] if deeds else None
    lines = tuple(map(_line, units))
    starts = [visit.started for visit in visits]
    return BatchReport(
        name=name,
        state=latest.state if latest else None,
        sheet=starts[-1].sheet if starts else latest.sheet if latest else "",
        sheet_hashes=_distinct(each.sheet_hash for each in starts),
        purpose=purposes[0],
        other_purposes=purposes[1:],
        benches=_distinct(each.bench for each in starts),
        operators=_distinct(each.operator for each in starts),
        meters=_distinct(value.meter_id for value in values),
        expected=next((d.expected for d in reversed(deeds) if d.expected is not None), None),
        remark=deeds[0].remark if deeds else "",
        first_utc_s=min((each.utc_s for each in starts), default=None),
        last_utc_s=max((each.utc_s for each in starts), default=None),
        reference_celsius=values[-1].reference_celsius if values else None,
        rules=_distinct(value.rule for value in values),
        deeds=tuple(Deed(d.utc_s, d.deed, deed_words(d), bool(d.first_doubt)) for d in deeds),
        units=lines,
        first_pass=_share([each.outcome for each in firsts]),
        now=_share([unit.last.outcome for unit in units if unit.last]),
        open_units=len(units) - len(firsts),
        yields=tuple(_yields(firsts)),
        pareto=pareto(Counter(line.kind for line in lines if line.kind)),
        series=series,
        findings=tuple(_findings(units, deeds, series)),
        subgroup=subgroup,
    )


def _distinct(names: Iterable[str | None]) -> tuple[str, ...]:
    return tuple(name for name in dict.fromkeys(names) if name)


def _share(outcomes: list[Outcome | None] | list[Outcome]) -> Share:
    return share_of(sum(outcome in PASSING for outcome in outcomes), len(outcomes))


def _line(unit: Unit) -> UnitLine:
    first, last = unit.first, unit.last
    visit = first or unit.visits[-1]
    kind, sentence = why(visit)
    spools = ", ".join(dict.fromkeys(each.spool for each in visit.started.spools))
    return UnitLine(
        unit.serial, visit.started.utc_s, first.outcome if first else None, last.outcome if last else None,
        len(unit.visits), sentence, kind if first else "", spools,
    )  # fmt: skip


def _yields(firsts: list[Counted]) -> Iterator[Yield]:
    """By step, by rule over several windings, by typed result; each in the order in which it first came."""
    balances = [rule for visit, _, _ in firsts if visit.result for rule in visit.result.balances]
    typed = [each for visit, _, _ in firsts for each in visit.judged]
    values = [value for each in firsts for value in each.values.values()]
    for sort, asked in (
        ("step", [(value.step, value.outcome) for value in values]),
        ("rule", [(rule.name, rule.outcome) for rule in balances]),
        ("typed", [(each.name, each.outcome) for each in typed]),
    ):
        counts: dict[str, list[int]] = {}
        for (name, outcome), count in Counter(asked).items():
            of = counts.setdefault(name, [0, 0])
            of[0] += count if outcome in PASSING else 0
            of[1] += count
        for name, (passed, every) in counts.items():
            yield Yield(name, sort, share_of(passed, every))


# ---------------------------------------------------------------- all batches


@dataclass(frozen=True, slots=True)
class BatchLine:
    """One batch in a list.

    Attributes:
        state: where it stands; None for a name that was only written on units.
        sheet: of its units; empty where unknown. expected: how many it shall have, None where nobody said.
        units: how many have a result; passed: of those at their first one, nothing typed in against them.
        doubt: what speaks against its first unit, empty where nothing does.
        latest_utc_s: when it was last heard of.
    """

    name: str
    state: BatchState | None
    sheet: str
    expected: int | None
    units: int
    passed: int
    doubt: str
    latest_utc_s: float


def batches_of(record: Record) -> list[BatchLine]:
    """Every batch, the one that was heard of last first. Raises JournalUnusable where it cannot be read."""
    deeds: list[Batch] = []
    by_name: dict[str, list[Visit]] = {}
    with without_collecting():
        for visit in brief_visits(record, deeds=deeds):
            if visit.started.batch and visit.result:
                by_name.setdefault(visit.started.batch, []).append(visit)
    latest = {deed.batch: deed for deed in deeds}
    lines = []
    for name in dict.fromkeys([*latest, *by_name]):
        deed, visits = latest.get(name), by_name.get(name, [])
        firsts = [unit.first for unit in units_in(visits) if unit.first]
        times = [visit.results[-1].record.utc_s for visit in visits] + ([deed.utc_s] if deed else [])
        lines.append(BatchLine(
            name, deed.state if deed else None, deed.sheet if deed else visits[-1].started.sheet,
            deed.expected if deed else None, len(firsts), sum(each.outcome in PASSING for each in firsts),
            batch_doubt(deed) if deed else "", max(times),
        ))  # fmt: skip
    return sorted(lines, key=lambda line: -line.latest_utc_s)


# ---------------------------------------------------------------- what to know first


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


def _findings(units: Sequence[Unit], deeds: Sequence[Batch], series: Sequence[Series]) -> Iterator[str]:
    """The sentences, what concerns the whole batch first."""
    yield from _changes(series)
    yield from _units(units)
    yield from _again(units)
    yield from _first_units(deeds)
    yield from _beyond(series)
    yield from _narrow(series)
    yield from (f"{each.name}: {each.drift}" for each in series if each.drift)


def _changes(series: Sequence[Series]) -> Iterator[str]:
    """One sentence for each place where levels changed, however many rows did."""
    found = [(change.of, row, change) for row in series for change in row.changes]
    found.sort(key=lambda each: each[0].at)
    while found:
        here = [each for each in found if each[0].at <= found[0][0].at + NEAR]
        found = found[len(here) :]
        clearest, row, _ = min(here, key=lambda each: each[0].p)
        shifts = " and ".join(f"{of.name} is {change.size} {level.way}" for level, of, change in here)
        causes = {cause.what: cause for _, _, change in here for cause in change.causes}
        alone = "; nothing on record changes there."
        yield change_sentence(row.points[clearest.at].serial, shifts, causes.values(), alone)


def _units(units: Sequence[Unit]) -> Iterator[str]:
    bad = [(unit, first) for unit in units if (first := unit.first) is not None and first.outcome in FAILING]
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


def _first_units(deeds: Sequence[Batch]) -> Iterator[str]:
    """What spoke against a first unit, and what became of it."""
    for place, deed in enumerate(deeds):
        if deed.deed is not BatchEvent.FIRST_UNIT or not deed.first_doubt:
            continue
        later = next((each for each in deeds[place + 1 :] if not each.first_doubt), None)
        became = "Nobody has accepted it yet."
        if later is not None:
            word = {BatchEvent.ACCEPTED: "Accepted", BatchEvent.SPOOL_CHANGED: "Settled by another spool"}
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
