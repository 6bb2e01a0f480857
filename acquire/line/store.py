"""The line's database as a collector sees it: batches in, each entry once; how far each journal is complete.

One batch is one transaction: COPY into a temporary table, then INSERT of what is not there yet. Batches of
several collectors come in any order, so each only notes which stretches of a journal it has brought; one
collector at a time joins them. Not for reading (record), nor for when to write (collecting).
"""

from __future__ import annotations

import contextlib
import hashlib
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass, field, replace
from datetime import date, datetime
from typing import Any, Self

import psycopg
import structlog

from acquire.clock import Clock
from acquire.line import sql
from acquire.line.database import away, connect
from acquire.line.incoming import Arrived, Known, Rejected, Row, Stretch, complete_upto, joined
from acquire.line.migrating import EARLIEST, make_months, migrate, months_ahead
from acquire.outlets.topics import EVIDENCE

AT_ONCE = 20_000
"""Arrivals that are counted in one go."""


@dataclass(frozen=True, slots=True)
class Complete:
    """A journal of which the database holds everything up to an entry."""

    bench: str
    journal: str
    seq: int


log = structlog.get_logger()

COLUMNS = "bench, journal, seq, utc, kind, serial, batch, sheet, meter, outcome, payload"
EVIDENCE_COLUMNS = "bench, journal, seq, utc, evidence"

TYPES = {
    **dict.fromkeys(("after", "upto", "kept"), "bigint"),
    **dict.fromkeys(("digest", "payload"), "bytea"),
    "latest": "timestamptz",
}
"""Of the columns that rows are inserted into; any other is text."""

Cells = tuple[Any, ...]

REJECTED_BYTES = 4096
REJECTED_KEPT = 10_000
"""Rejected messages are for people; neither their size nor their number may fill a disk."""


