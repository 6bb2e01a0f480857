"""What the settle stage says of one contact of the probes. Not for anything that knows of steps or limits."""

from __future__ import annotations

import math
from dataclasses import dataclass
from enum import StrEnum

from drivers.reading import Flag, Quantity


class Hindrance(StrEnum):
    """What keeps a contact from rest and hands can mend."""

    CREEPS = "creeps"  # a dirty pin, or too little pressure


class Hold(StrEnum):
    """Why the probes should be held longer than the value needs: the bench wants to learn."""

    FIRST_OF_SHIFT = "first_of_shift"
    SAMPLE = "sample"


@dataclass(frozen=True, slots=True)
class Learned:
    """What a bench has learnt of its own contacts: with these leads, at this meter.

    A plain value: the journal keeps it, a start takes it up again, and a replay comes to the same one.

    Attributes:
        version: goes up with every contact that taught something, and when all is forgotten.
        contacts: how many taught something since then.
        widening: factor on the stated uncertainty.
        wrong: how many reports turned out wrong, or plainly moved where the display hides it; older ones
            counted less.
        expected: how many were expected to.
        restless: mean logarithm of how far values moved on after a first look, in bands.
        moved: share that moved on by more than half of a band.
        creeping: how much values moved while held, squared, as a multiple of what noise alone does.
        creep_s: how long those contacts crept that did, in the mean; 0: none did.
    """

    version: int = 0
    contacts: int = 0
    widening: float = 0.7
    wrong: float = 0.0
    expected: float = 0.0
    restless: float = -1.8
    moved: float = 0.1
    creeping: float = 1.0
    creep_s: float = 0.0


@dataclass(frozen=True, slots=True)
class Contact:
    """The probes have touched something: the first reading after lift-off that is no overload.

    Attributes:
        goes_on: no open probes were seen since a value was taken: the same touch, by a meter set anew.
    """

    meter_id: str
    monotonic_s: float
    utc_s: float
    goes_on: bool = False


@dataclass(frozen=True, slots=True)
class Approach:
    """Still moving. At most one per reading; for displays only.

    Attributes:
        value_si: latest reading.
        settling_ratio: how far it is from settled, as a multiple of what is allowed; 1 or less means settled.
        hindrance: what keeps it, where that can be told.
    """

    meter_id: str
    quantity: Quantity
    value_si: float
    settling_ratio: float
    monotonic_s: float
    utc_s: float
    hindrance: Hindrance | None = None


@dataclass(frozen=True, slots=True)
class Settled:
    """A value at rest.

    The first report of a contact is provisional (`final` False, revision 0). A final one follows once a
    longer look confirms it; a value that moves on without a lift-off is reported again, next revision.

    Attributes:
        value_si: best estimate of the value at rest.
        type_a_si: standard uncertainty from the scatter of the readings, lag-1 autocorrelation allowed for
            (JCGM 100:2008, 4.2, with n replaced by the effective number).
        degrees_of_freedom: of `type_a_si`.
        drift_si: standard uncertainty for what may be left of a drift.
        quantisation_si: standard uncertainty from the display's count, after the dither that noise gives;
            rectangular.
        expanded_si: half-width of the 95 % interval of the reading at rest, from the three together. It does
            not hold the meter's accuracy, the leads or the temperature.
        conversions: how many different conversions it rests on.
        range_full_scale_si, resolution_si: of the range in use; None when unknown.
        contact_s: monotonic time of the contact.
        monotonic_s, utc_s: instant of the reading that decided.
        revision: 0 for the first report of a contact, then 1, 2, ...
        final: True once confirmed.
        flags: every sign seen on a reading used.
        trace: the readings it rests on, oldest first, as (seconds since contact, value_si); evidence.
        raw: bytes of the deciding reading.
        learned: version of what the bench had learnt (`Learned`).
        hold: why this contact should be held longer; None: no need.
        hold_s: and for how long after this report.
        in_doubt: not surely settled when the probes left, or after long; its U says so.
    """

    meter_id: str
    quantity: Quantity
    value_si: float
    type_a_si: float
    degrees_of_freedom: float
    drift_si: float
    quantisation_si: float
    expanded_si: float
    conversions: int
    range_full_scale_si: float | None
    resolution_si: float | None
    contact_s: float
    monotonic_s: float
    utc_s: float
    revision: int = 0
    final: bool = False
    flags: frozenset[Flag] = frozenset()
    trace: tuple[tuple[float, float], ...] = ()
    raw: bytes = b""
    learned: int = 0
    hold: Hold | None = None
    hold_s: float = 0.0
    in_doubt: bool = False

    @property
    def standard_uncertainty_si(self) -> float:
        """Root sum of squares of the three terms."""
        return math.sqrt(self.type_a_si**2 + self.drift_si**2 + self.quantisation_si**2)


@dataclass(frozen=True, slots=True)
class LiftOff:
    """The probes have left: overload (or silence) for long enough."""

    meter_id: str
    monotonic_s: float
    utc_s: float


SettleEvent = Contact | Approach | Settled | LiftOff
