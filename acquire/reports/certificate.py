"""What a certificate states: the entries of the record that it rests on, and what was said at issue.

Everything on its pages is drawn from these and nothing else, by the visit model that every report stands on.
They have one spelling, so that they have one digest, and are compared with the record entry by entry. Not for
pages (certificate_document).
"""

from __future__ import annotations

import hashlib
import json
import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from typing import Any, Literal, NamedTuple

import msgspec

from acquire.errors import InputImpossible, JournalUnusable
from acquire.journal.entry import Entry
from acquire.journal.query import Query, Record
from acquire.records import CheckStandard, Evidence, LeadZero, Notice, Purpose, Verdict
from acquire.reports.document import Letterhead
from acquire.reports.lookback import Doubts
from acquire.reports.visits import Visit, evidence_of, judged_visit, record_of, visits_of
from acquire.unit_result import ended_s

FORM = 2
"""Version of these facts; those of form 1 are checked by `certificate_check`."""

SHORT = 8
"""Digits of digest and birth id that stand in a certificate's number."""

TRACE_POINTS = 48
"""Readings of a trace that are drawn; a plot of 4 cm shows no more."""

TOLD = frozenset(
    {"step.skipped", "step.again", "note", "order.taken", "unit.resumed", "pair.unclear", "temperature.typed"}
    | {"meter.hold", "meter.relative", "meter.battery", "meter.unstated"}
)
"""Notices of a unit that are deviations or remarks; wrong pins that were named and corrected are not."""

OF_THE_BENCH = frozenset({"check.overridden", "check.out_of_control", "calibration.due"})
"""Notices that name no unit and still bear on each one measured after them."""

DAY_S = 86_400.0


@dataclass(frozen=True, slots=True)
class MeterCalibration:
    """What a meter file says of its meter.

    Attributes:
        meter_hash: SHA-256 of the file; it must be that of a verdict to be worth anything.
        about: the file's line for people.
        due: first day past due, ISO 8601; empty where the file states none.
        certificate: number of the calibration certificate.
    """

    meter_hash: str
    about: str = ""
    due: str = ""
    certificate: str = ""


@dataclass(frozen=True, slots=True)
class Given:
    """What was said when the certificate was issued; nothing of it is on the record.

    Attributes:
        customer, received, condition, remark: in words, empty where not given.
        replaces: number of an earlier certificate that this one stands in for.
        issued_utc_s: whole seconds.
        as_of_utc_s: the record counts as it stood then; what came later is not in the facts.
        software: that drew it, name and version.
        calibrations: what the meter files given at issue say of the meters.
    """

    heading: Letterhead
    issued_utc_s: float
    as_of_utc_s: float
    software: str
    paper: Literal["A4", "Letter"] = "A4"
    customer: str = ""
    received: str = ""
    condition: str = ""
    remark: str = ""
    replaces: str = ""
    calibrations: tuple[MeterCalibration, ...] = ()


def certificate_number(result_id: str, digest: str) -> str:
    """Unique: journal and entry of the unit's result, and the beginning of the digest."""
    birth, _, seq = result_id.partition("-")
    return f"{birth[:SHORT]}-{seq}-{digest[:SHORT]}".upper()


class CertificateStep(NamedTuple):
    """One verdict of the visit: whether it decides its step, why it is doubtful today, what it rests on."""

    id: str
    verdict: Verdict
    counts: bool
    doubt: str
    evidence: Evidence
    trace_of: int


