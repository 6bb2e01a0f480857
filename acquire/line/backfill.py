"""Brings a journal with its archives into the line's database, each entry once: what was before the line.

A bench of a line sends what its journal holds; what had gone into the archive before the line was there, or
stands in the journal of a machine that is gone, comes this way. The same checks, the same tables and the same
ids as from a collector, so that copies do no harm. It says nothing of where a journal is complete: that stays
with the bench's own messages. Not for a bench at work (acquire.outlets.mqtt_outlet).
"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from contextlib import closing
from dataclasses import dataclass, field
from itertools import islice
from pathlib import Path

from acquire.journal.entry import Entry
from acquire.journal.history import JournalReader
from acquire.journal.query import Query
from acquire.line.incoming import Rejected, Row, read
from acquire.line.store import Store
from acquire.outlets.payload import as_json, evidence_payload_of, payload_of
from acquire.outlets.topics import EVIDENCE, LINE_TOPIC_OF_KIND, Topics

AT_ONCE = 500
"""Entries in one transaction."""

MOST_NAMED = 20
"""Entries that are no records and are named one by one; all of one journal tend to have the same fault."""


@dataclass(slots=True)
class Brought:
    """What came of it.

    Attributes:
        entries: in the journal and its archives.
        new: rows that the database had not yet, an entry's evidence being one of its own.
        there: rows that it had.
        refused: entries or evidence that are no records.
        reasons: of the first of these, by id.
    """

    entries: int = 0
    new: int = 0
    there: int = 0
    refused: int = 0
    reasons: dict[str, str] = field(default_factory=dict)


async def bring(
    folder: Path, store: Store, *, with_evidence: bool, told: Callable[[Brought], object] = lambda _: None
) -> Brought:
    """Bring everything that a journal holds into an open store; the same call again brings nothing twice.

    Args:
        folder: of a journal, its archives included; or one file of either kind.
        store: open.
        with_evidence: bring what verdicts rest on, too.
        told: called after each batch.

    Raises:
        JournalUnusable: it cannot be read.
        DatabaseAway: a part is written; begin again.
    """
    done = Brought()
    query = Query(with_evidence=with_evidence)
    with JournalReader(folder) as journal, closing(journal.find(query)) as found:
        names: dict[str, str] = {}
        while entries := list(islice(found, AT_ONCE)):
            rows: list[Row] = []
            for entry in entries:
                birth = entry.id.partition("-")[0]
                if birth not in names:
                    names[birth] = await store.bench_of(birth) or journal.bench
                rows += _taken(_rows(entry, names[birth]), entry.id, done)
            before = store.written, store.copies, store.rejected
            await store.write(rows)
            done.entries += len(entries)
            done.new += store.written - before[0]
            done.there += store.copies - before[1]
            done.refused += store.rejected - before[2]
            told(done)
    return done


def _rows(entry: Entry, bench: str) -> Iterator[Row | None]:
    """An entry as the bench that recorded it would have sent it; notices name none."""
    topics = Topics(str(entry.payload.get("bench") or bench))
    yield read(topics.of(LINE_TOPIC_OF_KIND.get(entry.kind, entry.kind)), as_json(payload_of(entry)))
    if entry.evidence is not None:
        yield read(topics.of(EVIDENCE), as_json(evidence_payload_of(entry)))


def _taken(rows: Iterator[Row | None], entry_id: str, done: Brought) -> Iterator[Row]:
    """Those that are records; the others are told to whoever brings them, who has the journal."""
    for row in rows:
        if isinstance(row, Rejected):
            done.refused += 1
            if len(done.reasons) < MOST_NAMED:
                done.reasons[entry_id] = row.reason
        elif row is not None:
            yield row
