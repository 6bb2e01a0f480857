"""When a serial is asked about before it is taken. Pure. Not for what happens with it then."""

from __future__ import annotations

import re
from dataclasses import dataclass
from enum import StrEnum


class SerialDoubt(StrEnum):
    """What speaks against a serial: it reads like a command word, or is not as this bench's serials are."""

    WORD = "word"
    PATTERN = "pattern"


@dataclass(frozen=True, slots=True)
class SerialRule:
    """What serials of one bench look like.

    Attributes:
        pattern: regular expression that each matches in full; empty where none is stated.
        words: command words, without the full stop that makes a command of them.
    """

    pattern: str = ""
    words: frozenset[str] = frozenset()

    def doubt(self, serial: str) -> SerialDoubt | None:
        """What speaks against a serial; None where nothing does."""
        if self.pattern:
            return None if re.fullmatch(self.pattern, serial) else SerialDoubt.PATTERN
        first = serial.split(maxsplit=1)[0].casefold() if serial.strip() else ""
        return SerialDoubt.WORD if first.strip(".:,;!") in self.words else None