@dataclass(frozen=True, slots=True)
class Certificate:
    """All of it.

    Attributes:
        result_id: entry of the unit's result that it is about.
        entries: what it rests on, the unit's in the order of the record, then those of the bench.
        text: the one spelling, JSON in ASCII.
    """

    given: Given
    result_id: str
    entries: tuple[Entry, ...]
    text: str

    @property
    def digest(self) -> str:
        """SHA-256 of `text`, hexadecimal."""
        return hashlib.sha256(self.text.encode("ascii")).hexdigest()

    @property
    def number(self) -> str:
        """By `certificate_number`."""
        return certificate_number(self.result_id, self.digest)

    @property
    def visits(self) -> list[Visit]:
        """All visits of the unit; of the others than `visit` only beginning and end."""
        return visits_of(self.entries)

    @property
    def visit(self) -> Visit:
        """The visit that it is about. Raises InputImpossible where the facts hold none."""
        for visit in self.visits:
            if visit.outcome is not None and self.result_id in {each.id for each in visit.results}:
                return visit
        raise InputImpossible("The facts in this certificate are damaged: they hold no result.")

    def of_kind(self, kind: type[Any]) -> Iterator[Any]:
        """Records of one kind among the entries of the bench."""
        records = (entry.record for entry in self.entries if not entry.serial)
        yield from (record for record in records if isinstance(record, kind))

    def steps(self, visit: Visit) -> tuple[CertificateStep, ...]:
        """Every verdict of the visit, oldest first."""
        doubts = Doubts.among(self.of_kind(LeadZero))
        deciding, none = {each.id for each in visit.deciding().values()}, Evidence((), (), "")
        steps = []
        for v in visit.values:
            kept = (v.entry and v.entry.evidence) or {}
            readings = int(kept.get("trace_of", len(kept.get("trace", ()))))
            evidence = v.evidence or none
            steps.append(
                CertificateStep(v.id, v.verdict, v.id in deciding, doubts.why(v), evidence, readings)
            )
        return tuple(steps)

    def deviations(self, visit: Visit) -> list[Notice]:
        """What was left out, overridden or remarked, oldest first."""
        told = [*(each.record for each in visit.notices), *self.of_kind(Notice)]
        return sorted(told, key=lambda notice: notice.utc_s)


def certificate_of(
    record: Record, serial: str, given: Given, purpose: Purpose | None = None, result_id: str = ""
) -> Certificate:
    """Gather what a certificate of a unit rests on, from the record as it stood at issue.

    Args:
        record: where the unit was measured.
        serial: of the unit.
        given: what is not on the record.
        purpose: of the visit to certify; None: the latest that ended with an outcome.
        result_id: of the visit's result, where a certificate is gathered again.

    Raises:
        InputImpossible: the unit is not on the record, or has no such outcome.
        JournalUnusable: the record cannot be read.
    """
    own = [entry for entry in record.by_serial(serial) if entry.utc_s <= given.as_of_utc_s]
    visits = visits_of(own)
    if not visits:
        what = f"{serial} was never on a bench of this record."
        raise InputImpossible(what, "Check the serial: steadyohm history lists them.")
    if result_id:
        found = [v for v in visits if v.outcome is not None and result_id in {each.id for each in v.results}]
        if not found:
            raise InputImpossible(f"Entry {result_id} of {serial} is not in this journal.")
        visit = found[0]
    else:
        visit = judged_visit(visits, purpose)
    told = (each.id for each in visit.notices if each.record.code in TOLD)
    kept = {visit.id, *told, *visit.entry_ids()}
    kept |= {id_ for other in visits for id_ in (other.id, other.result_id)}
    entries = [_slim(entry) for entry in own if entry.id in kept]
    bench = _of_the_bench(record, visit, given.as_of_utc_s)
    return certificate_from(given, visit.result_id, [*entries, *bench])


def certificate_from(given: Given, result_id: str, entries: Sequence[Entry]) -> Certificate:
    """A certificate with its one spelling: JSON in ASCII, keys in order, no spaces."""
    names = ("id", "kind", "utc_s", "serial", "payload", "evidence")
    kept = [
        {name: value for name in names if (value := getattr(entry, name)) is not None} for entry in entries
    ]
    plain = {"form": FORM, "given": msgspec.to_builtins(given), "on_record": kept, "result_id": result_id}
    text = json.dumps(plain, sort_keys=True, separators=(",", ":"), allow_nan=False)
    return Certificate(given, result_id, tuple(entries), text.replace("<", "\\u003c"))  # for a page


