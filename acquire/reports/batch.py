"""The report of a batch: plain figures and sentences, of which terminal, HTML, JSON and page are renderings.

    with JournalReader(folder) as record:
        report = batch_report(record, "lot 12")

Statistics come from `acquire.stats`, what happened from the record. A unit's first stay with an outcome is
the one that counts, for yields and for charts; later stays show beside it. Not for drawing (batch_pictures)
nor for words of a screen (batch_terminal, batch_html).
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

from acquire.errors import InputImpossible
from acquire.journal.question import Record
from acquire.records import BatchDeed, BatchState, Outcome, Purpose
from acquire.reports.batch_findings import findings_of, why
from acquire.reports.batch_rows import series_of
from acquire.reports.batch_series import Series
from acquire.reports.batch_units import BatchUnits, Stay, Unit, units_of
from acquire.stats.pareto import Bar, Share, pareto, share_of
from acquire.unit_result import judged
from acquire.words.outcomes import deed_words

GOOD = frozenset({Outcome.PASS, Outcome.CONDITIONAL_PASS})
"""Outcomes that count as passed; a value that the meter cannot judge does not."""

CONFIDENCE = 0.95
"""Of every interval in the report."""


@dataclass(frozen=True, slots=True)
class Deed:
    """Something that was done to the batch.

    Attributes:
        utc_s: when.
        deed: what.
        text: the words that went with it.
        doubted: whether the first unit spoke against the batch.
    """

    utc_s: float
    deed: BatchDeed
    text: str
    doubted: bool


@dataclass(frozen=True, slots=True)
class UnitLine:
    """One unit of the batch.

    Attributes:
        serial: its identity.
        utc_s: when its first stay that counts began; of the first stay at all where none counts.
        outcome: of that stay; None where no stay has one.
        now: outcome of its last stay with one.
        stays: how often it was on a bench for this batch.
        why: one sentence on what is not as it should be; empty for a unit that passed.
        kind: of that, short, for counting; empty likewise.
        spools: what it was wound from, as "36-A, 24-K".
    """

    serial: str
    utc_s: float
    outcome: Outcome | None
    now: Outcome | None
    stays: int
    why: str
    kind: str
    spools: str


@dataclass(frozen=True, slots=True)
class Yield:
    """What passed of one thing that was asked.

    Attributes:
        name: of the step, of the rule over several windings, or of the typed result.
        sort: "step", "rule" or "typed".
        passed: passed at the first stay that counts, of those that have it.
    """

    name: str
    sort: str
    passed: Share


@dataclass(frozen=True, slots=True)
class BatchReport:
    """All that is told of a batch.

    Attributes:
        name: of the batch.
        state: where it stands; None for a name that was only written on units.
        sheet: what was made; sheet_hashes: of every sheet file that was in force.
        purpose: why it was measured; other_purposes: what else it was measured for.
        benches: where; operators: by whom; meters: with what.
        expected: how many units it shall have, None where nobody said.
        remark: that it was opened with.
        first_utc_s, last_utc_s: of the units' starts; None without units.
        reference_celsius: temperature that all ohms hold at.
        rules: decision rules of the verdicts.
        deeds: what was done to it, oldest first.
        units: in the order in which they came.
        first_pass: units that passed at the first stay that counts, of all that have one.
        now: units that pass by their last stay, of the same.
        open_units: how many have no outcome: held, given up or under way.
        yields: by step, rule over several windings, and typed result.
        pareto: kinds of what was not as it should be, one a unit, at its first stay that counts.
        series: charts and capability of every measured step and of every rule over two windings.
        findings: what a reader should know first, a sentence each.
        subgroup: values in a subgroup of the charts of means; None where none were asked for.
        confidence: of all intervals.
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
    pareto: tuple[Bar, ...]
    series: tuple[Series, ...]
    findings: tuple[str, ...]
    subgroup: int | None
    confidence: float = CONFIDENCE


