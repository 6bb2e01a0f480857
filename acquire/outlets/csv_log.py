"""Verdicts and typed results as CSV for any spreadsheet: one row each, exactly one, whatever happens.

RFC 4180: commas, CRLF, quotes where needed. UTF-8 with a byte order mark: without it a spreadsheet takes the
file for its local 8-bit code and spoils every name that is not plain English, while readers that know UTF-8
pass over it; one that does not (Python's `csv` on a file opened as plain UTF-8) sees it glued to the first
column's name only, so the first column is one that nobody asks for by name. Numbers have a point and no
thousands sign.

Each batch of rows is synced to the disk before the journal's cursor moves. At start, a torn last row is cut
off, and each file goes on behind the last whole row it holds: the id in the row decides, so that a crash
between writing and moving the cursor leads neither to a gap nor to a second row. Rows that somebody has taken
out of a file are told; a whole file may be taken away. A row is whole when its CRLF stands outside quotes;
quotes inside a quoted text are doubled, so a position is outside exactly when their number before it is even.
Not for reading CSV, and not for columns (payload).
"""

from __future__ import annotations

import asyncio
import csv
import errno
import hashlib
import io
import mmap
import os
import re
import stat
from collections.abc import Awaitable, Callable, Sequence
from dataclasses import dataclass, field
from datetime import UTC, datetime
from enum import StrEnum
from pathlib import Path
from typing import Any, Self

import structlog

from acquire.journal.entry import Entry
from acquire.journal.store import Journal
from acquire.outlets.outlet import OutletFailed
from acquire.outlets.payload import header, row_of
from acquire.records import Fact
from system.files import OWN, sync_folder, to_disk

CHUNK = 1 << 20
"""Bytes looked at in one go."""

Content = bytes | mmap.mmap


@dataclass(frozen=True, slots=True)
class Tail:
    """How a file ends.

    Attributes:
        size: bytes of header and whole rows.
        last_seq: highest sequence number in a row of the present journal; 0 where there is none.
        torn: bytes behind the last whole row.
        numbers: of all rows of the present journal that were there when it was looked at.
    """

    size: int
    last_seq: int
    torn: int = 0
    numbers: frozenset[int] = frozenset()


def examine(path: Path, top: bytes, birth: str) -> Tail | None:
    """Look at the end of a file without changing it.

    Args:
        path: of the file; links are not followed.
        top: what the file must begin with: byte order mark and header.
        birth: of the present journal; rows with another one belong to an earlier journal.

    Returns:
        None if the file is not one of ours. A missing, empty or header-torn file has size 0.

    Raises:
        OSError: it cannot be read.
    """
    try:
        number = os.open(path, os.O_RDONLY | OWN)
    except FileNotFoundError:
        return Tail(0, 0)
    except OSError as error:
        if error.errno == errno.ELOOP:  # a link, which may lead anywhere
            return None
        raise
    try:
        facts = os.fstat(number)
        if not stat.S_ISREG(facts.st_mode):
            return None
        if facts.st_size < len(top):
            torn_header = top.startswith(os.read(number, len(top)))
            return Tail(0, 0, facts.st_size) if torn_header else None
        with mmap.mmap(number, 0, access=mmap.ACCESS_READ) as content:
            if content[: len(top)] != top:
                return None
            whole = whole_length(content)
            numbers = numbers_in(content, whole, birth)
            return Tail(whole, max(numbers, default=0), len(content) - whole, numbers)
    finally:
        os.close(number)


def cut_back(path: Path, size: int) -> None:
    """Cut off what is torn, durably. Raises: OSError: it cannot be written."""
    number = os.open(path, os.O_WRONLY | OWN)
    try:
        os.ftruncate(number, size)
        to_disk(number)
    finally:
        os.close(number)


def whole_length(content: Content) -> int:
    """Length of everything up to the last CRLF that stands outside quotes; 0 if there is none."""
    quotes = count_quotes(content, len(content))
    end = len(content)
    while (at := content.rfind(b"\r\n", 0, end)) >= 0:
        quotes -= content[at:end].count(b'"')
        if quotes % 2 == 0:
            return at + 2
        end = at
    return 0


def numbers_in(content: Content, whole: int, birth: str) -> frozenset[int]:
    """Sequence numbers of the rows of one journal among the first `whole` bytes.

    A text inside quotes that imitates the beginning of a row is not taken for one.
    """
    found, quotes, at = set(), 0, 0
    row = re.compile(rb"\r\n[0-9]+," + re.escape(birth.encode()) + rb"-([0-9]+),")
    for start in row.finditer(content, 0, whole):
        quotes += content[at : start.start()].count(b'"')
        at = start.start()
        if quotes % 2 == 0:
            found.add(int(start.group(1)))
    return frozenset(found)


