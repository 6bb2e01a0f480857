"""How an entry's row is read back; shared by the journal itself and by the history. Not for writing."""

from __future__ import annotations

import json
from typing import Any

from acquire.errors import JournalUnusable
from acquire.journal.entry import Entry


def entry_of(birth: str, row: tuple[Any, ...]) -> Entry:
    """Make the entry of a row of the table `entry`.

    Raises:
        JournalUnusable: its content is no JSON any more.
    """
    seq, kind, utc_s, serial, _batch, payload, evidence = row
    try:
        plain = json.loads(payload)
        kept = None if evidence is None else json.loads(evidence)
    except ValueError as error:
        raise JournalUnusable(
            f"Entry {seq} of the journal is damaged: {error}.", "Keep the file, and begin a new journal."
        ) from error
    return Entry(seq, f"{birth}-{seq}", kind, utc_s, serial, plain, kept)


def storable(text: str) -> str:
    """Text as a column can hold it: half a surrogate pair (hostile input) becomes a question mark."""
    return text.encode("utf-8", "replace").decode("utf-8")
