"""Batches: units of one sheet that are made and measured together, and the spools they are wound from.

A batch is opened, paused, resumed and finished; each of these is a record of its own that holds the whole
state of the batch afterwards, so that the latest one tells all. Not for what is computed from a batch
(`acquire.reports`).
"""

from __future__ import annotations

from dataclasses import dataclass, field
from enum import StrEnum

from acquire.choices import Pair
from acquire.records.codes import Hypothesis

LARGEST_BATCH = 100_000
"""Units that somebody may expect of one batch; beyond lies a slip of the finger."""

UNITS = {"at_least": 1, "at_most": LARGEST_BATCH, "whole": True}
"""What may be said of how many: checked where it comes in."""


class BatchState(StrEnum):
    """Where a batch stands; only a running one takes units."""

    RUNNING = "running"
    PAUSED = "paused"
    FINISHED = "finished"


class BatchEvent(StrEnum):
    """What was done to a batch.

    MADE_WAY: paused, since another batch took its place. FIRST_UNIT: the first unit since the start, or
    since a spool was changed, was compared with what sheet and spool card predict. ACCEPTED: the operator
    goes on although that comparison speaks against the unit.
    """

    OPENED = "opened"
    PAUSED = "paused"
    MADE_WAY = "made_way"
    RESUMED = "resumed"
    SPOOL_CHANGED = "spool_changed"
    FIRST_UNIT = "first_unit"
    ACCEPTED = "accepted"
    FINISHED = "finished"


@dataclass(frozen=True, slots=True)
class WoundFrom:
    """One winding and the spool that its wire comes from.

    Attributes:
        winding: its name on the sheet.
        spool: what is written on the spool.
        ohm_per_m: of its wire at 20 °C by its card; None where the bench has no card of it.
        relative_u: standard uncertainty of that as a fraction; None likewise.
    """

    winding: str
    spool: str
    ohm_per_m: float | None = None
    relative_u: float | None = None


@dataclass(frozen=True, slots=True)
class Compared:
    """One reading of a first unit beside what sheet and spool cards predict.

    Attributes:
        pair: it is of.
        ohm, predicted_ohm: at the reference temperature.
        reach_ohm: half-width of what 95 % of good units read, measurement included.
    """

    pair: Pair
    ohm: float
    predicted_ohm: float
    reach_ohm: float


@dataclass(frozen=True, slots=True)
class FirstUnitDoubt:
    """What speaks against the first unit of a batch.

    Attributes:
        probability: that it is not wound as planned, 0 to 1.
        hypotheses: what may be wrong, what the next unit would have as well first; one or two, or none where
            nothing stands out.
        said: the sentence of an old record, which has nothing else of it; empty of any other.
    """

    probability: float
    hypotheses: tuple[Hypothesis, ...]
    said: str = ""


@dataclass(frozen=True, slots=True)
class Batch:
    """A deed on a batch, with the state it leaves the batch in.

    Attributes:
        batch: its name.
        deed: what was done now.
        state: afterwards.
        sheet, sheet_hash: what is made; a batch keeps to one sheet by its name.
        expected: how many units it shall have; None where nobody said.
        spools: what each winding is wound from, as far as it was said.
        first_serial: the unit that was compared with sheet and spool cards since the start or since the last
            change of a spool; empty while the next finished unit will be.
        compared: the reading of that unit that lies furthest off what was predicted; None before.
        first_doubt: what speaks against that unit, None where nothing does or it was accepted; a batch in
            doubt starts no other unit.
        remark: the operator's words on the deed, such as why it was paused.
        changed: what a change of spool has changed; a part of `spools`.
    """

    bench: str
    batch: str
    deed: BatchEvent
    state: BatchState
    sheet: str
    sheet_hash: str
    expected: int | None
    spools: tuple[WoundFrom, ...]
    first_serial: str
    operator: str
    remark: str
    utc_s: float
    compared: Compared | None = None
    first_doubt: FirstUnitDoubt | None = None
    changed: tuple[WoundFrom, ...] = ()


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
