"""Keeps the journal's file small without losing anything: old entries move to archive files beside it.

Only what every outlet has sent moves, never the unit in work, and never the latest entries. Entries are
synced in the archive before they leave the journal; if the power fails in between, they are in both, and go
again into the same archive without harm. An archive is a journal's file like any other, so the history reads
it. Not for deciding when to look (daemon).
"""

from __future__ import annotations

import sqlite3
from contextlib import closing
from dataclasses import dataclass
from pathlib import Path

from acquire.journal.opening import connect
from acquire.journal.schema import atomic, latest_start, migrate, owed
from system.files import sync_folder

FOLDER = "archive"

CHUNK = 500
"""Entries that move in one go: the writer thread is busy for that long, and commits wait."""


@dataclass(frozen=True, slots=True)
class Policy:
    """When entries move.

    Attributes:
        largest_bytes: of entries in the journal's file; above it the oldest move.
        keep_entries: so many of the latest always stay.
        archive_bytes: an archive that has grown beyond this is closed and a new one begun.
    """

    largest_bytes: int = 512 * 2**20
    keep_entries: int = 2000
    archive_bytes: int = 128 * 2**20


def used_bytes(connection: sqlite3.Connection) -> int:
    """What the entries take on the disk, free pages not counted."""
    pages, free, size = (
        int(connection.execute(f"PRAGMA {name}").fetchone()[0])
        for name in ("page_count", "freelist_count", "page_size")
    )
    return (pages - free) * size


def movable(connection: sqlite3.Connection, policy: Policy, outlets: tuple[str, ...]) -> list[int]:
    """Sequence numbers that may and should move now, oldest first; at most `CHUNK`.

    Args:
        connection: of the journal.
        policy: when entries move.
        outlets: names of all cursors that must have passed an entry; one that never began holds everything.
    """
    if used_bytes(connection) <= policy.largest_bytes:
        return []
    known = dict(connection.execute("SELECT name, seq FROM cursor").fetchall())
    last = int(connection.execute("SELECT coalesce(max(seq), 0) FROM entry").fetchone()[0])
    begun = latest_start(connection, last + 1)
    kept = owed(connection, begun)
    limit = min([last - policy.keep_entries, begun - 1, *(int(known.get(name, 0)) for name in outlets)])
    # What a restart is told stays, and the deeds on batches.
    places = ", ".join("?" * len(kept))
    movable_ones = f"seq <= ? AND kind <> 'batch' AND seq NOT IN ({places})"
    oldest = f"SELECT seq FROM entry WHERE {movable_ones} ORDER BY seq LIMIT ?"  # noqa: S608
    return [int(row[0]) for row in connection.execute(oldest, (limit, *kept, CHUNK))]


def move(
    connection: sqlite3.Connection, path: Path, numbers: list[int], policy: Policy, utc_s: float
) -> None:
    """Bring entries to the archive, durably, then take them out of the journal.

    Args:
        connection: of the journal.
        path: of its file; archives lie in a folder beside it.
        numbers: from `movable`, not empty.
        policy: how large an archive may grow.
        utc_s: now, for the note of the archive's schema.

    Raises:
        sqlite3.Error, OSError: nothing has left the journal.
    """
    about = dict(connection.execute("SELECT key, value FROM about").fetchall())
    first, last = numbers[0], numbers[-1]
    rows = connection.execute("SELECT * FROM entry WHERE seq BETWEEN ? AND ?", (first, last)).fetchall()
    wanted = set(numbers)
    rows = [row for row in rows if row[0] in wanted]
    folder = path.parent / FOLDER
    folder.mkdir(exist_ok=True)
    file = _archive_for(folder, about["birth"], first, policy)
    with closing(connect(file, wal=False)) as archive:
        migrate(archive, about["bench"], utc_s, birth=about["birth"])
        with atomic(archive):
            archive.executemany("INSERT OR IGNORE INTO entry VALUES (?, ?, ?, ?, ?, ?, ?)", rows)
    sync_folder(folder)
    with atomic(connection):
        connection.executemany("DELETE FROM entry WHERE seq = ?", [(number,) for number in numbers])
    connection.executescript("PRAGMA incremental_vacuum")  # `execute` would stop after the first page


def archives(folder: Path) -> list[Path]:
    """The archives beside a journal, oldest first."""
    return sorted(
        (folder / FOLDER).glob("journal-*-*.db"), key=lambda file: (file.stat().st_mtime, file.name)
    )


def _archive_for(folder: Path, birth: str, first: int, policy: Policy) -> Path:
    """The archive in use, or the name of a new one: its birth id and the first entry in it."""
    there = sorted(folder.glob(f"journal-{birth}-*.db"))
    if there and there[-1].stat().st_size < policy.archive_bytes:
        return there[-1]
    return folder / f"journal-{birth}-{first:012d}.db"
