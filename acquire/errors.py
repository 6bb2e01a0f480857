"""Errors that a user can cause, with exit code and remedy. Not for meters: those are `drivers.errors`."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path


class SteadyohmError(Exception):
    """Root of the daemon's own errors.

    Attributes:
        what: one sentence, what is wrong and where.
        hint: one sentence, what to do.
        exit_code: 2 for bad input, 1 for a failed run.
    """

    exit_code = 1

    def __init__(self, what: str, hint: str = "") -> None:
        self.what = what
        self.hint = hint
        super().__init__(what)

    def __str__(self) -> str:
        return f"{self.what} {self.hint}".rstrip()


class QuantityInvalid(SteadyohmError):
    """A text that should be a number with its unit is not."""

    exit_code = 2


@dataclass(frozen=True, slots=True)
class Fault:
    """One fault of a file: where, what, and what to do.

    Attributes:
        line: 1-based line in the file; 0 when it concerns the file as a whole.
        key: the setting, e.g. `winding[2].tolerance.acceptance`; empty when there is none.
    """

    file: Path
    line: int
    key: str
    what: str
    remedy: str

    def __str__(self) -> str:
        place = f"{self.file}:{self.line}" if self.line else f"{self.file}"
        key = f"{self.key}: " if self.key else ""
        return f"{place}: {key}{self.what} {self.remedy}".rstrip()


class FileInvalid(SteadyohmError):
    """A bench, sheet or meter file cannot be used. Holds every fault found, not the first only."""

    exit_code = 2

    def __init__(self, faults: list[Fault]) -> None:
        self.faults = faults
        super().__init__("\n".join(str(fault) for fault in faults))


class InputImpossible(SteadyohmError, ValueError):
    """A number that cannot be: below absolute zero, a negative tolerance, a missing uncertainty."""

    exit_code = 2


class LibraryMissing(SteadyohmError):
    """A library of an optional set is not installed."""

    exit_code = 2


class JournalUnusable(SteadyohmError):
    """The record cannot be written or read; no verdict may be given."""


class JournalMissing(JournalUnusable):
    """There is no journal where one was named to be read."""

    exit_code = 2


NAME_AND_RIGHTS = "Check its name and rights."
"""What to do about a file that is named and cannot be read."""


def why_unreadable(error: OSError | ValueError) -> str:
    """The reason in the system's words, for a text file that could not be read."""
    if isinstance(error, UnicodeDecodeError):
        return "it is no text in UTF-8"
    return getattr(error, "strerror", None) or str(error)


def unreadable(named: object, error: OSError | ValueError) -> InputImpossible:
    """What to raise where a file that somebody has named cannot be read.

    Args:
        named: the file, as the sentence begins with it.
        error: that reading it ended with.
    """
    return InputImpossible(f"{named} cannot be read: {why_unreadable(error)}.", NAME_AND_RIGHTS)


def quoted(text: str) -> str:
    """A text for a message: short, and free of control characters."""
    clean = "".join(sign if sign.isprintable() else "�" for sign in text)
    return f'"{clean[:LONGEST_QUOTED]}…"' if len(clean) > LONGEST_QUOTED else f'"{clean}"'


LONGEST_QUOTED = 60
"""Characters of a text in a message."""
