"""What comes onto a journal that no bench uses: earlier papers, typed results, and what it has lost.

`restore` brings that back from its copies under the same ids. A copy is another journal or archive, the
line's database, or the bench's own CSV files (which hold verdicts and typed results only, without what they
rest on). Where the folder has no journal, one is built; else what it lacks goes into archives beside it,
which are journals' files like any other, so that a journal begun since keeps its own numbers. Nothing that is
there is changed. Not for bringing a journal to the line.
"""

from __future__ import annotations

import asyncio
import csv
import json
import os
from collections.abc import Generator, Iterator, Sequence
from contextlib import closing
from dataclasses import dataclass, field
from pathlib import Path
from typing import Annotated, Any

import typer

from acquire.answers import AsJsonLines, argument, option, say, say_json
from acquire.bench.assembly import SOFTWARE, circumstances
from acquire.bench.duty_setup import habit
from acquire.clock import Clock, RealClock
from acquire.errors import InputImpossible, JournalMissing, JournalUnusable
from acquire.files.settings import Bench, load_bench
from acquire.journal.archive import FOLDER as ARCHIVE
from acquire.journal.entry import Entry, insert_entry
from acquire.journal.history import JournalReader
from acquire.journal.opening import FAULTS, FILE, connect, in_words, remembered, take_lock
from acquire.journal.plain import from_plain, to_plain
from acquire.journal.query import OF_A_VISIT, Query
from acquire.journal.schema import atomic, migrate
from acquire.journal.store import Journal
from acquire.journal.upgrade import RENAMED
from acquire.line.places import record_at
from acquire.outlets.payload import COLUMNS_OF, rearmed
from acquire.quantity import counted
from acquire.records import Circumstances, Recorded, TypedResult
from acquire.reports.export import PaperFile
from acquire.sheets import load_sheet
from acquire.unit_result import VisitResult, revised, visit_results
from acquire.verdict.typed import typed_result
from acquire.verdict.typed_wanted import guidance
from acquire.words.beside import typed_answer
from acquire.words.verdicts import OUTCOME_WORDS
from drivers.models import load_model
from drivers.plain_file import refuse_no_file
from system.ending import run_loop
from system.files import sync_folder

AT_ONCE = 500
"""Records, or entries, that share one commit."""

HEAD = frozenset({"schema", "id", "time_utc"})
"""Columns of a CSV file that stand before the record's own."""


async def _append_at_rest(
    folder: Path, bench: str, clock: Clock, records: Sequence[Recorded], remedy: str
) -> None:
    """Put records on a journal that no bench works with; `remedy`: what to do where one is at work."""
    try:
        journal = await asyncio.to_thread(lambda: Journal.open(folder, bench=bench, clock=clock))
    except JournalUnusable as error:
        raise JournalUnusable(error.what, f"{error.hint} {remedy}".strip()) from error
    try:
        for first in range(0, len(records), AT_ONCE):
            await journal.append([(record, None) for record in records[first : first + AT_ONCE]])
    finally:
        await journal.close()


def import_papers(
    file: Annotated[Path, argument("CSV file of earlier paper records.")],
    journal: Annotated[Path, argument("Folder of the bench's journal; the bench must not be running.")],
    *,
    sheet: Annotated[Path, option("Sheet of the unit type.")],
    dry: Annotated[bool, option("Only check the file; nothing goes on the record.", "--dry")] = False,
) -> None:
    """Bring earlier paper records onto the journal, marked as imported; each row is checked."""
    clock = RealClock()
    of = load_sheet(sheet)
    with JournalReader(journal) as record:
        found = record.values(Query(kinds=("imported_result",)), ["serial", "measured_utc_s", "step"])
        known = {(str(serial), float(at_s), str(step)) for serial, at_s, step in found}
        papers = PaperFile(file, of, record.bench, SOFTWARE, clock.utc_s(), known)
    results = papers.read()
    for doubt in papers.doubts:
        typer.echo(doubt, err=True)
    units = len({result.serial for result in results})
    if not dry:
        remedy = "Stop the bench that uses it, then import again."
        run_loop(_append_at_rest(journal, results[0].bench, clock, results, remedy))
    done = "in order" if dry else "imported"
    typer.echo(f"{file}: {done}: values {len(results)}, units {units}")


def _typed_in(bench: Bench, serial: str, texts: list[str]) -> list[TypedResult]:
    """Judge results and put them on the record, all of them or none, with what that makes of the unit."""
    clock, place = RealClock(), _place(bench)
    visit = _on_record(bench, serial)
    started = visit.started
    assert started is not None  # noqa: S101  (chosen as one that began)
    if started.sheet != place.sheet.name:
        raise InputImpossible(
            f"{serial} was measured as {started.sheet}, the bench file names {place.sheet.name}.",
            "Name the bench file with its sheet.",
        )
    new: list[TypedResult] = []
    for text in texts:
        others = [*visit.typed, *new]
        new.append(typed_result(text, started, place, clock.utc_s(), habit=habit(bench), others=others))
    last, typed = visit.last, [*visit.typed, *new]
    now = None if last is None else revised(last, typed, new[-1].utc_s)
    remedy = "While a bench is running, type .result at the bench itself."
    records: list[Recorded] = [*new, *([] if now is None else [now])]
    run_loop(_append_at_rest(Path(bench.journal.folder), bench.name, clock, records, remedy))
    return new


def _place(bench: Bench) -> Circumstances:
    """The bench as a record sees it. A meter past its calibration keeps nobody from typing."""
    return circumstances(bench, load_model(Path(bench.meter.model)))


def _on_record(bench: Bench, serial: str) -> VisitResult:
    """The unit's latest visit on this bench, with what was typed for it."""
    with JournalReader(Path(bench.journal.folder)) as journal:
        visits = visit_results(entry.record for entry in journal.find(Query(serial=serial, kinds=OF_A_VISIT)))
    begun = [visit for visit in visits if visit.started is not None]
    if not begun:
        raise InputImpossible(
            f"{serial} was never on bench {bench.name}.", "Check the serial: steadyohm history lists them."
        )
    return begun[-1]


def result(
    bench: Annotated[Path, argument("Bench file: names sheet, purpose and journal.")],
    results: Annotated[
        list[str] | None,
        argument('Such as "insulation = 120 Mohm, 500 V, 21 °C"; default: what is wanted, and how.'),
    ] = None,
    *,
    serial: Annotated[str, option("Of the unit; it must have been on this bench.")] = "",
    as_json: AsJsonLines = False,
) -> None:
    """Type in results from elsewhere (insulation, inductance, surge, hipot) while no bench is running."""
    if not results:
        place = _place(load_bench(bench))
        say(guidance(place.sheet, place.purpose))
        return
    if not serial:
        raise InputImpossible("Whose results are these?", "Give --serial.")
    for record in _typed_in(load_bench(bench), serial, results):
        if as_json:
            say_json(to_plain(record))
        else:
            word = OUTCOME_WORDS[record.outcome] if record.outcome else "recorded"
            typer.echo(f"{record.serial}: {record.name}: {word}: {typed_answer(record)}".removesuffix(": "))


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
    folder: Annotated[Path, argument("Folder of the bench's journal; the bench is stopped.")],
    *,
    copies: Annotated[
        list[str],
        option(
            "A copy, best first: a journal's folder or file, a line's database, a folder of CSV files.",
            "--from",
        ),
    ],
    bench: Annotated[str, option("Only this bench, of a line's record.")] = "",
) -> None:
    """Bring back what a journal has lost, from its copies and under the same ids; nothing is changed."""
    say(restored_lines(restore(folder, copies, bench)))