@dataclass(slots=True)
class Store:
    """An open connection.

    Attributes:
        address: of the database, with its password; never shown.
        clock: for the months that are made ahead.
        written: entries that were new; copies: that were there already; rejected: that are no record.
    """

    address: str = field(repr=False)
    clock: Clock
    written: int = 0
    copies: int = 0
    rejected: int = 0
    _connection: psycopg.AsyncConnection | None = None
    _months: set[date] = field(default_factory=set)

    @property
    def is_open(self) -> bool:
        """Whether there is a connection, as far as is known."""
        return self._connection is not None and not self._connection.closed

    async def open(self, *, may_migrate: bool = True) -> Self:
        """Connect, and bring the database up to date if that is needed and allowed.

        Raises:
            DatabaseAway: it cannot be reached.
            DatabaseUnfit: it has not the tables of this version.
        """
        try:
            connection = await connect(self.address)
        except psycopg.Error as error:
            raise away(self.address, error) from error
        try:
            if await migrate(connection, may=may_migrate):
                log.info("line.migrated")
            await connection.execute(sql("temporary"))
            self._months = months_ahead(self.clock.utc_s())
            await make_months(connection, self._months)
        except psycopg.Error as error:
            await connection.close()
            raise away(self.address, error) from error
        except BaseException:
            await connection.close()
            raise
        self._connection = connection
        return self

    async def close(self) -> None:
        """Close; what was not committed is not written."""
        connection, self._connection = self._connection, None
        if connection is not None:
            await connection.close()

    # ------------------------------------------------------------------ batches

    async def write(self, messages: Sequence[Row]) -> None:
        """Commit messages, all of them; those that the database does not take as rejected ones.

        Raises:
            DatabaseAway: nothing or a part is written; the same call may be made again.
        """
        with self._told_as_away():
            await self._write(messages)

    @contextlib.contextmanager
    def _told_as_away(self) -> Iterator[None]:
        """What the database says against something, in a sentence."""
        try:
            yield
        except psycopg.Error as error:
            raise away(self.address, error) from error

    async def _write(self, messages: Sequence[Row]) -> None:
        """As `write`; halves of a batch that holds something impossible, until that stands alone."""
        try:
            await self._transaction(messages)
        except (psycopg.DataError, psycopg.IntegrityError) as error:
            if len(messages) > 1:
                half = len(messages) // 2
                await self._write(messages[:half])
                await self._write(messages[half:])
            elif isinstance(alone := messages[0], Arrived):
                why = str(error).partition("\n")[0]
                reason = f"The database does not take it: {why}."
                raw = alone.text.encode()
                place = (alone.bench, alone.journal, alone.stretch)
                await self._write([Rejected(alone.kind, raw, reason, *place)])
            elif isinstance(alone, Rejected) and alone.stretch is not None:
                await self._write([replace(alone, stretch=None)])  # its place is what cannot be written
            else:
                raise

    async def set_aside_unreadable(self) -> int:
        """Move entries that hold a number no view can cast to the rejected ones; gives how many.

        Versions before this one let them in. Reads all entries, so it may take a while.

        Raises:
            DatabaseAway: nothing is moved.
        """
        with self._told_as_away():
            async with self._use().transaction():
                await self._use().execute("SET LOCAL statement_timeout = 0")
                found = await self._use().execute(sql("set-aside"))
        return found.rowcount

    async def _transaction(self, messages: Sequence[Row]) -> None:
        connection = self._use()
        arrived = [m for m in messages if isinstance(m, Arrived)]
        await self._make_months(arrived)
        entries = [m for m in arrived if m.kind != EVIDENCE]
        evidence = [m for m in arrived if m.kind == EVIDENCE]
        refused = [m for m in messages if isinstance(m, Rejected)]
        async with connection.transaction():
            new = 0
            if entries:
                new += await _copied(connection, "entry", "arriving", COLUMNS, map(_entry_row, entries))
            if evidence:
                rows = map(_evidence_row, evidence)
                new += await _copied(connection, "evidence", "arriving_evidence", EVIDENCE_COLUMNS, rows)
            await _note_arrivals(connection, messages)
            await _know(connection, {m for m in messages if isinstance(m, Known)})
            if refused:
                await _keep_rejected(connection, refused)
        self.written += new
        self.copies += len(arrived) - new
        self.rejected += len(refused)

    async def _make_months(self, arrived: Iterable[Arrived]) -> None:
        """Partitions for what came, apart from times that are a clock's fault."""
        ahead = months_ahead(self.clock.utc_s())
        wanted = {m.month for m in arrived} - self._months
        wanted = {month for month in wanted if EARLIEST <= month <= max(ahead)} | (ahead - self._months)
        if wanted:
            await make_months(self._use(), wanted)
            self._months |= wanted

    async def bench_of(self, journal: str) -> str:
        """By which name the bench of a journal, by its birth id, has sent to this line; empty if it has not.

        Raises:
            DatabaseAway: it cannot be read.
        """
        sql = "SELECT bench FROM steadyohm.journal WHERE journal = %s ORDER BY latest DESC NULLS LAST LIMIT 1"
        with self._told_as_away():
            row = await (await self._use().execute(sql, (journal,))).fetchone()
        return str(row[0]) if row else ""

    def _use(self) -> psycopg.AsyncConnection:
        if self._connection is None or self._connection.closed:
            raise psycopg.OperationalError("the connection is closed")
        return self._connection

    # ------------------------------------------------------------------ what is complete

    async def take_turn(self) -> bool:
        """Whether this collector is the one that counts arrivals; one of all holds that place."""
        with self._told_as_away():
            found = await self._use().execute("SELECT pg_try_advisory_lock(1398358104, 3)")
            row = await found.fetchone()
        return bool(row and row[0])

    async def count_arrivals(self) -> list[Complete]:
        """Take in what has arrived: it becomes numbers of `journal`; what is behind a gap stays, joined.

        Call it only with the turn taken.

        Returns:
            The journals that are complete further than before, or new.

        Raises:
            DatabaseAway: nothing has changed.
        """
        with self._told_as_away():
            async with self._use().transaction():
                return await self._count_arrivals(self._use())

    async def _count_arrivals(self, connection: psycopg.AsyncConnection) -> list[Complete]:
        arrived = "SELECT number, bench, journal, after, upto, latest FROM steadyohm.arrival"
        found = await connection.execute(f"{arrived} ORDER BY number LIMIT {AT_ONCE}".encode())
        arrivals: dict[tuple[str, str], list[tuple[int, Stretch, datetime | None]]] = {}
        for number, bench, journal, after, upto, latest in await found.fetchall():
            arrivals.setdefault((bench, journal), []).append((number, Stretch(after, upto), latest))
        if not arrivals:
            return []
        found = await connection.execute("SELECT bench, journal, kept FROM steadyohm.journal")
        kept = {(bench, journal): upto for bench, journal, upto in await found.fetchall()}
        done, rows, waiting, news = list[int](), list[Cells](), list[Cells](), list[Complete]()
        for at, came in arrivals.items():
            now, behind = complete_upto(kept.get(at, 0), [stretch for _, stretch, _ in came])
            latest = max((time for _, _, time in came if time is not None), default=None)
            if len(behind) < len(came) or at not in kept:
                done += [number for number, _, _ in came]
                waiting += [(*at, stretch.after, stretch.upto) for stretch in behind]
                rows.append((*at, now, latest))
            if now > kept.get(at, -1):
                news.append(Complete(*at, now // 2))
        further = (
            "(bench, journal) DO UPDATE SET kept = greatest(j.kept, excluded.kept),"
            " latest = greatest(j.latest, excluded.latest)"
        )
        await _insert(connection, "journal AS j", ("bench", "journal", "kept", "latest"), rows, further)
        await connection.execute("DELETE FROM steadyohm.arrival WHERE number = ANY(%s)", (done,))
        await _insert(connection, "arrival", ("bench", "journal", "after", "upto"), waiting)
        return news

    async def complete(self, part: int, parts: int) -> list[Complete]:
        """A part of all journals, and up to where each is complete.

        Raises:
            DatabaseAway: it cannot be read.
        """
        with self._told_as_away():
            found = await self._use().execute(
                "SELECT bench, journal, kept FROM steadyohm.journal WHERE abs(hashtext(bench) %% %s) = %s",
                (parts, part),
            )
            return [Complete(bench, journal, kept // 2) for bench, journal, kept in await found.fetchall()]


def _entry_row(m: Arrived) -> Cells:
    names = (m.serial, m.batch, m.sheet, m.meter, m.outcome, m.text)
    return (m.bench, m.journal, m.seq, m.utc, m.kind, *names)


def _evidence_row(m: Arrived) -> Cells:
    return (m.bench, m.journal, m.seq, m.utc, m.text)


async def _copied(
    connection: psycopg.AsyncConnection,
    table: str,
    by_way_of: str,
    columns: str,
    rows: Iterable[Cells],
) -> int:
    """Bring rows into a table by way of a temporary one; gives how many were new."""
    async with (
        connection.cursor() as cursor,
        cursor.copy(f"COPY pg_temp.{by_way_of} ({columns}) FROM STDIN".encode()) as copy,
    ):
        for row in rows:
            await copy.write_row(row)
    # In the order of the key: two collectors with the same entries then wait in one direction only.
    done = await connection.execute(
        f"INSERT INTO steadyohm.{table} ({columns}) SELECT {columns} FROM pg_temp.{by_way_of}"  # noqa: S608
        " ORDER BY journal, seq, bench, utc ON CONFLICT DO NOTHING".encode()  # our own names
    )
    return done.rowcount


async def _insert(
    connection: psycopg.AsyncConnection,
    table: str,
    columns: Sequence[str],
    rows: Sequence[Cells],
    on_conflict: str = "DO NOTHING",
) -> None:
    """Insert rows in one statement; none is nothing to do."""
    if not rows:
        return
    arrays = ", ".join(f"%s::{TYPES.get(column, 'text')}[]" for column in columns)
    statement = (
        f"INSERT INTO steadyohm.{table} ({', '.join(columns)}) SELECT * FROM unnest({arrays})"  # noqa: S608
        f" ON CONFLICT {on_conflict}"
    )
    await connection.execute(statement.encode(), [list(cells) for cells in zip(*rows, strict=True)])


async def _note_arrivals(connection: psycopg.AsyncConnection, messages: Sequence[Row]) -> None:
    """Note the stretches of journals that this batch has brought."""
    found: dict[tuple[str, str], list[Stretch]] = {}
    latest: dict[tuple[str, str], datetime] = {}
    for m in messages:
        if isinstance(m, Known):
            continue
        at = (m.bench, m.journal)
        if m.stretch is not None:
            found.setdefault(at, []).append(m.stretch)
        if isinstance(m, Arrived):
            latest[at] = max(latest.get(at, m.utc), m.utc)
    rows = [
        (*at, stretch.after, stretch.upto, latest.get(at))
        for at, stretches in found.items()
        for stretch in joined(stretches)
    ]
    await _insert(connection, "arrival", ("bench", "journal", "after", "upto", "latest"), rows)


async def _know(connection: psycopg.AsyncConnection, known: set[Known]) -> None:
    """Note journals that benches have, so that these are told what the database lacks."""
    # In one order: no two collectors wait in a circle.
    rows = sorted((each.bench, each.journal) for each in known)
    await _insert(connection, "journal", ("bench", "journal"), rows)


async def _keep_rejected(connection: psycopg.AsyncConnection, refused: Sequence[Rejected]) -> None:
    rows = [
        (
            hashlib.sha256(m.topic.encode() + b"\0" + m.payload).digest(),
            m.topic.replace("\x00", "\ufffd")[:1000],
            m.reason.replace("\x00", "\ufffd")[:1000],
            m.payload[:REJECTED_BYTES],
        )
        for m in refused
    ]
    await _insert(connection, "rejected", ("digest", "topic", "reason", "payload"), rows)
    await connection.execute(
        "DELETE FROM steadyohm.rejected WHERE digest IN"
        " (SELECT digest FROM steadyohm.rejected ORDER BY utc DESC OFFSET %s)",
        (REJECTED_KEPT,),
    )
