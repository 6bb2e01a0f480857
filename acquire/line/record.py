"""The line's database as a `Record`: the same questions as to a bench's journal, answered for all benches.

Entries of one journal keep their order; those of different benches are told by time. Reads only, with a
server-side cursor, so that memory does not grow with the answer. Not for writing (store).
"""

from __future__ import annotations

import itertools
import json
import re
from collections import deque
from collections.abc import Iterator, Sequence
from typing import Any

import psycopg
from psycopg.types.json import set_json_loads

from acquire.errors import JournalUnusable
from acquire.journal.entry import Entry, storable
from acquire.journal.query import Query, Record, conditions, evidence_of, explains
from acquire.journal.upgrade import upgraded
from acquire.line.database import complete, shown, why
from acquire.line.migrating import MIGRATIONS
from acquire.outlets.payload import HEAD, OPTIONAL, SAID
from acquire.records import Evidence

ID = re.compile(r"([0-9a-f]{16})-([1-9][0-9]{0,17})")

AT_ONCE = 2000
"""Rows fetched in one go."""

NOT_OF_THE_RECORD = frozenset({*HEAD, *OPTIONAL})
"""Keys of a published message that stand beside the record's own."""

NOT_OF_EVIDENCE = NOT_OF_THE_RECORD | {"utc_s"}

COLUMNS = {
    **{name: name for name in ("serial", "batch", "sheet", "kind", "outcome")},
    "meter_id": "meter",
    "bench": "payload ->> 'bench'",
    "utc_s": "utc {} to_timestamp(?)",
}
"""Where a query's fields are, for `conditions`."""

_NUMBERS = itertools.count(1)


