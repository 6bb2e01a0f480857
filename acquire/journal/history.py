"""Questions about the past, asked by other processes while a bench may be writing: by serial, date, batch.

Opens the journal and its archives for reading only; nothing here can change or block them. Not for outlets,
which follow with a cursor (store).
"""

from __future__ import annotations

import heapq
import json
import os
import shutil
import sqlite3
from collections import deque
from collections.abc import Callable, Generator, Iterator
from functools import partial
from itertools import chain
from operator import attrgetter
from pathlib import Path
from tempfile import TemporaryDirectory
from typing import Any, TypeVar
from urllib.parse import quote

from acquire.errors import JournalMissing, JournalUnusable
from acquire.journal.archive import archives
from acquire.journal.entry import Entry, entry_of, storable
from acquire.journal.opening import BUSY_MS, FAULTS, FILE, birth_of, code_of, in_words
from acquire.journal.plain import KINDS
from acquire.journal.query import Query, Record, conditions, evidence_of, explains
from acquire.journal.schema import APPLICATION_ID, MIGRATIONS, version_of
from acquire.journal.upgrade import in_todays_names
from acquire.records import Evidence

T = TypeVar("T")


SHOWN = "seq, kind, utc_s, serial, batch, payload, evidence"
"""Columns of an entry; the last is read only where it is wanted, as most of the file is evidence."""

NAMES = {name.encode(): name for name in KINDS}
"""Kinds of entries by the bytes that a file has for them."""

COLUMNS = {
    **{name: name for name in ("kind", "serial", "batch")},
    **{name: f"json_extract(payload, '$.{name}')" for name in ("meter_id", "sheet", "bench", "outcome")},
    "utc_s": "utc_s {} ?",
}
"""Where a query's fields are, for `conditions`."""

NAME_ONE = "Name the folder of a bench's journal."

BEGUN_BY = "SELECT value FROM about WHERE key = 'bench'"

LONGEST_NUMBER = 18
"""Digits of a sequence number that SQLite can hold for certain."""


