"""All batches of a record, each in one line: where it stands and how far it is. Not for one batch (batch)."""

from __future__ import annotations

from dataclasses import dataclass

from acquire.journal.question import Question, Record
from acquire.records import Batch, BatchState, Outcome
from acquire.records.words import FAILING
from acquire.reports.batch import GOOD
from acquire.reports.visits import record_of
from acquire.words.faults import batch_doubt


@dataclass(frozen=True, slots=True)
class BatchLine:
    """One batch.

    Attributes:
        name: of the batch.
        state: where it stands; None for a name that was only written on units.
        sheet: of its units; empty where unknown.
        expected: how many it shall have, None where nobody said.
        units: how many have a result; passed: of those at their first one, nothing typed in against them.
        doubt: what speaks against its first unit, empty where nothing does.
        latest_utc_s: when it was last heard of; None where unknown.
    """

    name: str
    state: BatchState | None
    sheet: str
    expected: int | None
    units: int
    passed: int
    doubt: str
    latest_utc_s: float | None


def batches_of(record: Record) -> list[BatchLine]:
    """Every batch, the one that was heard of last first.

    Raises:
        JournalUnusable: the record cannot be read.
    """
    latest: dict[str, Batch] = {}
    for entry in record.find(Question(kinds=("batch",), with_evidence=False)):
        deed = record_of(entry)
        if isinstance(deed, Batch):
            latest[deed.batch] = deed
    names = ("batch", "serial", "outcome", "sheet", "utc_s")
    firsts: dict[str, dict[str, str]] = {}
    sheets: dict[str, str] = {}
    times = {name: deed.utc_s for name, deed in latest.items()}
    for batch, serial, outcome, sheet, utc_s in record.values(Question(kinds=("unit_result",)), names):
        if not batch:
            continue
        sheets[batch] = sheet
        times[batch] = max(utc_s, times.get(batch, utc_s))
        if outcome is not None:
            firsts.setdefault(batch, {}).setdefault(serial, outcome)
    typed = Question(kinds=("typed_result",))
    latest_of = {
        (batch, serial, name): outcome
        for batch, serial, name, outcome in record.values(typed, ("batch", "serial", "name", "outcome"))
    }
    for (batch, serial, _), outcome in latest_of.items():
        if outcome in FAILING and serial in firsts.get(batch, {}):
            firsts[batch][serial] = outcome
    lines = [
        _line(name, latest.get(name), firsts.get(name, {}), sheets.get(name, ""), times) for name in times
    ]
    return sorted(lines, key=lambda line: -(line.latest_utc_s or 0.0))


def _line(
    name: str, deed: Batch | None, firsts: dict[str, str], sheet: str, times: dict[str, float]
) -> BatchLine:
    return BatchLine(
        name,
        deed.state if deed else None,
        deed.sheet if deed else sheet,
        deed.expected if deed else None,
        len(firsts),
        sum(Outcome(outcome) in GOOD for outcome in firsts.values()),
        batch_doubt(deed) if deed else "",
        times.get(name),
    )
