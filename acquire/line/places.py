"""Opens the record that somebody names: a journal, a line's database, or a collector file."""

from __future__ import annotations

import os
from contextlib import AbstractContextManager
from importlib.util import find_spec
from pathlib import Path
from typing import TYPE_CHECKING

from acquire.errors import InputImpossible
from acquire.journal.history import JournalReader

if TYPE_CHECKING:
    from acquire.line.record import LineRecord

SCHEMES = ("postgresql:/", "postgres:/")


def is_line(place: str | Path) -> bool:
    """Whether a place is a line's database, by its address or its collector file."""
    text = str(place)
    return text.startswith(SCHEMES) or text.endswith(".toml")


def need_postgresql() -> None:
    """Raise InputImpossible where the library for PostgreSQL is missing."""
    if find_spec("psycopg") is None:
        raise InputImpossible(
            "The library for PostgreSQL is not installed.", 'Install it with: pip install "steadyohm[line]".'
        )


def record_at(
    place: str | Path,
) -> AbstractContextManager[JournalReader] | AbstractContextManager[LineRecord]:
    """Open a record for reading.

    Args:
        place: folder or file of a journal; postgresql://USER@HOST/DATABASE, whose password comes from where
            PostgreSQL's own programs take it (PGPASSWORD, ~/.pgpass); or a collector file.

    Raises:
        JournalUnusable: there is none, or it cannot be read.
        FileInvalid, InputImpossible: the collector file, or a secret that it names, cannot be used.
    """
    if not is_line(place):
        return JournalReader(Path(place))
    need_postgresql()
    from acquire.line.record import LineRecord  # noqa: PLC0415  (only with the extra)

    return LineRecord(_address(str(place)))


def _address(place: str) -> str:
    if not place.startswith(SCHEMES):
        from acquire.line.collector_file import load_collector  # noqa: PLC0415  (only where it is needed)

        database = load_collector(Path(place)).database
        return database.complete(os.environ)
    scheme, _, rest = place.partition(":/")
    return f"{scheme}://{rest.lstrip('/')}" if rest[:1] != "/" else place  # a Path has lost one slash