class JournalReader(Record):
    """A journal with its archives, opened for reading.

    Attributes:
        path: of the journal's file.
        birth: its birth id.
        bench: name of the bench that began it.
    """

    def __init__(self, file: Path, *, with_archives: bool = True) -> None:
        """Open a journal.

        Args:
            file: a journal's file, or the folder that holds `journal.db`.
            with_archives: whether entries that were moved out of it count as well.

        Raises:
            JournalUnusable: there is none, it is not a journal, or it cannot be read.
        """
        self.path = file / FILE if file.is_dir() else file
        if not self.path.is_file():
            raise JournalMissing(f"There is no journal at {self.path}.", NAME_ONE)
        self._copy: TemporaryDirectory[str] | None = None
        try:
            self._connection = sqlite3.connect(self._address(), uri=True, timeout=BUSY_MS / 1000)
        except FAULTS as error:
            raise in_words(error, self.path) from error
        except OSError as error:
            raise JournalUnusable(f"The journal {self.path} cannot be copied: {error.strerror}.") from error
        try:
            self._connection.text_factory = _text
            self._connection.create_function("explains", 2, _explains, deterministic=True)
            self.birth = self._recognise()
            self.bench = next((str(row[0]) for row in self._asked(BEGUN_BY)), "")
            files = archives(self.path.parent) if with_archives else []
            self._archives = [JournalReader(each, with_archives=False) for each in files]
        except BaseException:
            self._connection.close()
            raise

    def _address(self) -> str:
        """Where to read, as SQLite wants it: beside the file it must be able to make an index of the WAL.

        On a stick or share that only gives, a file without a WAL is read as one that nobody changes; with
        one, as a copy.
        """
        path, wal, index = (self.path.with_name(self.path.name + tail) for tail in ("", "-wal", "-shm"))
        mode = "ro"
        if not os.access(path.parent, os.W_OK) and not index.exists():
            if wal.exists() and wal.stat().st_size:
                self._copy = TemporaryDirectory(prefix="steadyohm-")
                for each in (path, wal):
                    shutil.copyfile(each, Path(self._copy.name) / each.name)
                path = Path(self._copy.name) / path.name
            else:
                mode = "ro&immutable=1"
        return f"file:{quote(str(path.absolute()))}?mode={mode}"

    def _recognise(self) -> str:
        try:
            if self._connection.execute("PRAGMA application_id").fetchone()[0] != APPLICATION_ID:
                raise JournalMissing(f"{self.path} is no journal of this program.", NAME_ONE)
            if version_of(self._connection) > len(MIGRATIONS):
                raise JournalUnusable(
                    f"The journal {self.path} was written by a newer version of this program."
                )
            if not (birth := birth_of(self._connection)):
                raise JournalUnusable(f"The journal {self.path} is damaged: its birth id is gone.")
        except FAULTS as error:
            if code_of(error) == sqlite3.SQLITE_NOTADB and not self.path.name.startswith("journal"):
                raise JournalMissing(f"{self.path} is no journal.", NAME_ONE) from error
            raise in_words(error, self.path) from error
        except (ValueError, TypeError) as error:
            raise JournalUnusable(
                f"The journal {self.path} is damaged: its tables cannot be used."
            ) from error
        return birth

    def _asked(self, sql: str, *values: Any) -> list[tuple[Any, ...]]:
        """All rows of an answer."""
        try:
            return self._connection.execute(sql, values).fetchall()
        except FAULTS as error:
            raise in_words(error, self.path) from error

    def close(self) -> None:
        """Close all files."""
        for archive in self._archives:
            archive.close()
        self._connection.close()
        if self._copy is not None:  # only now: Windows removes no open file
            self._copy.cleanup()

    def find(self, query: Query) -> Generator[Entry, None, None]:
        """As `Record.find`."""
        found = self._in_order(lambda reader: reader.find_here(query), attrgetter("seq"))
        yield from _latest(found, query.limit)

    def payloads(self, query: Query) -> Iterator[tuple[str, str, bytes]]:
        """As `Record.payloads`."""

        def ask(reader: JournalReader) -> Iterator[tuple[str, str, bytes]]:
            begin = f"{reader.birth}-"
            columns = "seq, CAST(kind AS BLOB), CAST(payload AS BLOB)"  # bytes cost less than text
            for seq, kind, payload in reader._select(columns, query):
                yield f"{begin}{seq}", NAMES.get(kind) or _text(kind), payload

        return _latest(self._in_order(ask, lambda row: int(row[0].rpartition("-")[2])), query.limit)

    def _in_order(self, ask: Callable[[JournalReader], Iterator[T]], seq: Callable[[T], int]) -> Iterator[T]:
        """What this file and its archives answer, as one stream: earlier journals first, then by number.

        What a power cut left in two files is told once.
        """
        births = dict.fromkeys(
            [*(each.birth for each in self._archives if each.birth != self.birth), self.birth]
        )
        for birth in births:
            readers = [reader for reader in [*self._archives, self] if reader.birth == birth]
            if len(readers) == 1:
                yield from ask(readers[0])
                continue
            before = 0
            for each in heapq.merge(*(ask(reader) for reader in readers), key=seq):
                if seq(each) != before:
                    yield each
                before = seq(each)

    def find_here(self, query: Query) -> Iterator[Entry]:
        """As `find`, in this one file only."""
        columns = SHOWN if query.with_evidence else SHOWN.replace("evidence", "NULL")
        for row in self._select(columns, query):
            yield entry_of(self.birth, row)

    def _select(self, columns: str, query: Query) -> Iterator[tuple[Any, ...]]:
        where, values = _where(query)
        sql = f"SELECT {columns} FROM entry {where} ORDER BY seq"  # noqa: S608  (our own words; values are bound)
        if query.limit is not None:
            latest = f"SELECT seq FROM entry {where} ORDER BY seq DESC LIMIT ?"  # noqa: S608  (as above)
            sql = f"SELECT {columns} FROM entry WHERE seq IN ({latest}) ORDER BY seq"  # noqa: S608  (as above)
            values = [*values, max(query.limit, 0)]
        try:
            # Through a chain, since a query that nobody asks to its end would else close its cursor, and a
            # cursor cannot be closed behind its file.
            yield from chain(self._connection.execute(sql, values))
        except FAULTS as error:
            raise in_words(error, self.path) from error

    def evidence(self, entry_id: str) -> Evidence | None:
        """As `Record.evidence`."""
        birth, _, number = entry_id.partition("-")
        if not number.isdecimal() or len(number) > LONGEST_NUMBER:
            return None
        for reader in [self, *self._archives]:
            if reader.birth != birth:
                continue
            sql = f"SELECT {SHOWN} FROM entry WHERE seq = ?"  # noqa: S608  (our own words)
            for row in reader._asked(sql, int(number)):  # noqa: SLF001  (of the same class)
                kept = entry_of(birth, row).evidence
                return None if kept is None else evidence_of(entry_id, kept)
        return None

    def batches(self) -> list[tuple[str, int]]:
        """As `Record.batches`."""
        sql = (
            "SELECT batch, sum(kind = 'verdict') FROM entry WHERE kind IN ('verdict', 'unit_started')"
            " GROUP BY batch ORDER BY max(seq) DESC"
        )
        counts: dict[str, int] = {}
        for reader in [self, *reversed(self._archives)]:
            for name, count in reader._asked(sql):  # noqa: SLF001  (of the same class)
                counts[str(name)] = counts.get(str(name), 0) + int(count)
        return list(counts.items())


_text = partial(str, encoding="utf-8", errors="surrogatepass")
"""Half a surrogate pair may come out of a payload's \\u escapes; other bytes that are no UTF-8 are damage."""


def _latest(found: Iterator[T], limit: int | None) -> Iterator[T]:
    """The last `limit` of a stream; all of it where there is no limit."""
    return found if limit is None else iter(deque(found, max(limit, 0)))


def _where(query: Query) -> tuple[str, list[Any]]:
    """The query as a condition of SQL with the values to bind."""
    parts, values = conditions(query, COLUMNS)
    # An index that holds only some rows serves only questions that say so in its own words.
    parts += [f"{name} <> ''" for name in ("serial", "batch") if getattr(query, name)]
    narrow = query.serial or query.batch  # their indexes leave less to read than that of kinds
    if query.kinds and "verdict" not in query.kinds and not narrow:
        parts.append("kind <> 'verdict'")
    if query.diagnosis is not None:
        parts.append("explains(payload, ?)")
        values.append(storable(query.diagnosis).casefold())
    return ("WHERE " + " AND ".join(parts) if parts else ""), values


def _explains(payload: str, text: str) -> bool:
    """Whether a unit's result says this; an SQL function, as SQLite folds the letters of English only."""
    try:
        return explains(json.loads(in_todays_names(payload)), text)
    except ValueError:  # no JSON: it says nothing
        return False
