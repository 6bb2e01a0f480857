"""Batches: units of one sheet that are made and measured together, and the spools they are wound from.

A batch is opened, paused, resumed and finished; each of these is a record of its own that holds the whole
state of the batch afterwards, so that the latest one tells all. Not for what is computed from a batch
(`acquire.reports`).
"""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum

from acquire.choices import Pair
from acquire.records.codes import Hypothesis


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