class LineRecord(Record):
    """The record of all benches, opened for reading."""

    def __init__(self, address: str) -> None:
        """Connect.

        Args:
            address: postgresql://…, with the password if it needs one and the environment holds none.

        Raises:
            JournalUnusable: it cannot be reached, or holds no line's record.
        """
        self._address = address
        try:
            self._connection = psycopg.connect(
                complete(address), connect_timeout=5, application_name="steadyohm", options="-c TimeZone=UTC"
            )
        except psycopg.Error as error:
            raise self._unusable(error) from error
        try:
            self._connection.read_only = True
            self._connection.isolation_level = psycopg.IsolationLevel.REPEATABLE_READ
            set_json_loads(json.loads, self._connection)
            self._recognise()
        except BaseException:
            self._connection.close()
            raise

    def _recognise(self) -> None:
        found = self._one("SELECT to_regclass('steadyohm.entry') IS NOT NULL")
        if not found or not found[0]:
            raise JournalUnusable(
                f"The database {shown(self._address)} holds no record of a line.",
                "Has a collector ever worked with it?",
            )
        made = self._one("SELECT max(number) FROM steadyohm.migration")
        if not made or made[0] < len(MIGRATIONS):
            what = f"The database {shown(self._address)} was made by an earlier version of this program."
            raise JournalUnusable(what, "Run once: steadyohm collect COLLECTOR.toml --migrate.")

    def close(self) -> None:
        """Close the connection."""
        self._connection.close()

    # ------------------------------------------------------------------ the interface

    def find(self, query: Query) -> Iterator[Entry]:
        """As `Record.find`."""
        evidence = "evidence" if query.with_evidence else "NULL"
        join = (
            "LEFT JOIN steadyohm.evidence e ON (e.journal, e.seq, e.bench, e.utc) ="
            " (t.journal, t.seq, t.bench, t.utc)"
            if query.with_evidence
            else ""
        )
        rows = self._asked(query, f"t.journal, t.seq, t.kind, t.payload, {evidence}", join)
        for journal, seq, kind, payload, kept in rows:
            yield _entry(journal, seq, kind, payload, kept)

    def payloads(self, query: Query) -> Iterator[tuple[str, str, bytes]]:
        """As `Record.payloads`."""
        payload = "convert_to(t.payload::text, 'UTF8')"
        yield from self._asked(query, f"t.journal || '-' || t.seq, t.kind, {payload}", "")

    def batches(self) -> list[tuple[str, int]]:
        """As `Record.batches`."""
        sql = (
            "SELECT batch, count(*) FILTER (WHERE kind = 'verdict') FROM steadyohm.entry"
            " WHERE kind IN ('verdict', 'unit_started') GROUP BY batch ORDER BY max(utc) DESC, max(seq) DESC"
        )
        return [(str(name), int(count)) for name, count in self._rows(sql, [])]

    def evidence(self, entry_id: str) -> Evidence | None:
        """As `Record.evidence`."""
        found = ID.fullmatch(entry_id)
        if not found:
            return None
        sql = "SELECT evidence FROM steadyohm.evidence WHERE journal = %s AND seq = %s LIMIT 1"
        row = self._one(sql, (found[1], int(found[2])))
        return None if row is None else evidence_of(entry_id, row[0])

    # ------------------------------------------------------------------ asking

    def _asked(self, query: Query, columns: str, join: str) -> Iterator[tuple[Any, ...]]:
        """Rows in the order that `Record` promises; the last `limit` of them, by their time.

        Within a journal the number decides, be its clock set back as it may: hence the highest time so far.
        """
        where, values = _where(query)
        wanted = query.diagnosis
        limit = None if query.limit is None else max(query.limit, 0)
        source = f"SELECT * FROM steadyohm.entry t {where}"  # noqa: S608  (our own words; values are bound)
        if limit is not None and wanted is None:
            source += " ORDER BY t.utc DESC, t.bench DESC, t.journal DESC, t.seq DESC LIMIT %s"
            values.append(limit)
        shown_columns = columns if wanted is None else f"t.payload, {columns}"
        sql = (
            f"SELECT {shown_columns} FROM (SELECT *, max(utc) OVER (PARTITION BY bench, journal ORDER BY seq)"  # noqa: S608
            f" AS at FROM ({source}) AS found) AS t {join} ORDER BY t.at, t.bench, t.journal, t.seq"
        )
        rows = self._rows(sql, values)
        if wanted is None:
            return rows
        fitting = (row[1:] for row in rows if explains(row[0], storable(wanted).casefold()))
        return fitting if limit is None else iter(deque(fitting, limit))

    def _rows(self, sql: str, values: Sequence[Any]) -> Iterator[tuple[Any, ...]]:
        try:
            with self._connection.cursor(name=f"rows_{next(_NUMBERS)}") as cursor:
                cursor.itersize = AT_ONCE
                cursor.execute(sql.encode(), values)
                yield from cursor
        except psycopg.Error as error:
            raise self._unusable(error) from error

    def _one(self, sql: str, values: Sequence[Any] = ()) -> tuple[Any, ...] | None:
        try:
            return self._connection.execute(sql.encode(), values).fetchone()
        except psycopg.Error as error:
            raise self._unusable(error) from error

    def _unusable(self, error: psycopg.Error) -> JournalUnusable:
        return JournalUnusable(
            f"The database {shown(self._address)} cannot be read: {why(self._address, error)}."
        )


def _entry(journal: str, seq: int, kind: str, payload: Any, kept: Any) -> Entry:
    """One row as the journal would give it."""
    plain = {key: value for key, value in payload.items() if key not in NOT_OF_THE_RECORD}
    said = SAID.get(kind, {})
    record = {key: value for key, value in upgraded(kind, plain).items() if key not in said}
    evidence = None
    if kept is not None:
        evidence = {key: value for key, value in kept.items() if key not in NOT_OF_EVIDENCE}
    utc_s, serial = float(record["utc_s"]), str(record.get("serial", ""))
    return Entry(seq, f"{journal}-{seq}", kind, utc_s, serial, record, evidence)


def _where(query: Query) -> tuple[str, list[Any]]:
    """The query as a condition of SQL with the values to bind."""
    parts, values = conditions(query, COLUMNS)
    if query.bench is not None:  # the column stands in an index, the payload decides
        parts.append("bench = ?")
        values.append(storable(query.bench))
    if query.kinds and "verdict" not in query.kinds:  # the words of the index that holds only these
        parts.append("kind <> 'verdict'")
    bound = [each.replace("\x00", "\ufffd") if isinstance(each, str) else each for each in values]
    return ("WHERE " + " AND ".join(parts) if parts else "").replace("?", "%s"), bound
