"""How a CSV file of ours ends: its last whole row, and what is torn behind it.

A row is whole when its CRLF stands outside quotes. Quotes inside a quoted text are doubled (RFC 4180, 2), so
a position is outside quotes exactly when the number of quotes before it is even. Not for writing (csv_log).
"""

from __future__ import annotations

import errno
import mmap
import os
import re
import stat
from dataclasses import dataclass
from pathlib import Path

from system.files import NO_LINK, NO_WAIT, to_disk

CHUNK = 1 << 20
"""Bytes looked at in one go."""

Content = bytes | mmap.mmap


@dataclass(frozen=True, slots=True)
class Tail:
    """How a file ends.

    Attributes:
        size: bytes of header and whole rows.
        last_seq: sequence number in the last row of the present journal; 0 where there is none.
        torn: bytes behind the last whole row.
    """

    size: int
    last_seq: int
    torn: int = 0


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
        number = os.open(path, os.O_RDONLY | NO_LINK | NO_WAIT)
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
            return Tail(whole, last_number(content, whole, birth), len(content) - whole)
    finally:
        os.close(number)


def cut_torn_tail(path: Path, tail: Tail) -> Tail:
    """Cut off what is torn, durably.

    Raises:
        OSError: it cannot be written.
    """
    number = os.open(path, os.O_WRONLY | NO_LINK)
    try:
        os.ftruncate(number, tail.size)
        to_disk(number)
    finally:
        os.close(number)
    return Tail(tail.size, tail.last_seq)


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


def last_number(content: Content, whole: int, birth: str) -> int:
    """Sequence number in the last whole row of one journal; 0 if it has none.

    A text inside quotes that imitates the beginning of a row is not taken for one.
    """
    start, end = _row_of(birth), whole
    while (at := content.rfind(birth.encode(), 0, end)) >= 0:
        line = content.rfind(b"\r\n", 0, at)
        found = start.match(content, line) if line >= 0 else None
        if found and count_quotes(content, line) % 2 == 0:
            return int(found.group(1))
        end = at
    return 0


def numbers_in(path: Path, birth: str) -> set[int]:
    """Sequence numbers of all rows of one journal in a file of ours. Raises: OSError: it cannot be read."""
    number = os.open(path, os.O_RDONLY | NO_LINK | NO_WAIT)
    try:
        with mmap.mmap(number, 0, access=mmap.ACCESS_READ) as content:
            found, quotes, at = set(), 0, 0
            for row in _row_of(birth).finditer(content):
                quotes += content[at : row.start()].count(b'"')
                at = row.start()
                if quotes % 2 == 0:
                    found.add(int(row.group(1)))
            return found
    finally:
        os.close(number)


def _row_of(birth: str) -> re.Pattern[bytes]:
    """How a row of a journal begins, behind the end of the one before; its group is the number."""
    return re.compile(rb"\r\n[0-9]+," + re.escape(birth.encode()) + rb"-([0-9]+),")


def count_quotes(content: Content, end: int) -> int:
    """How many quotes stand before `end`."""
    return sum(content[at : min(at + CHUNK, end)].count(b'"') for at in range(0, end, CHUNK))
