"""Reads a file that somebody named: a regular one, and no larger than such a file can be.

A pipe would be waited for without end, and a device has none. The size is that of what is read, not of what
the folder tells. Not for what is in it.
"""

from __future__ import annotations

import errno
import stat
from pathlib import Path

LARGEST_BYTES = 10_000_000
"""Of a table that a shop wrote; some 300000 rows."""


def read_file(path: Path, most_bytes: int = LARGEST_BYTES) -> bytes:
    """All bytes of a file.

    Raises:
        OSError: it cannot be read, is no file, or holds more than that.
    """
    refuse_no_file(path)
    with path.open("rb") as file:
        content = file.read(most_bytes + 1)
    if len(content) > most_bytes:
        size = f"{most_bytes / 1e6:g} MB" if most_bytes >= 1_000_000 else f"{most_bytes / 1e3:g} kB"
        raise OSError(errno.EFBIG, f"it is larger than {size}", str(path))
    return content


def refuse_no_file(path: Path) -> None:
    """Raise unless it is a regular file. Raises: OSError."""
    if not stat.S_ISREG(path.stat().st_mode):
        raise OSError(errno.EINVAL, "it is a folder, a pipe or a device", str(path))
