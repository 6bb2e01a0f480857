"""The frozen records that flow through the heart, and the events that leave it.

One record an arrow: Reading -> Settled -> Corrected -> Match -> Verdict. Each is a frozen, slotted dataclass
with the unit of measure in every field name (`_ohm`, `_celsius`, `_s`, `_si` for the SI unit of the record's
quantity). They hold no behaviour beyond small derived properties, and they are the public schema: what is
journalled, published and exported is one of these. Not for anything that only one stage knows.
"""

from __future__ import annotations

import re

from acquire.choices import Outcome, Pair, Purpose, Rule, Shape
from acquire.records.batches import Batch, BatchEvent, BatchState, Compared, FirstUnitDoubt, WoundFrom
from acquire.records.bench import (
    Ask,
    BalanceFound,
    Finding,
    LeadZero,
    Notice,
    Prompt,
    Refused,
    Severity,
    UnitResult,
    UnitStarted,
    Untested,
)
from acquire.records.codes import (
    BalanceKind,
    Basis,
    Code,
    Ending,
    Fact,
    FaultPlace,
    FindingKind,
    Hypothesis,
    Refusal,
    Scope,
    Sign,
    UntestedKind,
    Why,
)
from acquire.records.commands import (
    AcceptFirstUnit,
    CallGood,
    ChangeSpool,
    CheckMeter,
    ClockSet,
    Command,
    ConfirmOpen,
    FinishBatch,
    FixtureMoved,
    FixtureOpen,
    GiveUpUnit,
    MeasureAgain,
    Note,
    OpenBatch,
    OverrideCheck,
    PauseBatch,
    ResumeBatch,
    SkipStep,
    StartUnit,
    StateRange,
    TypeReading,
    TypeResult,
    TypeTemperature,
    Undo,
    UnitKnown,
    ZeroLeads,
)
from acquire.records.results import CheckStandard, ImportedResult, ResultKind, TypedResult, TypedWhy
from acquire.records.settled import Approach, Contact, Hindrance, Hold, Learned, LiftOff, Settled, SettleEvent
from acquire.records.unit_type import (
    Balance,
    Branch,
    BranchKind,
    Circumstances,
    Isolation,
    Pin,
    Sheet,
    Step,
    StepKind,
)
from acquire.records.verdict import Corrected, Decision, Evidence, Fit, Judged, Limits, Match, Term, Verdict

Recorded = (
    Verdict
    | UnitStarted
    | UnitResult
    | LeadZero
    | CheckStandard
    | TypedResult
    | Batch
    | ImportedResult
    | Notice
)
"""What the journal keeps."""

Event = (
    Contact
    | Approach
    | Settled
    | LiftOff
    | Match
    | Prompt
    | Judged
    | UnitStarted
    | UnitResult
    | LeadZero
    | CheckStandard
    | TypedResult
    | Batch
    | Notice
)
"""What leaves the heart."""


def name_of(record: type) -> str:
    """A record's name as it stands on the journal and in messages: `unit_started` of `UnitStarted`."""
    return re.sub(r"(?<!^)(?=[A-Z])", "_", record.__name__).lower()
