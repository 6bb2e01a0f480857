"""What a journal's folder remembers beside the journal: its birth id and the latest number it has given.

A journal that is emptied, lost, cut short or replaced by an older copy cannot tell so itself. Written after
each commit without waiting for the disk: a power cut may leave an older number, never a newer one. Not for
what is done about it (store).
"""

from __future__ import annotations

import contextlib
import os
import re
from pathlib import Path

from system.files import NO_LINK

FILE = "journal.counter"
_MODE = 0o640
_LINE = re.compile(r"([0-9a-f]{16}) +([0-9]{1,18})\n")


def remembered(folder: Path) -> tuple[str, int] | None:
    """Birth id and latest number; None where nothing is remembered, or nothing that can be read."""
    try:
        with (folder / FILE).open("rb") as file:
            found = _LINE.fullmatch(file.read(100).decode("ascii", "replace"))
    except OSError:
        return None
    return (found[1], int(found[2])) if found else None


def remember(folder: Path, birth: str, seq: int) -> None:
    """Write both over what was there, in one piece. A folder that cannot be written is no fault here."""
    with contextlib.suppress(OSError):
        number = os.open(folder / FILE, os.O_WRONLY | os.O_CREAT | NO_LINK, _MODE)
        try:
            os.write(number, f"{birth} {seq:>18}\n".encode())
        finally:
            os.close(number)
