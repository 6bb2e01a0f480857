"""The facts of a certificate, gathered from the record: one visit of one unit, with all that bears on it.

The same record gives the same facts on every machine; that is what a certificate is checked against. Not for
how they are drawn.
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from datetime import UTC, datetime
from typing import Any

from acquire.errors import InputImpossible
from acquire.journal.entry import Entry
from acquire.journal.question import Question, Record
from acquire.records import (
    CheckStandard,
    Evidence,
    Notice,
    Purpose,
    TypedResult,
    UnitStarted,
    UntestedKind,
    Verdict,
)
from acquire.reports.certificate_facts import (
    FORM,
    CertificateFacts,
    Check,
    Given,
    Measured,
    OtherVisit,
    Step,
    Typed,
)
from acquire.reports.doubtful import Doubts
from acquire.reports.visits import OnRecord, Visit, record_of, visits_on
from acquire.unit_result import ended_s
from acquire.words.beside import check_text, typed_reason
from acquire.words.faults import sentence
from acquire.words.notices import said
from acquire.words.units import findings_words, result_words, untested_words
from acquire.words.verdicts import reason

TRACE_POINTS = 48
"""Readings of a trace that are drawn; a plot of 4 cm shows no more."""

TOLD = frozenset(
    {
        "step.skipped",
        "step.again",
        "note",
        "order.taken",
        "unit.resumed",
        "pair.unclear",
        "temperature.typed",
        "meter.hold",
        "meter.relative",
        "meter.battery",
        "meter.unstated",
    }
)
"""Notices of a unit that are deviations or remarks; wrong pins that were named and corrected are not."""

OF_THE_BENCH = frozenset({"check.overridden", "check.out_of_control", "calibration.due"})
"""Notices that name no unit and still bear on each one measured after them."""

DAY_S = 86_400.0


@dataclass(frozen=True, slots=True)
class AsOf:
    """A record as it stood at a certain time: what came later is left out.

    Attributes:
        record: as it is now.
        until_utc_s: the last moment that counts.
    """

    record: Record
    until_utc_s: float

    def find(self, question: Question) -> Iterator[Entry]:
        """As `Record.find`."""
        return self.record.find(self._earlier(question))

    def values(self, question: Question, names: Sequence[str]) -> Iterator[tuple[Any, ...]]:
        """As `Record.values`."""
        return self.record.values(self._earlier(question), names)

    def by_serial(self, serial: str) -> list[Entry]:
        """As `Record.by_serial`."""
        return [entry for entry in self.record.by_serial(serial) if entry.utc_s <= self.until_utc_s]

    def batches(self) -> list[tuple[str, int]]:
        """As `Record.batches`, of today."""
        return self.record.batches()

    def evidence(self, entry_id: str) -> Evidence | None:
        """As `Record.evidence`."""
        return self.record.evidence(entry_id)

    def _earlier(self, question: Question) -> Question:
        end_s = math.nextafter(self.until_utc_s, math.inf)
        asked_s = question.until_utc_s
        return replace(question, until_utc_s=end_s if asked_s is None else min(asked_s, end_s))


def visit_for(visits: Sequence[Visit], purpose: Purpose | None = None) -> Visit:
    """The visit that a certificate is about: the latest with an outcome.

    Args:
        visits: of one unit, at least one.
        purpose: only visits for this; None: any.

    Raises:
        InputImpossible: no visit ended with an outcome.
    """
    of_purpose = [visit for visit in visits if purpose is None or visit.purpose is purpose]
    judged = [visit for visit in of_purpose if visit.judged]
    if judged:
        return judged[-1]
    serial = visits[0].started.record.serial
    if not of_purpose:
        raise InputImpossible(f"{serial} was never measured for purpose {purpose}.")
    last = of_purpose[-1].result
    why = "it is still on the bench" if last is None else result_words(last.record)
    raise InputImpossible(f"{serial} has no verdict to certify: {why}.", "Measure it to the end first.")


def facts_of(record: Record, serial: str, given: Given, purpose: Purpose | None = None) -> CertificateFacts:
    """Gather what a certificate of a unit states.

    Args:
        record: where the unit was measured.
        serial: of the unit.
        given: what is not on the record.
        purpose: of the visit to certify; None: the latest that ended with an outcome.

    Raises:
        InputImpossible: the unit is not on the record, or has no outcome.
        JournalUnusable: the record cannot be read.
    """
    then = AsOf(record, given.as_of_utc_s)
    visits = visits_on(then, serial)
    return CertificateFacts(FORM, given, measured(then, visits, visit_for(visits, purpose)))


def measured(record: Record, visits: Sequence[Visit], visit: Visit) -> Measured:
    """What the record says of one visit.

    Args:
        record: that the visits are from.
        visits: of the unit, all of them.
        visit: one of them, with an outcome.
    """
    assert visit.result is not None  # noqa: S101  (chosen as one that ended)
    started, result = visit.started.record, visit.result.record
    assert result.outcome is not None  # noqa: S101  (likewise)
    doubts = Doubts.of(record)
    deciding = {each.id for each in visit.deciding().values()}
    return Measured(
        serial=result.serial,
        result_id=visit.result.id,
        sheet=result.sheet,
        sheet_hash=result.sheet_hash,
        purpose=result.purpose,
        bench=result.bench,
        batch=result.batch,
        operator=result.operator,
        spools=_spools(started),
        started_utc_s=result.started_utc_s,
        ended_utc_s=ended_s(result),
        outcome=result.outcome,
        steps_passed=result.steps_passed,
        steps_total=result.steps_total,
        findings=findings_words(result),
        diagnosis=tuple((each.probability, sentence(each)) for each in result.hypotheses),
        not_tested=tuple(
            untested_words(each) for each in result.untested if each.kind is not UntestedKind.TURNS
        ),
        steps=tuple(_step(each, doubts, counts=each.id in deciding) for each in visit.verdicts),
        typed=tuple(_typed(each) for each in visit.typed),
        checks=_checks(record, visit),
        deviations=tuple(_deviations(record, visit)),
        other_visits=tuple(_others(visits, visit)),
    )


def _spools(started: UnitStarted) -> tuple[str, ...]:
    return tuple(f"{each.winding}: {each.spool}" for each in started.spools)


def _step(each: OnRecord[Verdict], doubts: Doubts, *, counts: bool) -> Step:
    verdict, evidence = each.record, each.evidence
    names = set(Step.__slots__) & set(Verdict.__slots__) - {"counts"}
    trace = () if evidence is None else evidence.trace
    return Step(
        **{name: getattr(verdict, name) for name in names},
        id=each.id,
        counts=counts,
        temperature_source="" if evidence is None else evidence.temperature_source,
        temperature_utc_s=None if evidence is None else evidence.temperature_utc_s,
        lead_zero_utc_s=None if evidence is None else evidence.lead_zero_utc_s,
        reason=reason(verdict),
        doubt=doubts.why(verdict),
        trace=thinned(trace),
        trace_of=len(trace),
    )


def thinned(trace: tuple[tuple[float, float], ...]) -> tuple[tuple[float, float], ...]:
    """Every n-th reading of a long trace, its last one always among them."""
    every = -(-len(trace) // TRACE_POINTS) if trace else 1
    kept = trace[::-1][::every][::-1]
    return tuple((round(at_s, 3), float(f"{ohm:.8g}")) for at_s, ohm in kept)


def _typed(each: OnRecord[TypedResult]) -> Typed:
    result = each.record
    return Typed(
        each.id,
        result.name,
        result.sort.value,
        result.typed,
        result.instrument,
        result.outcome,
        result.stated,
        typed_reason(result),
        result.operator,
        result.utc_s,
        result.shows_turns,
    )


def _checks(record: Record, visit: Visit) -> tuple[Check, ...]:
    """The latest check standard before the end of the visit, of each meter that gave a verdict."""
    meters = {each.record.meter_id for each in visit.verdicts}
    until_s = ended_s(visit.result.record) if visit.result else visit.started.record.utc_s
    question = Question(kinds=("check_standard",), bench=visit.started.record.bench, until_utc_s=until_s)
    latest: dict[str, CheckStandard] = {}
    for entry in record.find(question):
        check = record_of(entry)
        if isinstance(check, CheckStandard) and check.meter_id in meters:
            latest[check.meter_id] = check
    names = tuple(set(Check.__slots__) & set(CheckStandard.__slots__))
    return tuple(
        Check(**{name: getattr(latest[meter], name) for name in names}, text=check_text(latest[meter]))
        for meter in sorted(latest)
    )


def _deviations(record: Record, visit: Visit) -> list[str]:
    """What was left out, overridden or remarked, oldest first."""
    told = [each.record for each in visit.notices if each.record.code in TOLD]
    told += _of_the_bench(record, visit)
    told.sort(key=lambda notice: notice.utc_s)
    return [f"{_clock(notice.utc_s)}: {said(notice)}" for notice in told]


def _of_the_bench(record: Record, visit: Visit) -> list[Notice]:
    """The bench's own troubles of the day up to the unit's end that no check in control has ended."""
    if visit.result is None:
        return []
    end_s, birth = ended_s(visit.result.record), visit.result.id.partition("-")[0]
    last_good_s = max(
        (check.utc_s for check in _checks(record, visit) if check.in_control), default=end_s - DAY_S
    )
    since_s = max(end_s - DAY_S, min(last_good_s, end_s))
    question = Question(kinds=("notice",), since_utc_s=since_s, until_utc_s=end_s)
    found = [record_of(entry) for entry in record.find(question) if entry.id.partition("-")[0] == birth]
    return [each for each in found if isinstance(each, Notice) and each.code in OF_THE_BENCH]


def _clock(utc_s: float) -> str:
    return datetime.fromtimestamp(utc_s, UTC).strftime("%Y-%m-%d %H:%M:%S")


def _others(visits: Sequence[Visit], visit: Visit) -> list[OtherVisit]:
    at = visits.index(visit)
    others = []
    for number, other in enumerate(visits):
        if number == at:
            continue
        if other.result is None:
            ended, entry = "no result on record", other.started.id
        else:
            ended, entry = result_words(other.result.record), other.result.id
        others.append(OtherVisit(entry, other.purpose, other.started.record.utc_s, ended, number > at))
    return others
