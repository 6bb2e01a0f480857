"""The journal: what is on the record, committed to the disk before anything is shown or sent.

One thread of its own does all the writing and reading, so that a slow disk never holds up the bench; records
that arrive while a commit is under way go together in the next one. Outlets wait for `wait_beyond` and keep
their place with a named cursor. From time to time old entries move to the archive, which never holds up
commits for longer than one small step takes. Not for what outlets do with an entry, what may move (archive),
and questions about the past by other processes (history).
"""

from __future__ import annotations

import asyncio
import contextlib
import os
import sqlite3
from collections import deque
from collections.abc import Callable, Sequence
from concurrent.futures import Future, ThreadPoolExecutor
from dataclasses import dataclass
from functools import partial
from pathlib import Path
from typing import Any, Self, TypeVar

import structlog

from acquire.clock import Clock
from acquire.errors import JournalUnusable
from acquire.journal.archive import Policy, movable, move
from acquire.journal.entry import Entry, entry_of, insert_entry, unnumbered
from acquire.journal.opening import (
    FAULTS,
    FILE,
    birth_of,
    connect,
    in_words,
    is_locked,
    open_checked,
    remember,
    remembered,
    take_lock,
)
from acquire.journal.schema import LATEST_DEEDS, atomic, latest_start, owed
from acquire.records import Code, Evidence, Fact, Notice, Recorded, Severity

T = TypeVar("T")

READ_LIMIT = 10_000
"""Most entries one read gives, so that no caller fills the memory."""


@dataclass(frozen=True, slots=True)
class _Waiting:
    """Rows on their way to the disk, and who waits for them."""

    rows: list[Entry]
    loop: asyncio.AbstractEventLoop
    done: asyncio.Future[list[Entry]]

    def tell(self, what: Callable[[], None]) -> None:
        """Run something in the loop of whoever waits; if that loop has ended, nobody does."""
        with contextlib.suppress(RuntimeError):
            self.loop.call_soon_threadsafe(what)


