"""Files as each system wants them: opened, locked, brought to the disk, kept from others.

Not for what is in them, nor for their names (those that we make are legal on every system).
"""

from __future__ import annotations

import os
import sys
from pathlib import Path
from typing import Final

BYTES: Final[int] = getattr(os, "O_BINARY", 0)
"""To be opened with where bytes go out by their number: Windows would put a return before each line feed."""

OWN: Final[int] = BYTES | getattr(os, "O_NOFOLLOW", 0) | getattr(os, "O_NONBLOCK", 0)
"""The same for files of ours: not through a link that somebody planted (Windows cannot tell, but lets few
make one), and without waiting at a pipe in their place."""


def lock(number: int) -> bool:
    """Keep every other process from the file until its number is closed; False where another has it."""
    from portalocker import AlreadyLocked, LockFlags  # noqa: PLC0415  (0.05 s; most commands lock nothing)
    from portalocker import lock as locked  # noqa: PLC0415

    try:
        locked(number, LockFlags.EXCLUSIVE | LockFlags.NON_BLOCKING)
    except AlreadyLocked:
        return False
    return True


if sys.platform == "win32":

    def sync_folder(_folder: Path) -> None:
        """Nothing to do: NTFS keeps its names by a log of its own, and no program may sync a folder."""

    def others_may_read(_number: int) -> bool:
        """Whether others may read a file: here its folder decides, and a user's is the user's."""
        return False

    def mounted_read_only(_folder: Path) -> bool:
        """Whether its file system takes no writing: not told here."""
        return False
else:

    def sync_folder(folder: Path) -> None:
        """Bring new and changed names in a folder to the disk."""
        number = os.open(folder, os.O_RDONLY | os.O_DIRECTORY)
        try:
            to_disk(number)
        finally:
            os.close(number)

    def others_may_read(number: int) -> bool:
        """Whether the group or everybody may read or write an open file."""
        return bool(os.fstat(number).st_mode & 0o077)

    def mounted_read_only(folder: Path) -> bool:
        """Whether the file system of a folder takes no writing just now."""
        try:
            return bool(os.statvfs(folder).f_flag & os.ST_RDONLY)
        except OSError:
            return False


if sys.platform == "darwin":
    import fcntl

    def to_disk(number: int) -> None:
        """Bring a file to the disk; fsync(2) of this system stops at the drive's own memory."""
        try:
            fcntl.fcntl(number, fcntl.F_FULLFSYNC)
        except OSError:  # a share that does not know it
            os.fsync(number)
else:

    def to_disk(number: int) -> None:
        """Bring a file to the disk."""
        os.fsync(number)
