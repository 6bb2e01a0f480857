"""Steps of the journal's schema on files that older programs have left."""

from __future__ import annotations

import sqlite3
from contextlib import closing

from acquire.journal import schema
from acquire.journal.schema import MIGRATIONS, migrate, version_of


def old_file(path, version, monkeypatch):
    """A file as a program with fewer steps made it."""
    connection = sqlite3.connect(path, isolation_level=None)
    with monkeypatch.context() as patched:
        patched.setattr(schema, "MIGRATIONS", MIGRATIONS[:version])
        migrate(connection, "bench-1", 1.0, birth="0123456789abcdef")
    return connection


def test_entries_of_an_older_file_stay_as_they_were(tmp_path, monkeypatch):
    """Numbers, contents and the birth id survive the step that lets any kind in."""
    with closing(old_file(tmp_path / "a.db", 1, monkeypatch)) as connection:
        rows = [(7, "verdict", 5.0, "A1", "b", "{}", "{}"), (9, "notice", 6.0, "", "", "{}", None)]
        connection.executemany("INSERT INTO entry VALUES (?, ?, ?, ?, ?, ?, ?)", rows)
        assert migrate(connection, "bench-1", 2.0) == len(MIGRATIONS) - 1
        assert connection.execute("SELECT * FROM entry ORDER BY seq").fetchall() == rows
        assert version_of(connection) == len(MIGRATIONS)
        names = {row[0] for row in connection.execute("SELECT name FROM sqlite_schema WHERE type = 'index'")}
        assert {"entry_by_serial", "entry_by_batch", "entry_by_time", "entry_marks"} <= names


def test_a_number_that_went_to_an_archive_is_never_given_again(tmp_path, monkeypatch):
    """Even where the old file holds no entry any more."""
    with closing(old_file(tmp_path / "a.db", 1, monkeypatch)) as connection:
        connection.execute("INSERT INTO entry VALUES (41, 'notice', 5.0, '', '', '{}', NULL)")
        connection.execute("DELETE FROM entry")
        migrate(connection, "bench-1", 2.0)
        connection.execute(
            "INSERT INTO entry (kind, utc_s, serial, batch, payload)"
            " VALUES ('check_standard', 6.0, '', '', '{}')"
        )
        assert connection.execute("SELECT seq FROM entry").fetchone() == (42,)
