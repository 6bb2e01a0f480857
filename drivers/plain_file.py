"""Reads a file that somebody named: a regular one, and no more of it than such a file can hold.

A pipe would be waited for without end, and a device has none. Not for what is in it.
"""

from __future__ import annotations

import errno
import stat
from pathlib import Path


def read_file(path: Path, most_bytes: int) -> bytes:
    """All bytes of a file, or one more than the most, which then is too large.

    Raises:
        OSError: it cannot be read, or is no file.
    """
    refuse_no_file(path)
    with path.open("rb") as file:
        return file.read(most_bytes + 1)


def refuse_no_file(path: Path) -> None:
    """Raise unless it is a regular file. Raises: OSError."""
    if not stat.S_ISREG(path.stat().st_mode):
        raise OSError(errno.EINVAL, "it is a folder, a pipe or a device")
