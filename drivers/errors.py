"""What can go wrong between the meter and its first reading.

Every error names the port and, where known, the bytes that caused it, and ends in a hint: one sentence that
tells the operator what to do. Not for faults of sheets or bench files: those are `acquire.errors`.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass


class MeterError(Exception):
    """Root of all that a driver raises.

    Attributes:
        what: one sentence, what is wrong and where.
        port: the address as the bench file gives it, e.g. `tcp:127.0.0.1:5025`.
        hint: one sentence, what to do.
        raw: the bytes that caused it, if any (never more than 64 kept).
    """

    hint = "Check the meter and its cable."

    def __init__(self, what: str, *, port: str = "", hint: str = "", raw: bytes = b"") -> None:
        self.what = what
        self.port = port
        if hint:
            self.hint = hint
        self.raw = raw[-64:]
        super().__init__(what)

    def __str__(self) -> str:
        place = f"{self.port}: " if self.port and self.port not in self.what else ""
        tail = f" (last bytes: {self.raw.hex(' ')})" if self.raw else ""
        said = f"{place}{self.what}{tail}"
        stop = "" if said.endswith((".", "!", "?")) else "."
        return f"{said}{stop} {self.hint}".rstrip()


class GivenInvalid(MeterError):
    """What a person gave cannot be used: an address, a name, an option, a file, pasted bytes."""


class AddressInvalid(GivenInvalid):
    """The bench file's link address cannot be understood; the file is at fault."""

    hint = "Write it as tcp:HOST:PORT, serial:/dev/NAME or visa:RESOURCE."


class LinkUnavailable(MeterError):
    """The link could not be opened: nothing listens, no such port, no permission, or taken."""

    hint = "Is the meter on and plugged in? It is retried automatically."


class LinkLost(MeterError):
    """An open link broke: cable pulled, peer gone."""

    hint = "Plug it back in; reading continues automatically."


class LinkTimeout(MeterError):
    """No answer within the deadline. The link is dirty until it has been drained and proven aligned."""

    hint = "Is the meter busy, or set to another rate?"


class FrameGarbled(MeterError):
    """Bytes arrived that are no frame of this protocol."""

    hint = "Check the line settings (baud rate, parity) in the bench file."


class MeterRefused(MeterError):
    """The meter answered with an error of its own."""

    hint = "See the meter's own manual for this error."


class DriverUnknown(GivenInvalid):
    """No driver of that name is installed, or its library is missing."""

    hint = "`steadyohm meters` lists the drivers that are there."


@dataclass(frozen=True, slots=True)
class FaultAt:
    """One fault of a file.

    Attributes:
        line: 0 where it cannot be told; key: empty where it is of the whole file; what: a sentence.
    """

    line: int
    key: str
    what: str

    def told(self, path: object) -> str:
        """As "file:line: key: what is wrong"."""
        place = f"{path}:{self.line}" if self.line else f"{path}"
        return f"{place}: {self.key + ': ' if self.key else ''}{self.what}"


class ModelInvalid(GivenInvalid):
    """A meter file cannot be used.

    Attributes:
        faults: each by its place; empty where the file is sound, and lacks what is asked of it.
    """

    hint = "See configs/meters/README.md."

    def __init__(self, what: str, *, port: str = "", hint: str = "", faults: Sequence[FaultAt] = ()) -> None:
        super().__init__(what, port=port, hint=hint)
        self.faults = tuple(faults)

    @classmethod
    def of_file(cls, path: object, *faults: FaultAt) -> ModelInvalid:
        """A file with these faults, all told at once."""
        return cls("\n".join(fault.told(path) for fault in faults), faults=faults)
