"""`steadyohm restore`: what a bench's journal has lost, back from its copies, under the same ids.

A copy is another journal or archive, the line's database, or the bench's own CSV files (which hold verdicts
and typed results only, without what they rest on). Where the folder has no journal, one is built; else what
it lacks goes into archives beside it, which are journals' files like any other, so that a journal begun
since keeps its own numbers. Nothing that is there is changed. Not for bringing a journal to the line.
"""

from __future__ import annotations

import csv
import json
import os
from collections.abc import Generator, Iterator, Sequence
from contextlib import closing
from dataclasses import dataclass, field
from pathlib import Path
from typing import Annotated, Any

import typer

from acquire.answers.options import say
from acquire.clock import RealClock
from acquire.errors import InputImpossible, JournalMissing
from acquire.journal.archive import FOLDER as ARCHIVE
from acquire.journal.entry import Entry, insert_entry
from acquire.journal.history import JournalReader
from acquire.journal.opening import FAULTS, FILE, connect, in_words, remembered, take_lock
from acquire.journal.plain import from_plain
from acquire.journal.query import Query
from acquire.journal.schema import atomic, migrate
from acquire.journal.upgrade import RENAMED
from acquire.line.places import record_at
from acquire.outlets.payload import COLUMNS_OF, rearmed
from acquire.quantity import counted
from drivers.plain_file import refuse_no_file
from system.files import sync_folder

AT_ONCE = 500

HEAD = frozenset({"schema", "id", "time_utc"})
"""Columns that stand before the record's own."""


@dataclass(slots=True)
class Restored:
    """What came of it.

    Attributes:
        entries: that were missing and are back, by the birth id of their journal.
        there: that were not missing.
        partial: of those that are back, the ones that a CSV row gave.
        unread: rows that are no verdict or typed result of ours.
    """

    entries: dict[str, int] = field(default_factory=dict)
    there: int = 0
    partial: int = 0
    unread: int = 0


def restore(folder: Path, places: Sequence[str], bench: str = "") -> Restored:
    """Bring back what a journal lacks.

    Args:
        folder: of the journal; its bench must not be running.
        places: copies, best first: an entry is taken from the first that holds it. A journal's folder or
            file, a line's database by address or collector file, a folder of CSV files or one of them.
        bench: whose entries are wanted, where a place holds several; empty takes all.

    Raises:
        JournalUnusable: the folder is in use or cannot be written, or a copy cannot be read.
        InputImpossible: a place is none.
    """
    lock = take_lock(folder)
    try:
        known = _known(folder)
        target = _Target(folder, known, "" if known else (remembered(folder) or ("", 0))[0])
        for place in places:
            with closing(_copies(place, bench, target.done)) as entries:
                target.bring(entries)
    except FAULTS as error:
        raise in_words(error, folder / FILE) from error
    finally:
        os.close(lock)
    return target.done


def _known(folder: Path) -> set[tuple[str, int]]:
    """Birth id and number of everything that the folder holds."""
    try:
        with JournalReader(folder) as journal:
            ids = (identity for identity, _, _ in journal.payloads(Query(with_evidence=False)))
            return {_numbered(identity) for identity in ids}
    except JournalMissing:
        return set()


def _numbered(identity: str) -> tuple[str, int]:
    birth, _, seq = identity.partition("-")
    return birth, int(seq)


def _copies(place: str, bench: str, done: Restored) -> Generator[Entry]:
    path = Path(place)
    if path.suffix == ".csv" or (path.is_dir() and not (path / FILE).exists()):
        files = [path] if path.is_file() else sorted(path.glob("*.csv"))
        if not files:
            raise InputImpossible(f"{place} holds no journal and no CSV file.", "Name a copy of the journal.")
        for file in files:
            yield from _rows(file, bench, done)
        return
    with record_at(place) as record:
        for entry in record.find(Query(with_evidence=True)):
            if not bench or entry.payload.get("bench", bench) == bench:
                yield entry


