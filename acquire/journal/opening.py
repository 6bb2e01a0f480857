"""Opens the journal's file: settings, integrity check, migrations; a damaged one is set aside, not deleted.

Also turns what SQLite says into sentences for the operator. The folder remembers beside the journal its birth
id and the latest number given, for a journal that is emptied, cut short or replaced by an older copy cannot
tell so itself; written after each commit without waiting for the disk, so that a power cut may leave an older
number, never a newer one. Not for entries (store).
"""

from __future__ import annotations

import contextlib
import os
import re
import sqlite3
from datetime import UTC, datetime
from pathlib import Path

from acquire.errors import JournalUnusable
from acquire.journal.schema import APPLICATION_ID, MIGRATIONS, migrate, version_of
from acquire.records import Fact
from drivers.plain_file import read_file
from system.files import OWN, lock, mounted_read_only, sync_folder

COUNTER_FILE = "journal.counter"
_MODE = 0o640
_LINE = re.compile(r"([0-9a-f]{16}) +([0-9]{1,18})\n")


def remembered(folder: Path) -> tuple[str, int] | None:
    """Birth id and latest number; None where nothing is remembered, or nothing that can be read."""
    try:
        found = _LINE.fullmatch(read_file(folder / COUNTER_FILE, 100).decode("ascii", "replace"))
    except OSError:
        return None
    return (found[1], int(found[2])) if found else None


def remember(folder: Path, birth: str, seq: int) -> None:
    """Write both over what was there, in one piece. A folder that cannot be written is no fault here."""
    with contextlib.suppress(OSError):
        number = os.open(folder / COUNTER_FILE, os.O_WRONLY | os.O_CREAT | OWN, _MODE)
        try:
            os.write(number, f"{birth} {seq:>18}\n".encode())
        finally:
            os.close(number)


FILE = "journal.db"
LOCK = "journal.lock"

MODE = 0o640
"""Of new files: they hold names and serials, which are not for everybody on the machine."""

BUSY_MS = 1000
"""How long one operation waits for another program's lock. Workshop choice: a backup copy takes less;
anything longer is told to the operator."""

CHECKPOINT_PAGES = 4000
"""Pages of the WAL after which they go into the database, 16 MB. A commit takes about six, so SQLite's own
1000 means two more syncs after every 170 verdicts, this after every 670."""

DAMAGED = frozenset({sqlite3.SQLITE_CORRUPT, sqlite3.SQLITE_NOTADB})
"""Primary result codes that mean the file itself is bad (sqlite.org/rescode.html)."""


TRY_OUT = (
    "SELECT seq, kind, utc_s, serial, batch, payload, evidence FROM entry LIMIT 1",
    "SELECT name, seq, utc_s FROM cursor LIMIT 1",
    "SELECT seq FROM sqlite_sequence WHERE name = 'entry'",
)
"""Questions that a sound journal of the present schema answers."""

FAULTS = (sqlite3.Error, UnicodeDecodeError)
"""What the library raises; the second when a message quotes damaged bytes."""


def connect(path: Path, *, wal: bool = True) -> sqlite3.Connection:
    """Open the file with the journal's settings: autocommit, WAL, every commit synced to the disk.

    synchronous=FULL in WAL mode syncs the WAL at each commit, so that a commit survives a power cut
    (sqlite.org/pragma.html#pragma_synchronous). Room that entries leave is given back on request.

    Args:
        path: of the file, made if missing.
        wal: False for a file that shall be complete in itself (an archive).
    """
    new = not path.exists() or path.stat().st_size == 0
    with contextlib.suppress(OSError):  # SQLite says it better, and gives the WAL the mode of the file
        os.close(os.open(path, os.O_WRONLY | os.O_CREAT, MODE))
    connection = sqlite3.connect(path, timeout=BUSY_MS / 1000, isolation_level=None, check_same_thread=False)
    try:
        if new:  # on an old file it would be a write before the file has been looked at
            connection.execute("PRAGMA auto_vacuum = INCREMENTAL")
        connection.execute(f"PRAGMA journal_mode = {'WAL' if wal else 'DELETE'}")
        connection.execute("PRAGMA synchronous = FULL")
        connection.execute("PRAGMA fullfsync = ON")  # macOS: past the drive's own memory; nothing elsewhere
        connection.execute(f"PRAGMA wal_autocheckpoint = {CHECKPOINT_PAGES}")
        connection.execute("PRAGMA trusted_schema = OFF")
    except BaseException:
        connection.close()
        raise
    return connection