def count_quotes(content: Content, end: int) -> int:
    """How many quotes stand before `end`."""
    return sum(content[at : min(at + CHUNK, end)].count(b'"') for at in range(0, end, CHUNK))


log = structlog.get_logger()

BOM = b"\xef\xbb\xbf"

LOOK_BACK = 1000
"""How many entries before the cursor are compared with the files at start: more than any disk holds back, and
what a busy bench writes in some days, so that rows deleted since are noticed."""

LONGEST_NAME = 60
"""Characters of a batch's name that go into its file's name."""

OTHER_NAMES = 20
"""How many files of one day or batch there may be whose header is not ours, before we give up."""


class Split(StrEnum):
    """What gets a file of its own."""

    DAY = "day"
    BATCH = "batch"


MODE = 0o640
"""Of new files: they hold names and serials, which are not for everybody on the machine."""


async def untold(_facts: dict[str, Fact]) -> None:
    """Where nobody is to be told."""


@dataclass(slots=True)
class CsvLog:
    """An outlet that writes CSV files into one folder.

    Attributes:
        folder: made if missing; nothing outside it is ever written.
        split: one file per UTC day or per batch.
        kind: of the entries that get a row, a key of `WHAT_OF_KIND`; each kind has files of its own.
        at_once: rows that share one sync.
        tell: receives the facts of rows that are gone from a file.
    """

    folder: Path
    split: Split = Split.DAY
    kind: str = "verdict"
    at_once: int = 200
    tell: Callable[[dict[str, Fact]], Awaitable[None]] = untold
    _birth: str = ""
    _done_before: int = 0
    _tails: dict[str, tuple[Path, Tail]] = field(default_factory=dict)
    _compared: bool = False

    async def __aenter__(self) -> Self:
        """Make the folder."""
        self._tails.clear()
        try:
            await asyncio.to_thread(self.folder.mkdir, parents=True, exist_ok=True)
        except OSError as error:
            raise self._failed(self.folder, error) from error
        return self

    async def __aexit__(self, *_: object) -> None:
        """Nothing is held open between two batches."""

    async def watch(self) -> None:
        """Files do not break by themselves."""
        await asyncio.Event().wait()

    async def begins_behind(self, journal: Journal, cursor: int) -> int:
        """Compare the files with the journal, cut torn rows off, and find the first row that is missing."""
        self._birth, self._done_before = journal.birth, cursor
        earlier = await journal.read_after(max(0, cursor - LOOK_BACK), LOOK_BACK)
        earlier = [entry for entry in earlier if entry.seq <= cursor]
        start, highest, gone = await asyncio.to_thread(self._compare, earlier, cursor)
        for facts in [] if self._compared else gone:  # once a start: an outlet that fails begins anew
            log.warning("csv.rows_gone", **facts)
            await self.tell({**facts, "folder": str(journal.path.parent)})
        self._compared = True
        if highest > journal.last_seq:  # an older journal was put back; its numbers are taken already
            log.warning("csv.ahead", journal_seq=journal.last_seq, csv_seq=highest)
            await journal.skip_numbers(highest)
        return start

    async def send(self, entries: Sequence[Entry]) -> None:
        """Write the entries of our kind, and sync each file."""
        await asyncio.to_thread(self._write, entries)

    # ------------------------------------------------------------------ in a thread

    def _compare(self, earlier: Sequence[Entry], cursor: int) -> tuple[int, int, list[dict[str, Fact]]]:
        """Where to begin, the highest number that any file holds, and which rows are gone from files."""
        start, highest, gone = cursor, 0, dict[Path, list[Entry]]()
        for entry in earlier:
            if entry.kind != self.kind:
                continue
            path, tail = self._tail_of(entry)
            if not path.exists():
                continue  # a file that somebody has taken away is not written again
            highest = max(highest, tail.last_seq)
            if tail.last_seq < entry.seq:
                start = min(start, entry.seq - 1)
            if tail.size and entry.seq not in tail.numbers:
                gone.setdefault(path, []).append(entry)
        facts: list[dict[str, Fact]] = [
            {"file": str(path), "rows": len(them), "first": them[0].id, "last": them[-1].id}
            for path, them in gone.items()
        ]
        return start, highest, facts

    def _write(self, entries: Sequence[Entry]) -> None:
        rows: dict[str, list[Entry]] = {}
        for entry in entries:
            if entry.kind == self.kind:
                rows.setdefault(self._name_of(entry), []).append(entry)
        for name, ours in rows.items():
            path, tail = self._tail_of(ours[0])
            # What has gone out is written again only into a file that is still there.
            behind = tail.last_seq if path.exists() else max(tail.last_seq, self._done_before)
            missing = [entry for entry in ours if entry.seq > behind]
            if missing:
                self._append(name, path, tail, missing)

    def _name_of(self, entry: Entry) -> str:
        return file_name(entry.payload, self.split, self.kind)

    def _tail_of(self, entry: Entry) -> tuple[Path, Tail]:
        """The file an entry belongs to and how it ends; examined anew if somebody else has changed it."""
        name = self._name_of(entry)
        known = self._tails.get(name)
        if known is None or _size_of(known[0]) != known[1].size:
            known = self._tails[name] = self._usable(name)
        return known

    def _usable(self, name: str) -> tuple[Path, Tail]:
        """The first file of this name, or of this name with a number, whose header is ours."""
        top = _lines([header(self.kind)], bom=True)
        for number in range(1, OTHER_NAMES + 1):
            path = self.folder / (f"{name}.csv" if number == 1 else f"{name}-{number}.csv")
            try:
                tail = examine(path, top, self._birth)
                if tail is not None and tail.torn:
                    log.warning("csv.repaired", file=str(path), torn_bytes=tail.torn)
                    cut_back(path, tail.size)
            except OSError as error:
                raise self._failed(path, error) from error
            if tail is not None:
                return path, tail
        raise OutletFailed(
            f"The folder {self.folder} holds {OTHER_NAMES} files named {name} with other columns.",
            "Move them elsewhere.",
        )

    def _append(self, name: str, path: Path, tail: Tail, entries: Sequence[Entry]) -> None:
        """Append rows and sync; on failure take back what was written of them."""
        rows = [row_of(entry) for entry in entries]
        data = _lines([header(self.kind), *rows], bom=True) if tail.size == 0 else _lines(rows)
        try:
            number = os.open(path, os.O_WRONLY | os.O_CREAT | os.O_APPEND | OWN, MODE)
        except OSError as error:
            raise self._failed(path, error) from error
        try:
            _write_all(number, data)
            to_disk(number)
            if tail.size == 0:
                sync_folder(self.folder)
        except OSError as error:
            self._tails.pop(name, None)  # the file is examined anew before the next row
            _take_back(number, tail.size)
            raise self._failed(path, error) from error
        finally:
            os.close(number)
        self._tails[name] = (path, Tail(tail.size + len(data), entries[-1].seq))

    def _failed(self, path: Path, error: OSError) -> OutletFailed:
        return OutletFailed(
            f"The CSV file {path} cannot be written: {error.strerror}.",
            "What belongs there is safe in the journal and follows once it can.",
        )