def _rows(file: Path, bench: str, done: Restored) -> Iterator[Entry]:
    """Entries of the rows of one CSV file, as far as a row tells of its record."""
    refuse_no_file(file)
    with file.open(newline="", encoding="utf-8-sig") as text:
        for row in csv.DictReader(text):
            try:
                birth, seq = _numbered(row["id"])
                kind = "verdict" if "raw_ohm" in row else "typed_result"
                texts = {column.name for column in COLUMNS_OF[kind] if column.text}
                named = {RENAMED.get(name, name): cell for name, cell in row.items() if name not in HEAD}
                payload = {name: _value(cell or "", text=name in texts) for name, cell in named.items()}
                from_plain(kind, payload)
            except (KeyError, ValueError, TypeError):
                done.unread += 1
                continue
            if not bench or payload["bench"] == bench:
                identity = f"{birth}-{seq}"
                yield Entry(seq, identity, kind, float(payload["utc_s"]), str(payload["serial"]), payload)


def _value(cell: str, *, text: bool) -> Any:
    if text:
        return rearmed(cell)
    if not cell:
        return None
    try:
        return json.loads(cell)
    except ValueError:
        return cell


@dataclass(slots=True)
class _Target:
    """The folder that is brought up to what its copies hold.

    Attributes:
        folder: of the journal.
        known: birth id and number of everything that is there.
        rebuilt: birth id of the journal that is built anew; empty until it is known, or where none is.
        done: so far.
    """

    folder: Path
    known: set[tuple[str, int]]
    rebuilt: str
    done: Restored = field(default_factory=Restored)
    _missing: dict[str, list[Entry]] = field(default_factory=dict)

    def bring(self, entries: Iterator[Entry]) -> None:
        """Write what is missing, each journal's into its own file."""
        for number, entry in enumerate(entries, start=1):
            named = _numbered(entry.id)
            if named in self.known:
                self.done.there += 1
                continue
            self.known.add(named)
            self._missing.setdefault(named[0], []).append(entry)
            if number % AT_ONCE == 0:
                self._write()
        self._write()

    def _write(self) -> None:
        for birth, entries in self._missing.items():
            if not self.rebuilt and not (self.folder / FILE).exists():
                self.rebuilt = birth
            anew = birth == self.rebuilt
            file = self.folder / (FILE if anew else f"{ARCHIVE}/journal-{birth}-restored.db")
            file.parent.mkdir(exist_ok=True)
            named = next((str(e.payload["bench"]) for e in entries if e.payload.get("bench")), "")
            with closing(connect(file, wal=anew)) as connection:
                migrate(connection, named, RealClock().utc_s(), birth=birth)
                with atomic(connection):
                    for entry in entries:
                        insert_entry(connection, entry)
            sync_folder(file.parent)
            self.done.entries[birth] = self.done.entries.get(birth, 0) + len(entries)
            self.done.partial += sum(e.kind == "verdict" and e.evidence is None for e in entries)
        self._missing.clear()


def restored_lines(done: Restored) -> Iterator[str]:
    """What came of it, for people."""
    for birth, count in done.entries.items():
        yield f"{counted(count, 'entry', 'entries')} of the journal {birth} are back."
    if done.partial:
        yield f"{counted(done.partial, 'verdict')} of them without the readings behind: a CSV row holds none."
    if done.unread:
        yield f"{counted(done.unread, 'row')} cannot be read back: units' rows hold words only."
    if not done.entries:
        yield f"Nothing was missing: {counted(done.there, 'entry', 'entries')} are there already."


def restore_journal(
    folder: Annotated[Path, typer.Argument(help="Folder of the bench's journal; the bench is stopped.")],
    *,
    copies: Annotated[
        list[str],
        typer.Option(
            "--from",
            help="A copy, best first: a journal's folder or file, a line's database, a folder of CSV files.",
        ),
    ],
    bench: Annotated[str, typer.Option(help="Only this bench, of a line's record.")] = "",
) -> None:
    """Bring back what a journal has lost, from its copies and under the same ids; nothing is changed."""
    say(restored_lines(restore(folder, copies, bench)))
