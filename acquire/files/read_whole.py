"""Reads a file into memory that somebody named, if it is no larger than such a file can be.

The size is that of what is read, not of what the folder tells: a device has none and no end. Not for TOML
files, which `toml_file` reads with its own words.
"""

from __future__ import annotations

from pathlib import Path

from acquire.errors import InputImpossible
from drivers.plain_file import read_file

LARGEST_BYTES = 10_000_000
"""Of a table that a shop wrote; some 300000 rows."""


def read_whole(path: Path, most_bytes: int = LARGEST_BYTES) -> bytes:
    """All bytes of a file.

    Raises:
        InputImpossible: there are more than that.
        OSError: it cannot be read.
    """
    content = read_file(path, most_bytes)
    if len(content) > most_bytes:
        raise InputImpossible(f"{path} is larger than {most_bytes / 1e6:g} MB.", "Is it the right file?")
    return content