class Journal:
    """A bench's journal, open.

    Attributes:
        path: of the file.
        birth: the journal's birth id, the first half of every entry's id.
        last_seq: sequence number of the latest committed entry; 0 when there is none.
        changed: set, and replaced by a new one, at every commit of entries.
        notices: what happened at opening that the operator must know (a damaged file set aside).
    """

    def __init__(self, path: Path, bench: str, clock: Clock) -> None:
        """Prepare; `open` is the way to get one that works."""
        self.path = path
        self.birth = ""
        self.last_seq = 0
        self.changed = asyncio.Event()
        self.notices: list[Notice] = []
        self._bench = bench
        self._clock = clock
        self._lock = -1
        self._inode = 0
        self._connection: sqlite3.Connection | None = None
        self._waiting: deque[_Waiting] = deque()
        self._thread = ThreadPoolExecutor(max_workers=1, thread_name_prefix="journal")

    @classmethod
    def open(cls, folder: Path, *, bench: str, clock: Clock) -> Self:
        """Open the journal of a folder, making both if they are missing. Blocks while the file is checked.

        Args:
            folder: holds `journal.db` and what belongs to it.
            bench: name of the bench, kept in the file for people.
            clock: for the time of notes and notices.

        Raises:
            JournalUnusable: it cannot be opened, another process has it, or a newer program wrote it.
        """
        journal = cls(folder / FILE, bench, clock)
        journal._lock = take_lock(folder)
        try:
            journal._thread.submit(journal._begin).result()
        except BaseException:
            journal._thread.shutdown()
            os.close(journal._lock)
            raise
        return journal

    async def close(self) -> None:
        """Finish what is under way, then give the file back. Closing twice does nothing."""
        if self._lock < 0:
            return
        await self._in_thread(self._end)
        self._thread.shutdown()
        os.close(self._lock)
        self._lock = -1

    # ------------------------------------------------------------------ writing

    async def append(self, records: Sequence[tuple[Recorded, Evidence | None]]) -> list[Entry]:
        """Put records on the journal, all of them or none; returns when they are on the disk.

        A caller that is cancelled while waiting does not take its records back: they may be written.

        Args:
            records: in order, each with its evidence if it is a verdict.

        Raises:
            JournalUnusable: nothing of it was written; the same call may be tried again.
        """
        if not records:
            return []
        loop = asyncio.get_running_loop()
        done: asyncio.Future[list[Entry]] = loop.create_future()
        self._waiting.append(_Waiting([unnumbered(*pair) for pair in records], loop, done))
        self._submit(self._commit_waiting)
        return await done

    async def move_cursor(self, name: str, seq: int) -> None:
        """Note durably that an outlet has dealt with everything up to `seq`. A cursor never goes back.

        Raises:
            JournalUnusable: it could not be written.
        """
        await self._in_thread(lambda: self._move_cursor(name, seq))

    async def skip_numbers(self, seq: int) -> None:
        """Give the next entry a number behind `seq`.

        For when an older copy of the file was put back: what came after it has been sent with these numbers.

        Raises:
            JournalUnusable: it could not be written.
        """
        await self._in_thread(lambda: self._skip_numbers(seq))

    async def archive(self, outlets: Sequence[str], policy: Policy | None = None) -> int:
        """Move some of the oldest entries to an archive if the file has grown too large.

        Args:
            outlets: names of all cursors that must have passed an entry before it moves.
            policy: when entries move.

        Returns:
            How many moved; call again while there are any, with a pause in between for the commits.

        Raises:
            JournalUnusable: it could not be done; nothing has left the journal.
        """
        return await self._in_thread(lambda: self._archive(tuple(outlets), policy or Policy()))

    # ------------------------------------------------------------------ reading

    async def read_after(self, seq: int, limit: int = 200) -> list[Entry]:
        """Entries behind `seq`, oldest first, with their evidence.

        Args:
            seq: 0 reads from the start.
            limit: at most so many, 1 to `READ_LIMIT`.

        Raises:
            JournalUnusable: it could not be read.
        """
        sql = "SELECT * FROM entry WHERE seq > ? ORDER BY seq LIMIT ?"
        return await self._in_thread(lambda: self._select(sql, (seq, min(max(limit, 1), READ_LIMIT))))

    async def cursor(self, name: str) -> int:
        """How far an outlet has got; 0 if it never began."""
        return (await self.cursors()).get(name, 0)

    async def cursors(self) -> dict[str, int]:
        """Every outlet's place by name."""
        return await self._in_thread(lambda: dict(self._use().execute("SELECT name, seq FROM cursor")))

    async def latest_doings(self) -> list[Entry]:
        """What a bench that starts again must be told, oldest first.

        The latest of each thing that a bench owes or has been told (`doings.OWED`) before the latest unit was
        started, then everything since. A unit that was brought back counts from its own start, and so does
        the one before as long as nothing was judged since: its leaving can be taken back.
        """
        return await self._in_thread(self._latest_doings)

    async def batches(self) -> list[Entry]:
        """The latest deed on each batch, in the order in which they were last touched."""
        return await self._in_thread(lambda: self._select(LATEST_DEEDS, ()))

    async def latest_notice(self, code: Code) -> Notice | None:
        """The notice of a code written last, None if there is none."""
        sql = """SELECT * FROM entry WHERE kind = 'notice' AND json_extract(payload, '$.code') = ?
            ORDER BY seq DESC LIMIT 1"""
        found = await self._in_thread(lambda: self._select(sql, (code,)))
        record = found[0].record if found else None
        return record if isinstance(record, Notice) else None

    async def wait_beyond(self, seq: int) -> None:
        """Return as soon as there is an entry behind `seq`."""
        while self.last_seq <= seq:
            await self.changed.wait()

    # ------------------------------------------------------------------ in the journal's own thread

    def _begin(self) -> None:
        now_s = self._clock.utc_s()
        connection, aside = open_checked(self.path, self._bench, now_s)
        self._connection = connection
        if aside:
            self.notices.append(Notice(Severity.WARNING, Code.JOURNAL_QUARANTINED, now_s, facts=aside))
        self._inode = self.path.stat().st_ino
        self.birth = birth_of(connection)
        # What AUTOINCREMENT remembers also counts entries that have gone to an archive.
        latest = "SELECT coalesce(max(seq), 0) FROM sqlite_sequence WHERE name = 'entry'"
        self.last_seq = int(connection.execute(latest).fetchone()[0])
        if not aside and (lost := self._lost(remembered(self.path.parent), now_s)):
            self.notices.append(lost)
        remember(self.path.parent, self.birth, self.last_seq)

    def _lost(self, before: tuple[str, int] | None, now_s: float) -> Notice | None:
        """What the folder remembers and the journal does not have; numbers go on behind it."""
        birth, seq = before or (self.birth, 0)
        if birth != self.birth and seq:
            facts: dict[str, Fact] = {"birth": birth, "entries": seq}
            return Notice(Severity.WARNING, Code.JOURNAL_GONE, now_s, facts=facts)
        if seq <= self.last_seq:
            return None
        facts = {"first": self.last_seq + 1, "last": seq}
        self._skip_numbers(seq)
        self.last_seq = seq
        return Notice(Severity.WARNING, Code.JOURNAL_OLDER, now_s, facts=facts)

    def _end(self) -> None:
        if self._connection is not None:
            with contextlib.suppress(sqlite3.Error):  # the WAL stays and is taken up at the next start
                self._connection.execute("PRAGMA wal_checkpoint(TRUNCATE)")
            self._connection.close()
            self._connection = None

    def _use(self) -> sqlite3.Connection:
        """Give the connection, a new one after an error that made the old one doubtful."""
        try:
            there = self.path.stat().st_ino == self._inode
        except OSError:
            there = False
        if not there:  # SQLite would go on writing into a file without a name
            raise JournalUnusable(
                f"The journal {self.path} was moved or deleted while the bench was running.",
                "Put it back, or start the bench again.",
            )
        if self._connection is None:
            self._connection = connect(self.path)
        return self._connection

    def _commit_waiting(self) -> None:
        """Commit all records that wait, in one transaction; say so to each who waits."""
        taken = []
        while self._waiting:
            taken.append(self._waiting.popleft())
        if not taken:
            return
        try:
            results = self._guarded(lambda: self._insert([waiting.rows for waiting in taken]))
        except Exception as error:  # noqa: BLE001  (whoever waits must hear of it, or waits for ever)
            for waiting in taken:
                waiting.tell(partial(_fail, waiting.done, error))
            return
        remember(self.path.parent, self.birth, results[-1][-1].seq)
        for waiting, entries in zip(taken, results, strict=True):
            waiting.tell(partial(self._committed, waiting.done, entries))

    def _insert(self, batches: list[list[Entry]]) -> list[list[Entry]]:
        connection = self._use()
        with atomic(connection):
            return [[insert_entry(connection, row, self.birth) for row in rows] for rows in batches]

    def _move_cursor(self, name: str, seq: int) -> None:
        connection = self._use()
        with atomic(connection):
            connection.execute(
                "INSERT INTO cursor VALUES (?1, ?2, ?3) ON CONFLICT (name) DO UPDATE"
                " SET seq = max(seq, ?2), utc_s = ?3",
                (name, seq, self._clock.utc_s()),
            )

    def _skip_numbers(self, seq: int) -> None:
        connection = self._use()
        with atomic(connection):
            have = connection.execute("SELECT seq FROM sqlite_sequence WHERE name = 'entry'").fetchone()
            if have is None:  # nothing was ever written into it
                connection.execute("INSERT INTO sqlite_sequence VALUES ('entry', ?)", (seq,))
            elif have[0] < seq:
                connection.execute("UPDATE sqlite_sequence SET seq = ? WHERE name = 'entry'", (seq,))

    def _archive(self, outlets: tuple[str, ...], policy: Policy) -> int:
        connection = self._use()
        numbers = movable(connection, policy, outlets)
        try:
            if numbers:
                move(connection, self.path, numbers, policy, self._clock.utc_s())
        except OSError as error:
            raise JournalUnusable(f"The archive beside {self.path} cannot be written: {error}.") from error
        return len(numbers)

    def _select(self, sql: str, values: tuple[Any, ...]) -> list[Entry]:
        return [entry_of(self.birth, row) for row in self._use().execute(sql, values)]

    def _latest_doings(self) -> list[Entry]:
        start = latest_start(self._use(), self.last_seq + 1)
        numbers = owed(self._use(), start)
        places = ", ".join("?" * len(numbers))
        told = f"SELECT * FROM entry WHERE seq >= ? OR seq IN ({places}) ORDER BY seq"  # noqa: S608
        return self._select(told, (start, *numbers))

    def _guarded(self, work: Callable[[], T]) -> T:
        """Do work on the file; what SQLite says becomes a sentence, and a doubtful connection is dropped."""
        try:
            return work()
        except FAULTS as error:
            if self._connection is not None and not is_locked(error):
                with contextlib.suppress(sqlite3.Error):
                    self._connection.close()
                self._connection = None
            raise in_words(error, self.path) from error

    # ------------------------------------------------------------------ between the threads

    async def _in_thread(self, work: Callable[[], T]) -> T:
        return await asyncio.wrap_future(self._submit(lambda: self._guarded(work)))

    def _submit(self, work: Callable[[], T]) -> Future[T]:
        if self._lock < 0:
            raise JournalUnusable(f"The journal {self.path} is closed.")
        return self._thread.submit(work)

    def _committed(self, done: asyncio.Future[list[Entry]], entries: list[Entry]) -> None:
        """In the loop: wake the one who waits for the commit, and all who wait for news."""
        self.last_seq = max(self.last_seq, entries[-1].seq)
        news, self.changed = self.changed, asyncio.Event()
        news.set()
        if not done.done():
            done.set_result(entries)


def _fail(done: asyncio.Future[list[Entry]], error: Exception) -> None:
    if not done.done():
        done.set_exception(error)


log = structlog.get_logger()


async def keep_small(
    journal: Journal,
    outlets: Sequence[str],
    stop: asyncio.Event,
    *,
    policy: Policy | None = None,
    every_s: float = 600.0,
    pause_s: float = 0.1,
) -> None:
    """Keep the journal's file below its limit until `stop` is set.

    Args:
        journal: open.
        outlets: names of all cursors that must have passed an entry before it moves.
        stop: ends this at once.
        policy: when entries move.
        every_s: between two looks.
        pause_s: between two steps, for the commits that wait.
    """
    while not stop.is_set():
        moved, wait_s = 0, every_s
        try:
            moved = await journal.archive(outlets, policy)
        except JournalUnusable as error:
            log.warning("journal.not_archived", error=str(error))
        if moved:
            log.info("journal.archived", entries=moved)
            wait_s = pause_s
        with contextlib.suppress(TimeoutError):
            await asyncio.wait_for(stop.wait(), wait_s)