def batch_report(
    record: Record, name: str, *, purpose: Purpose | None = None, subgroup: int | None = None
) -> BatchReport:
    """Make the report of a batch.

    Args:
        record: of one bench or of many.
        name: of the batch, exactly.
        purpose: only what was measured for this; None: final stays where there are any, else the latest.
        subgroup: values in a subgroup, 2 to 25, for charts of means beside those of single values.

    Raises:
        InputImpossible: the record has no such batch, or a subgroup that cannot be.
        JournalUnusable: the record cannot be read.
    """
    if subgroup is not None and not 2 <= subgroup <= 25:
        raise InputImpossible(f"Subgroups have 2 to 25 values, not {subgroup}.", "Choose --subgroup anew.")
    found = units_of(record, name, purpose)
    if found is None:
        raise InputImpossible(
            f"The record has no batch {name}.", "`steadyohm batch` without a name lists those that it has."
        )
    return report_of(found, subgroup)


def report_of(found: BatchUnits, subgroup: int | None = None) -> BatchReport:
    """Make the report of units that were read."""
    counted = [(unit, unit.first) for unit in found.units]
    firsts = [stay for _, stay in counted if stay is not None]
    stays = [stay for unit in found.units for stay in unit.stays]
    values = [value for stay in stays for value in stay.values.values()]
    series = tuple(series_of(firsts, subgroup, CONFIDENCE))
    latest = found.deeds[-1] if found.deeds else None
    lines = tuple(_line(unit, stay) for unit, stay in counted)
    kinds: dict[str, int] = {}
    for line in lines:
        if line.kind:
            kinds[line.kind] = kinds.get(line.kind, 0) + 1
    return BatchReport(
        name=found.name,
        state=latest.state if latest else None,
        sheet=found.sheets[-1][0] if found.sheets else latest.sheet if latest else "",
        sheet_hashes=tuple(dict.fromkeys(each for _, each in found.sheets)),
        purpose=found.purpose,
        other_purposes=found.other_purposes,
        benches=_distinct(stay.bench for stay in stays),
        operators=_distinct(stay.operator for stay in stays),
        meters=_distinct(value.meter for value in values),
        expected=next((d.expected for d in reversed(found.deeds) if d.expected is not None), None),
        remark=found.deeds[0].remark if found.deeds else "",
        first_utc_s=min((stay.utc_s for stay in stays), default=None),
        last_utc_s=max((stay.utc_s for stay in stays), default=None),
        reference_celsius=values[-1].reference_celsius if values else None,
        rules=_distinct(value.rule for value in values),
        deeds=tuple(Deed(d.utc_s, d.deed, deed_words(d), bool(d.first_doubt)) for d in found.deeds),
        units=lines,
        first_pass=share_of(sum(stay.outcome in GOOD for stay in firsts), len(firsts), CONFIDENCE),
        now=_now(found, len(firsts)),
        open_units=len(found.units) - len(firsts),
        yields=tuple(_yields(firsts)),
        pareto=pareto(kinds),
        series=series,
        findings=findings_of(found, series),
        subgroup=subgroup,
    )


def _distinct(names: Iterator[str] | list[str]) -> tuple[str, ...]:
    return tuple(dict.fromkeys(name for name in names if name))


def _now(found: BatchUnits, count: int) -> Share:
    lasts = [unit.last for unit in found.units]
    return share_of(sum(stay is not None and stay.outcome in GOOD for stay in lasts), count, CONFIDENCE)


def _line(unit: Unit, first: Stay | None) -> UnitLine:
    last = unit.last
    shown = first or unit.stays[-1]
    kind, sentence = why(shown)
    return UnitLine(
        serial=unit.serial,
        utc_s=shown.utc_s,
        outcome=first.outcome if first else None,
        now=last.outcome if last else None,
        stays=len(unit.stays),
        why=sentence,
        kind=kind if first else "",
        spools=", ".join(dict.fromkeys(shown.spools.values())),
    )


def _yields(firsts: list[Stay]) -> Iterator[Yield]:
    """By step, by rule over several windings, by typed result; each in the order in which it first came."""
    words: dict[tuple[str, str], list[Outcome]] = {}
    for stay in firsts:
        for value in stay.values.values():
            words.setdefault(("step", value.step), []).append(value.outcome)
    for stay in firsts:
        for balance in stay.result.balances if stay.result else ():
            words.setdefault(("rule", balance.name), []).append(balance.outcome)
    for stay in firsts:
        for typed in judged(stay.typed).values():
            if typed.outcome is not None:
                words.setdefault(("typed", typed.name), []).append(typed.outcome)
    for (sort, name), outcomes in words.items():
        good = sum(outcome in GOOD for outcome in outcomes)
        yield Yield(name, sort, share_of(good, len(outcomes), CONFIDENCE))
