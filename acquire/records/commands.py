"""Commands that go into the heart: from a scanner, a key, a pedal or the network."""

from __future__ import annotations

from dataclasses import dataclass, field

from acquire.choices import Pair
from acquire.records.codes import Ending

COLDEST_CELSIUS, WARMEST_CELSIUS = -20.0, 60.0
"""Of a room in which units are measured; wide enough for a shed in winter and a foundry. Workshop choice."""

SUREST_KELVIN, VAGUEST_KELVIN = 0.001, 20.0
"""Standard uncertainties of a temperature that somebody may state; workshop choice."""

LARGEST_BATCH = 100_000
"""Units that somebody may expect of one batch; beyond lies a slip of the finger."""

UNITS = {"at_least": 1, "at_most": LARGEST_BATCH, "whole": True}
"""What may be said of how many: checked where it comes in."""


@dataclass(frozen=True, slots=True)
class StartUnit:
    """A serial was scanned or typed.

    Attributes:
        sure: the unit on the bench may be given up for it, half measured as it is.
    """

    serial: str
    batch: str = ""
    operator: str = ""
    sure: bool = False


@dataclass(frozen=True, slots=True)
class Undo:
    """Take back the latest scan, giving up, skip or key, as long as nothing was judged since."""


@dataclass(frozen=True, slots=True)
class CallGood:
    """The unit measured last is a good one, and a sheet is to be learnt from all such units.

    It is named after the sheet in force where no name is given.
    """

    name: str = ""


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
    """End the unit as it is.

    Attributes:
        reason: the operator's words.
        ending: NEXT_UNIT where the next one is why; nobody types that.
    """

    reason: str
    ending: Ending = Ending.EARLY


@dataclass(frozen=True, slots=True)
class ConfirmOpen:
    """The operator states, by a key or pedal, that the probes are on the pair that must be open."""


@dataclass(frozen=True, slots=True)
class Note:
    """A remark that goes on the record."""

    text: str


@dataclass(frozen=True, slots=True)
class CheckMeter:
    """Ask for the check standard now."""


@dataclass(frozen=True, slots=True)
class OverrideCheck:
    """Go on although the check standard speaks against the bench; the reason goes on the record."""

    reason: str


@dataclass(frozen=True, slots=True)
class TypeResult:
    """A result from elsewhere, such as "insulation = 120 Mohm, 500 V"; empty: what is wanted, and how."""

    text: str = ""


@dataclass(frozen=True, slots=True)
class TypeReading:
    """What the display of a meter without a cable shows, such as "20.6", "0.44k" or "OL 2k"."""

    text: str


@dataclass(frozen=True, slots=True)
class TypeTemperature:
    """The operator has read a thermometer.

    Attributes:
        celsius: of the room, and so of a unit that has soaked in it.
        standard_uncertainty_kelvin: of that; None until the bench has put in its own.

    The numbers in each field's metadata are what somebody may state; they are checked where it is typed or
    comes in.
    """

    celsius: float = field(metadata={"at_least": COLDEST_CELSIUS, "at_most": WARMEST_CELSIUS})
    standard_uncertainty_kelvin: float | None = field(
        default=None, metadata={"at_least": SUREST_KELVIN, "at_most": VAGUEST_KELVIN}
    )


@dataclass(frozen=True, slots=True)
class StateRange:
    """The operator has looked at the meter's dial: full scale of the range that it is on."""

    full_ohm: float = field(metadata={"at_least": 1.0, "at_most": 1e12})


@dataclass(frozen=True, slots=True)
class ClockSet:
    """The machine's UTC was set forward (> 0) or back (< 0); nobody types this."""

    by_s: float


@dataclass(frozen=True, slots=True)
class FixtureMoved:
    """The fixture holds this pair now, or has opened all relays where both are empty; nobody types this."""

    pin_a: str = ""
    pin_b: str = ""


@dataclass(frozen=True, slots=True)
class FixtureOpen:
    """The pair that the fixture holds is open, as the `Verdict.witness` proves; nobody types this."""

    witness: tuple[Pair, ...]


@dataclass(frozen=True, slots=True)
class OpenBatch:
    """Begin a batch; one that was paused goes on. Another one that is running is paused.

    Attributes:
        batch: its name.
        expected: how many units it shall have; None: not said.
    """

    batch: str
    expected: int | None = field(default=None, metadata=UNITS)
    operator: str = ""
    remark: str = ""


@dataclass(frozen=True, slots=True)
class PauseBatch:
    """Take no more units for the batch that is running, until it is resumed."""

    remark: str = ""


@dataclass(frozen=True, slots=True)
class ResumeBatch:
    """Go on with a paused batch, or a finished one; empty means the one that was paused last."""

    batch: str = ""
    remark: str = ""


@dataclass(frozen=True, slots=True)
class FinishBatch:
    """The batch that is running is complete, or is given up."""

    remark: str = ""


@dataclass(frozen=True, slots=True)
class ChangeSpool:
    """The units that follow are wound from another spool.

    Attributes:
        spool: what is written on it.
        windings: names of the windings wound from it, separated by commas; empty: all that it fits.
    """

    spool: str
    windings: str = ""


@dataclass(frozen=True, slots=True)
class AcceptFirstUnit:
    """Go on although the first unit is not what sheet and spool card predict; the reason is kept."""

    reason: str


@dataclass(frozen=True, slots=True)
class UnitKnown:
    """What the record says of a unit that is about to be started; nobody types this.

    Attributes:
        serial: of the unit.
        batch: that it belongs to, empty for none.
        attempts: how often it was put on a bench for this batch and purpose before.
        others: how many other units the batch has that is running now.
        held_utc_s: when its latest result was that it is warm; None where it was not.
    """

    serial: str
    batch: str
    attempts: int
    others: int = 0
    held_utc_s: float | None = None


Command = (
    StartUnit
    | Undo
    | CallGood
    | MeasureAgain
    | SkipStep
    | ZeroLeads
    | GiveUpUnit
    | ConfirmOpen
    | Note
    | TypeReading
    | TypeTemperature
    | StateRange
    | ClockSet
    | CheckMeter
    | OverrideCheck
    | TypeResult
    | FixtureMoved
    | FixtureOpen
    | OpenBatch
    | PauseBatch
    | ResumeBatch
    | FinishBatch
    | ChangeSpool
    | AcceptFirstUnit
    | UnitKnown
)
