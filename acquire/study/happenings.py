"""What happens in a study, for its file and its screen. Never a value at rest: nobody is to see one."""

from __future__ import annotations

from dataclasses import dataclass

from acquire.records import Approach, Contact, LeadZero, LiftOff, Notice, Prompt
from acquire.study.plan import Turn
from acquire.study.record import Measurement


@dataclass(frozen=True, slots=True)
class Taken:
    """A measurement was made; `revised` where the value has moved on under the same touch."""

    measurement: Measurement
    turn: Turn
    revised: bool = False


@dataclass(frozen=True, slots=True)
class TakenBack:
    """The measurement of a turn counts no more and will be made again."""

    turn: Turn


@dataclass(frozen=True, slots=True)
class Finished:
    """Nothing is missing."""


Happening = Taken | TakenBack | Finished | Prompt | Notice | LeadZero | Approach | Contact | LiftOff
"""What comes out."""
