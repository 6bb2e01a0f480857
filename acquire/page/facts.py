"""What the bench knows of itself from one second to the next, for the page's warnings and conditions.

Plain data; whoever runs the bench fills it in. Not for events: those reach the view one by one.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field

from acquire.records import Fact, LeadZero


@dataclass(frozen=True, slots=True)
class Facts:
    """The state of a bench beside its unit.

    Attributes:
        utc_s: now, by the bench's clock.
        meter_silence_s: since the latest reading of the ohms meter; None before the first.
        meter_patience_s: so long a silence is nothing to speak of.
        halted: the journal cannot be written.
        lead: the lead zero in force; lead_wanted: the bench needs one; lead_due: it is missing or too old.
        celsius: fresh temperature, None where there is none.
        temperature_known: some temperature has been read or typed, fresh or not.
        check_name: of the check standard, empty where the bench has none; check_due: it must be measured;
            check_blocked: it stops the bench; check_utc_s: of the latest check.
        calibration: facts of a calibration that is past due; empty where it is not.
        learned: facts of what the bench has learnt of its contacts; empty where that is nothing.
        failing: name and latest failure of each outlet that cannot get rid of what it has.
    """

    utc_s: float
    meter_silence_s: float | None = None
    meter_patience_s: float = 3.0
    halted: bool = False
    lead: LeadZero | None = None
    lead_wanted: bool = False
    lead_due: bool = False
    celsius: float | None = None
    temperature_known: bool = False
    check_name: str = ""
    check_due: bool = False
    check_blocked: bool = False
    check_utc_s: float | None = None
    calibration: Mapping[str, Fact] = field(default_factory=dict)
    learned: Mapping[str, Fact] = field(default_factory=dict)
    failing: tuple[tuple[str, str], ...] = ()

    @property
    def silent(self) -> bool:
        """Whether the meter has been silent for longer than it should be."""
        return self.meter_silence_s is not None and self.meter_silence_s > self.meter_patience_s