WHAT_OF_KIND = {"verdict": "verdicts", "typed_result": "results", "unit_result": "units"}
"""What the files of a kind are called."""

LIKE_MADE_SAFE = re.compile(r"-[0-9a-f]{8}$")
"""How the name of another batch may end once it was made safe."""


def file_name(payload: dict[str, Any], split: Split, kind: str = "verdict") -> str:
    """Name of the file an entry belongs to, without `.csv`; safe whatever the batch is called."""
    what = WHAT_OF_KIND[kind]
    if split is Split.DAY:
        try:
            return datetime.fromtimestamp(payload["utc_s"], UTC).strftime(f"{what}-%Y-%m-%d")
        except (ValueError, OverflowError, OSError):
            return f"{what}-undated"
    batch = str(payload["batch"])
    if not batch:
        return f"{what}-without-batch"
    front = "batch" if kind == "verdict" else f"{what}-batch"
    safe = re.sub(r"[^A-Za-z0-9._-]+", "_", batch)[:LONGEST_NAME]
    if safe == batch.lower() and not LIKE_MADE_SAFE.search(batch):
        return f"{front}-{batch}"
    # Two names that look alike once made safe, or where case does not count, must not share a file.
    return f"{front}-{safe}-{hashlib.sha256(batch.encode('utf-8', 'surrogatepass')).hexdigest()[:8]}"


def _lines(rows: Sequence[Sequence[str]], *, bom: bool = False) -> bytes:
    text = io.StringIO(newline="")
    csv.writer(text, lineterminator="\r\n").writerows(rows)
    return (BOM if bom else b"") + text.getvalue().encode(
        "utf-8", "replace"
    )  # half a surrogate pair is no text


def _write_all(number: int, data: bytes) -> None:
    left = memoryview(data)
    while left:
        left = left[os.write(number, left) :]


def _take_back(number: int, size: int) -> None:
    """Cut a file back to what it was; if even that fails, the next start finds a torn row and cuts it."""
    try:
        os.ftruncate(number, size)
    except OSError:
        log.warning("csv.torn", size=size)


def _size_of(path: Path) -> int:
    try:
        return path.stat().st_size
    except OSError:
        return 0
