"""Commands that go into the heart: from a scanner, a key, a pedal or the network."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class StartUnit:
    """A serial was scanned or typed."""

    serial: str
    batch: str = ""
    operator: str = ""


@dataclass(frozen=True, slots=True)
class MeasureAgain:
    """Discard the last verdict of a step and ask for it again; None means the latest step."""

    step: str | None = None


@dataclass(frozen=True, slots=True)
class SkipStep:
    """Leave a step out, with the reason that goes on the record."""

    reason: str
    step: str | None = None


@dataclass(frozen=True, slots=True)
class ZeroLeads:
    """Ask for a lead zero now."""


@dataclass(frozen=True, slots=True)
class GiveUpUnit:
    """End the unit as it is."""

    reason: str


@dataclass(frozen=True, slots=True)
class ConfirmOpen:
    """The operator states, by a key or pedal, that the probes are on the pair that must be open."""


@dataclass(frozen=True, slots=True)
class Note:
    """A remark that goes on the record."""

    text: str


Command = StartUnit | MeasureAgain | SkipStep | ZeroLeads | GiveUpUnit | ConfirmOpen | Note
