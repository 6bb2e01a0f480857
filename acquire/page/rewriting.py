"""A TOML file changed where its settings stand: comments and order kept, tried as a whole, then put in place.

Not for what its settings mean (files, sheets) nor for which of them a page may change (running, sheet_edit).
"""

from __future__ import annotations

import contextlib
from collections.abc import Iterator
from pathlib import Path
from typing import Any

from acquire.files.new_file import new_file
from system.files import to_disk


def put_key(table: Any, key: str, value: Any) -> None:
    """One key of a table: what is alike stays as it is written, an empty value takes the key out."""
    before = table.get(key)
    if (before.unwrap() if hasattr(before, "unwrap") else before) == value:
        return
    if value in ("", None, [], {}):
        table.pop(key, None)
    else:
        table[key] = value


@contextlib.contextmanager
def on_trial(path: Path, text: str) -> Iterator[Path]:
    """The text as a file of a hidden name beside the one that it is to become, so that it can be read."""
    trial = path.with_name(f".{path.stem}.trial.toml")
    try:
        trial.write_text(text, encoding="utf-8")
        yield trial
    finally:
        trial.unlink(missing_ok=True)


def put_file(path: Path, text: str) -> None:
    """Put the text in place, whole or not at all, and on the disk. Raises OSError, SteadyohmError."""
    with new_file(path) as file:
        file.write(text.encode())
        file.flush()
        to_disk(file.fileno())
