"""Writes a file that somebody asked for, whole or not at all, and never over a record.

Not for the journal, which has its own store, nor for logs that grow.
"""

from __future__ import annotations

import os
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from pathlib import Path
from typing import BinaryIO

from acquire.errors import InputImpossible

_RECORDS = (b"SQLite format 3\x00", b"\x37\x7f\x06\x82", b"\x37\x7f\x06\x83")
"""How a journal and the file beside it begin (sqlite.org/fileformat2.html, 1.3 and 4.1)."""

ANOTHER = "Name another file."
MAKE_IT = "Name a file in a folder that is there, or make it first."


@contextmanager
def new_file(path: Path) -> Iterator[BinaryIO]:
    """A file that stands under its name once it is whole; what was there is replaced in one go.

    A device or a pipe (such as /dev/stdout) is written into, and stays what it is; so does a link to a file.

    Raises:
        InputImpossible: it cannot be written, its folder is not there, or a record stands there.
    """
    beside = None
    try:
        target = path.resolve()
        if target.is_dir():
            raise InputImpossible(f"{path} is a folder.", "Name a file in it.")
        if target.exists() and not target.is_file():
            with target.open("wb") as device:
                yield device
            return
        if _is_record(target):
            raise InputImpossible(f"{path} is a record, which nothing is written over.", ANOTHER)
        if not target.parent.is_dir():
            raise InputImpossible(f"{path} cannot be written: there is no folder {path.parent}.", MAKE_IT)
        beside = target.with_name(f".{target.name}.new")
        with beside.open("wb") as file:
            yield file
        beside.replace(target)
    except (OSError, RuntimeError) as error:  # RuntimeError: a link that leads round to itself
        reason = getattr(error, "strerror", None) or error
        raise InputImpossible(f"{path} cannot be written: {reason}.", ANOTHER) from error
    finally:
        if beside is not None:
            with suppress(OSError):
                beside.unlink(missing_ok=True)


def write_new(path: Path, content: bytes, mode: int = 0o644) -> None:
    """Write a file that is not there yet; `mode`: who may read it. Raises InputImpossible."""
    try:
        with os.fdopen(os.open(path, os.O_WRONLY | os.O_CREAT | os.O_EXCL, mode), "wb") as file:
            file.write(content)
    except FileExistsError as error:
        what = f"{path} is there already."
        raise InputImpossible(what, "Choose another name; nothing was written.") from error
    except OSError as error:
        what = f"{path} cannot be written ({error.strerror})."
        raise InputImpossible(what, "Is its folder there?") from error


def _is_record(target: Path) -> bool:
    """Whether a journal stands there, or what belongs to one."""
    if target.name.startswith(("journal.db", "journal.lock")):
        return target.exists()
    if not target.exists():
        return False
    with target.open("rb") as file:
        return file.read(16).startswith(_RECORDS)
