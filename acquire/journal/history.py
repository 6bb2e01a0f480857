"""Questions about the past, asked by other processes while a bench may be writing: by serial, date, batch.

Opens the journal and its archives for reading only; nothing here can change or block them. Not for outlets,
which follow with a cursor (store).
"""

from __future__ import annotations

import sqlite3
from collections.abc import Iterator
from dataclasses import dataclass
from datetime import UTC, date, datetime, timedelta
from pathlib import Path
from typing import Any, Self
from urllib.parse import quote

from acquire.errors import JournalMissing, JournalUnusable
from acquire.journal.archive import archives
from acquire.journal.entry import Entry
from acquire.journal.opening import BUSY_MS, FAULTS, FILE, birth_of, in_words
from acquire.journal.rows import entry_of, storable
from acquire.journal.schema import APPLICATION_ID, MIGRATIONS, version_of


@dataclass(frozen=True, slots=True)
class Question:
    """What is looked for; every field that is set must hold.

    Attributes:
        serial: of the unit, exactly.
        batch: name of the batch, exactly.
        day: the UTC day of the record.
        kinds: kinds of entries; empty means all.
        limit: at most so many, the latest ones.
    """

    serial: str | None = None
    batch: str | None = None
    day: date | None = None
    kinds: tuple[str, ...] = ()
    limit: int | None = None


class JournalReader:
    """A journal with its archives, opened for reading; a context manager.

    Attributes:
        path: of the journal's file.
        birth: its birth id.
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
            raise JournalMissing(
                f"There is no journal at {self.path}.", "Name the folder of a bench's journal."
            )
        try:
            self._connection = sqlite3.connect(
                f"file:{quote(str(self.path.absolute()))}?mode=ro", uri=True, timeout=BUSY_MS / 1000
            )
        except FAULTS as error:
            raise in_words(error, self.path) from error
        try:
            self.birth = self._recognise()
            files = archives(self.path.parent) if with_archives else []
            self._archives = [JournalReader(each, with_archives=False) for each in files]
        except BaseException:
            self._connection.close()
            raise

    def _recognise(self) -> str:
        try:
            if self._connection.execute("PRAGMA application_id").fetchone()[0] != APPLICATION_ID:
                raise JournalMissing(f"{self.path} is no journal of this program.")
            if version_of(self._connection) > len(MIGRATIONS):
                raise JournalUnusable(
                    f"The journal {self.path} was written by a newer version of this program."
                )
            if not (birth := birth_of(self._connection)):
                raise JournalUnusable(f"The journal {self.path} is damaged: its birth id is gone.")
        except FAULTS as error:
            raise in_words(error, self.path) from error
        except (ValueError, TypeError) as error:
            raise JournalUnusable(
                f"The journal {self.path} is damaged: its tables cannot be used."
            ) from error
        return birth

    def __enter__(self) -> Self:
        """Give the reader itself."""
        return self

    def __exit__(self, *_: object) -> None:
        """Close all files."""
        self.close()

    def close(self) -> None:
        """Close all files."""
        for archive in self._archives:
            archive.close()
        self._connection.close()

    def find(self, question: Question) -> Iterator[Entry]:
        """Entries that answer a question, oldest first.

        Raises:
            JournalUnusable: the file cannot be read.
        """
        if not self._archives:
            yield from self.find_here(question)
            return
        found: dict[str, Entry] = {}  # by id: what a power cut left in two files is told once
        rank: dict[str, int] = {}  # of births: an earlier journal's entries come before this one's
        for reader in [*self._archives, self]:
            rank[reader.birth] = len(rank)
            found.update((entry.id, entry) for entry in reader.find_here(question))
        entries = sorted(found.values(), key=lambda e: (rank[e.id.partition("-")[0]], e.seq))
        yield from entries if question.limit is None else entries[max(0, len(entries) - question.limit) :]

    def find_here(self, question: Question) -> Iterator[Entry]:
        """As `find`, in this one file only."""
        where, values = _where(question)
        sql = f"SELECT * FROM entry {where} ORDER BY seq"  # noqa: S608  (our own words; values are bound)
        if question.limit is not None:
            latest = f"SELECT seq FROM entry {where} ORDER BY seq DESC LIMIT ?"  # noqa: S608  (as above)
            sql = f"SELECT * FROM entry WHERE seq IN ({latest}) ORDER BY seq"  # noqa: S608  (as above)
            values = [*values, max(question.limit, 0)]
        try:
            for row in self._connection.execute(sql, values):
                yield entry_of(self.birth, row)
        except FAULTS as error:
            raise in_words(error, self.path) from error

    def by_serial(self, serial: str) -> list[Entry]:
        """Everything on the record of one unit, oldest first."""
        return list(self.find(Question(serial=serial)))

    def by_batch(self, batch: str) -> list[Entry]:
        """Everything on the record of one batch, oldest first."""
        return list(self.find(Question(batch=batch)))

    def by_day(self, day: date) -> list[Entry]:
        """Everything on the record of one UTC day, oldest first."""
        return list(self.find(Question(day=day)))

    def batches(self) -> list[tuple[str, int]]:
        """Names of all batches with the number of verdicts in each, the latest first."""
        sql = (
            "SELECT batch, sum(kind = 'verdict') FROM entry WHERE kind IN ('verdict', 'unit_started')"
            " GROUP BY batch ORDER BY max(seq) DESC"
        )
        counts: dict[str, int] = {}
        for reader in [self, *reversed(self._archives)]:
            try:
                rows = reader._connection.execute(sql).fetchall()  # noqa: SLF001  (of the same class)
            except FAULTS as error:
                raise in_words(error, reader.path) from error
            for name, count in rows:
                counts[str(name)] = counts.get(str(name), 0) + int(count)
        return list(counts.items())


def _where(question: Question) -> tuple[str, list[Any]]:
    parts: list[str] = []
    values: list[Any] = []
    for column, wanted in (("serial", question.serial), ("batch", question.batch)):
        if wanted is not None:
            parts.append(f"{column} = ?")
            values.append(storable(wanted))
    if question.day is not None:
        start = datetime(question.day.year, question.day.month, question.day.day, tzinfo=UTC)
        parts.append("utc_s >= ? AND utc_s < ?")
        values += [start.timestamp(), (start + timedelta(days=1)).timestamp()]
    if question.kinds:
        parts.append(f"kind IN ({', '.join('?' * len(question.kinds))})")
        values += question.kinds
    return ("WHERE " + " AND ".join(parts) if parts else ""), values