def open_checked(path: Path, bench: str, utc_s: float) -> tuple[sqlite3.Connection, dict[str, Fact]]:
    """Open the journal, new or old, ready for work.

    Args:
        path: of the file; its folder exists.
        bench: name of the bench.
        utc_s: now.

    Returns:
        The connection; and, if a damaged file was set aside, its new name and its damage (else nothing).

    Raises:
        JournalUnusable: it cannot be opened, or a newer program wrote it.
    """
    aside: dict[str, Fact] = {}
    try:
        connection, damage = _examine(path)
        if damage:
            aside = {"file": _set_aside(path, utc_s), "cause": damage}
            connection, damage = _examine(path)
        if connection is None:
            raise JournalUnusable(f"The journal {path} cannot be begun: {damage}.")
        _refuse_foreign(connection, path)
        try:
            migrate(connection, bench, utc_s)
        except BaseException:
            connection.close()
            raise
    except FAULTS as error:
        raise in_words(error, path) from error
    except OSError as error:
        raise JournalUnusable(f"The journal {path} cannot be opened: {error.strerror}.") from error
    return connection, aside


def _examine(path: Path) -> tuple[sqlite3.Connection | None, str]:
    """Open and check; no connection and what is wrong if the file is damaged."""
    connection = None
    try:
        connection = connect(path)
        said = [str(row[0]) for row in connection.execute("PRAGMA quick_check(3)")]
        if said == ["ok"]:
            said = [_try_out(connection) or "ok"]
    except FAULTS as error:
        if connection is not None:
            connection.close()
        if not isinstance(error, UnicodeDecodeError) and code_of(error) not in DAMAGED:
            raise
        return None, "it cannot be read" if isinstance(error, UnicodeDecodeError) else str(error)
    if said == ["ok"]:
        return connection, ""
    connection.close()
    return None, said[0] if said else "the check gave no answer"


def _try_out(connection: sqlite3.Connection) -> str:
    """Ask what the journal will be asked: SQLite's own check does not know what our tables should be.

    Returns:
        What is wrong, empty when nothing is.
    """
    try:
        if version_of(connection) == len(MIGRATIONS):
            for statement in TRY_OUT:
                connection.execute(statement).fetchall()
        return "its birth id is gone" if version_of(connection) and not birth_of(connection) else ""
    except (ValueError, TypeError, sqlite3.OperationalError) as error:
        if getattr(error, "sqlite_errorcode", sqlite3.SQLITE_ERROR) != sqlite3.SQLITE_ERROR:
            raise  # locked, no room, no right: nothing is known of the content
        return "its tables cannot be used"


def birth_of(connection: sqlite3.Connection) -> str:
    """Birth id of a journal; empty in a new file, and in one whose content is damaged."""
    if not version_of(connection):
        return ""
    row = connection.execute("SELECT value FROM about WHERE key = 'birth'").fetchone()
    return str(row[0]) if row and row[0] else ""


def code_of(error: Exception) -> int:
    """Primary result code of SQLite, which extended ones carry in their low byte; 0 where there is none."""
    return (getattr(error, "sqlite_errorcode", None) or 0) & 0xFF


def is_locked(error: Exception) -> bool:
    """Whether another program has the file to itself just now."""
    return code_of(error) in (sqlite3.SQLITE_BUSY, sqlite3.SQLITE_LOCKED)