def _slim(entry: Entry) -> Entry:
    """An entry with as much of its evidence as pages show."""
    evidence = evidence_of(entry)
    if evidence is None:
        return entry
    every = max(1, -(-len(evidence.trace) // TRACE_POINTS))
    thinned = evidence.trace[::-1][::every][::-1]  # the last one always among them
    kept = {
        "terms": [], "raw_hex": "", "trace_of": len(evidence.trace),
        "trace": [[round(at_s, 3), float(f"{ohm:.8g}")] for at_s, ohm in thinned],
        "temperature_source": evidence.temperature_source, "temperature_utc_s": evidence.temperature_utc_s,
        "lead_zero_utc_s": evidence.lead_zero_utc_s,
    }  # fmt: skip
    return Entry(entry.seq, entry.id, entry.kind, entry.utc_s, entry.serial, entry.payload, kept)


def _of_the_bench(record: Record, visit: Visit, as_of_utc_s: float) -> list[Entry]:
    """What bears on the visit without naming its unit.

    The latest check of each meter before its end, lead zeros
    that make its values doubtful, and troubles of the day that no check in control has ended.
    """
    end_s, birth, bench = ended_s(visit.results[-1].record), visit.id.partition("-")[0], visit.started.bench
    meters = {each.meter_id for each in visit.values}
    checks: dict[str, Entry] = {}
    in_control_s = [end_s - DAY_S]
    for entry in record.find(Query(kinds=("check_standard",), bench=bench, until_utc_s=end_s)):
        check = record_of(entry, CheckStandard)
        if check.meter_id in meters:
            checks[check.meter_id] = entry
    latest = [record_of(entry, CheckStandard) for entry in checks.values()]
    in_control_s += [check.utc_s for check in latest if check.in_control]
    since_s = min(max(in_control_s), end_s)
    found = record.find(Query(kinds=("notice",), since_utc_s=since_s, until_utc_s=end_s))
    notices = [
        entry for entry in found if entry.id.partition("-")[0] == birth and record_of(entry, Notice).code in
        OF_THE_BENCH and not entry.serial
    ]  # fmt: skip
    until_s = math.nextafter(as_of_utc_s, math.inf)
    zeros = record.find(Query(kinds=("lead_zero",), bench=bench, until_utc_s=until_s))
    moved = []
    for entry in zeros:
        doubts = Doubts.among([record_of(entry, LeadZero)])
        if doubts.zeros and any(doubts.why(value) for value in visit.values):
            moved.append(entry)
    return [*(checks[meter] for meter in sorted(checks)), *notices, *moved]


# ---------------------------------------------------------------- read back


def certificate_from_text(text: str) -> Certificate:
    """Read the facts back from a certificate. Raises InputImpossible where they are none, or unknown."""
    damaged = InputImpossible("The facts in this certificate are damaged.")
    try:
        plain = json.loads(text)
        form = plain["form"]
    except (ValueError, RecursionError, TypeError, LookupError) as error:
        raise damaged from error
    if form != FORM:
        what = "The facts in this certificate are of a form that is not known here."
        raise InputImpossible(what, "Check it with the version of the program that its last lines name.")
    try:
        given = msgspec.convert(plain["given"], Given)
        entries = tuple(
            Entry(int(each["id"].partition("-")[2]), evidence=each.pop("evidence", None), **each)
            for each in plain["on_record"]
        )
        if not all(isinstance(each.payload, dict) and isinstance(each.serial, str) for each in entries):
            raise damaged
        made = Certificate(given, str(plain["result_id"]), entries, text)
        text.encode("ascii")
        made.steps(made.visit)
    except (JournalUnusable, ValueError, RecursionError, TypeError, LookupError, AttributeError) as error:
        raise damaged from error
    return made