def _refuse_foreign(connection: sqlite3.Connection, path: Path) -> None:
    """Leave alone what is not ours to write."""
    told = ""
    tables = connection.execute("SELECT count(*) FROM sqlite_schema").fetchone()[0]
    if tables and connection.execute("PRAGMA application_id").fetchone()[0] != APPLICATION_ID:
        told = f"{path} is a database of another program. Name another folder for the journal."
    elif (version := version_of(connection)) > len(MIGRATIONS):
        told = (
            f"The journal {path} was written by a newer version of this program (schema {version}, "
            f"known here: {len(MIGRATIONS)}). Install that version, or name another folder for the journal."
        )
    if told:
        connection.close()
        raise JournalUnusable(told)


def _set_aside(path: Path, utc_s: float) -> str:
    """Rename a damaged file and what belongs to it; the new name."""
    stamp = datetime.fromtimestamp(utc_s, UTC).strftime("%Y%m%dT%H%M%SZ")
    number, new = 1, path.with_name(f"journal-damaged-{stamp}.db")
    while new.exists():
        number += 1
        new = path.with_name(f"journal-damaged-{stamp}-{number}.db")
    for tail in ("-wal", "-shm", ""):  # the database last: while it has its name, a restart comes here again
        old = path.with_name(path.name + tail)
        if old.exists():
            old.rename(new.with_name(new.name + tail))
    sync_folder(path.parent)
    return new.name


def take_lock(folder: Path) -> int:
    """Make sure that no other process writes to this folder's journal.

    Returns:
        A file descriptor; closing it gives the lock back, and so does the end of the process.

    Raises:
        JournalUnusable: another process has it, or the folder cannot be written.
    """
    try:
        folder.mkdir(parents=True, exist_ok=True)
        os.close(os.open(folder / LOCK, os.O_RDWR | os.O_CREAT | OWN, MODE))
        # Kept open for reading only: a bench that waits must not hold a file system against being remounted.
        number = os.open(folder / LOCK, os.O_RDONLY | OWN)
    except OSError as error:
        raise JournalUnusable(
            f"The journal's folder {folder} cannot be written: {error.strerror}.",
            "Give the program the right to write there, or name another folder.",
        ) from error
    if lock(number):
        return number
    os.close(number)
    raise JournalUnusable(
        f"The journal in {folder} is in use by another bench that runs already.",
        "Stop it, or give each bench a folder of its own.",
    )


WRITING = frozenset({sqlite3.SQLITE_READONLY, sqlite3.SQLITE_CANTOPEN, sqlite3.SQLITE_IOERR})
"""Primary result codes of a file that could not be written, opened for writing among them."""


def in_words(error: Exception, path: Path) -> JournalUnusable:
    """One sentence on what is wrong with the journal, and one on what to do."""
    code = code_of(error)
    if code in WRITING and mounted_read_only(path.parent):
        return JournalUnusable(
            f"The journal {path} cannot be written: its file system is read-only now.",
            "The system does that after a disk fault: look at the disk, then mount it for writing again.",
        )
    locked = "is locked by another program.", "Close whatever has it open."
    damaged = "is damaged.", "Start the bench again: the file is set aside and a new one begun."
    what, hint = {
        sqlite3.SQLITE_FULL: ("cannot be written: the disk is full.", "Make room on it."),
        sqlite3.SQLITE_READONLY: (
            "cannot be written: it is read-only.",
            "Give the program the right to write.",
        ),
        sqlite3.SQLITE_BUSY: locked,
        sqlite3.SQLITE_LOCKED: locked,
        sqlite3.SQLITE_IOERR: (
            f"cannot be written ({error}).",
            "Look for a full or failing disk, or a quota that is used up.",
        ),
        sqlite3.SQLITE_CANTOPEN: ("cannot be opened.", "Check that its folder exists and can be written."),
        sqlite3.SQLITE_CORRUPT: damaged,
        sqlite3.SQLITE_NOTADB: damaged,
    }.get(code, (f"cannot be used ({error}).", ""))
    return JournalUnusable(f"The journal {path} {what}", hint)
