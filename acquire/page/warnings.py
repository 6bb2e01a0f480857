"""What speaks against the bench just now, gravest first; each goes away when its cause does.

Causes are of three sorts: signs on the meter's display (with every reading), facts of the bench (once a
second), and notices that another event takes back. Pure. Not for the log of all notices (view).
"""

from __future__ import annotations

from dataclasses import dataclass, field, replace

from acquire.heart.standstill import SIGNS, signs
from acquire.page.backend import Facts
from acquire.page.telling import Plain, picked
from acquire.records import (
    Batch,
    Code,
    Event,
    Fact,
    Judged,
    LeadZero,
    LiftOff,
    Notice,
    Settled,
    Severity,
    UnitResult,
    UnitStarted,
)
from acquire.words.faults import batch_doubt
from acquire.words.notices import said
from drivers.reading import Kind, Quantity, Reading

FADES_S = 8.0
"""So long the answer to a refused order stays."""

PATIENCE_S = 10.0
"""So long after the start a thermometer may take before its silence is told."""

RESTED_S = 3600.0
"""So long a unit that has rested is called back."""

GRAVEST_FIRST = (Severity.STOP, Severity.WARNING, Severity.INFO)

TAKEN_BACK: dict[Code, frozenset[Code]] = {
    Code.METER_LOST: frozenset({Code.METER_BACK}),
    Code.METER_LOSSY: frozenset({Code.METER_LOST}),
    Code.THERMOMETER_LOST: frozenset({Code.THERMOMETER_BACK}),
    Code.SCANNER_LOST: frozenset({Code.SCANNER_BACK}),
    Code.JOURNAL_UNUSABLE: frozenset({Code.JOURNAL_USABLE}),
    Code.FILES_REFUSED: frozenset({Code.FILES_TAKEN, Code.FILES_SAME, Code.FILES_WAITING}),
    Code.FILES_WAITING: frozenset({Code.FILES_TAKEN, Code.FILES_SAME, Code.FILES_REFUSED}),
    Code.SELF_CHECK_DUE: frozenset({Code.SELF_CHECK_PASSED}),
    Code.SELF_CHECK_FAILED: frozenset({Code.SELF_CHECK_PASSED}),
}
"""Notices that stand as warnings, and the notices that take each back."""

OF_A_STEP = frozenset({Code.METER_TURN, Code.METER_RANGE, Code.METER_RANGE_LOW})
"""What a step wants of the meter: nothing that the next unit is to be told of."""

ENDED_BY: dict[type, frozenset[Code]] = {
    Judged: OF_A_STEP
    | {
        Code.METER_UNSETTLED,
        Code.VALUE_UNTAKEN,
        Code.METER_REFUSED,
        Code.METER_FROZEN,
        Code.METER_UNSTATED,
    },
    UnitResult: OF_A_STEP,
    LeadZero: frozenset(
        {Code.LEADS_DOUBTED, Code.LEADS_IMPLAUSIBLE, Code.METER_UNSETTLED, Code.VALUE_UNTAKEN}
    ),
    LiftOff: frozenset({Code.METER_UNSETTLED, Code.VALUE_UNTAKEN}),
    Settled: frozenset({Code.METER_UNSETTLED}),
    UnitStarted: frozenset(
        {
            Code.LEADS_MOVED,
            Code.CLOCK_BEHIND,
            Code.CLOCK_SET_BACK,
            Code.CLOCK_SET_FORWARD,
            Code.CSV_ROWS_GONE,
            Code.JOURNAL_GONE,
            Code.JOURNAL_OLDER,
            Code.JOURNAL_QUARANTINED,
            Code.SCANNER_REFUSED,
            Code.METER_UNSTATED,
            Code.CHECK_OVERRIDDEN,
        }
    ),
}
"""Notices that stand as warnings until such an event: what they warned of is over, or was dealt with."""

SHORT_LIVED = frozenset({Code.COMMAND_REFUSED, Code.COMMAND_UNKNOWN, Code.SCANNER_REFUSED, Code.CHECK_OTHER})
"""Notices that only answer what somebody has just done."""

UNREAD = frozenset({Code.METER_UNREAD, Code.METER_UNUSABLE, Code.METER_SILENT})
"""Nothing usable comes from the meter; the next reading that can be used ends it."""

STANDING = frozenset({Code.CHECK_OVERRIDDEN}).union(TAKEN_BACK, SHORT_LIVED, UNREAD, *ENDED_BY.values())
"""Notices that are warnings."""


OF_UNITS = (Code.PART_WARM, Code.PART_RESTED)
"""Warnings of many units at once: one line for all, with the one whose turn comes first."""


OF_THERMOMETER = frozenset({Code.TEMPERATURE_MISSING, Code.TEMPERATURE_OLD})
DUE = OF_THERMOMETER | {
    *(Code.JOURNAL_HALTED, Code.METER_SILENT, Code.OUTLET_FAILING, Code.CALIBRATION_DUE),
    *(Code.LEADS_NONE, Code.LEADS_OLD, Code.CHECK_DUE, Code.CHECK_OUT),
}
"""Warnings that are facts of the bench."""

SAID_BY = {Code.METER_SILENT: Code.METER_LOST, Code.JOURNAL_HALTED: Code.JOURNAL_UNUSABLE}
"""Facts that a notice has told already, in more words."""


@dataclass(frozen=True, slots=True)
class Concern:
    """One warning.

    Attributes:
        told: what it says, since when, and of what.
        until_utc_s: when it ends by itself, None where it does not.
    """

    told: Notice
    until_utc_s: float | None = None

    def plain(self) -> Plain:
        """For the page; only a unit that rests is counted down."""
        until_utc_s = self.until_utc_s if self.told.code is Code.PART_WARM else None
        return {**picked(self.told, "code", "severity"), "until_utc_s": until_utc_s, "text": said(self.told)}


Key = tuple[Code, str]
"""A warning's code, and the unit or outlet that it is of where there may be several."""


@dataclass(slots=True)
class Warnings:
    """All warnings of one bench."""

    _now: dict[Key, Concern] = field(default_factory=dict)
    _began_s: float | None = None

    def plain(self) -> list[Plain]:
        """For the page, gravest first, then in the order in which they came up."""
        known = self._now.values()
        shown = [warning for warning in known if warning.told.code not in OF_UNITS]
        for code in OF_UNITS:
            if alike := [warning for warning in known if warning.told.code is code]:
                first = min(alike, key=lambda w: w.until_utc_s or w.told.utc_s)
                facts: dict[str, Fact] = {"more": len(alike) - 1} if len(alike) > 1 else {}
                shown.append(replace(first, told=replace(first.told, facts=facts)))
        shown.sort(key=lambda w: (GRAVEST_FIRST.index(w.told.severity), w.told.utc_s))
        return [warning.plain() for warning in shown]

    @property
    def stops(self) -> bool:
        """Whether one of them says that nothing is judged."""
        return any(warning.told.severity is Severity.STOP for warning in self._now.values())

    # ------------------------------------------------------------------ events

    def show(self, event: Event) -> None:
        """Take one event."""
        self._end(*ENDED_BY.get(type(event), ()))
        match event:
            case Notice():
                self._noticed(event)
            case UnitResult() if event.outcome is None and event.wait_s is not None:
                warm = Notice(Severity.WARNING, Code.PART_WARM, event.utc_s, event.serial)
                self._put(Concern(warm, event.utc_s + event.wait_s))
            case Batch() if event.first_doubt is None:
                self._end(Code.BATCH_FIRST_UNIT)
            case Batch():
                doubt = {"said": batch_doubt(event)}
                self._put(Concern(Notice(Severity.WARNING, Code.BATCH_FIRST_UNIT, event.utc_s, facts=doubt)))
            case UnitStarted():
                self._now.pop((Code.PART_WARM, event.serial), None)
                self._now.pop((Code.PART_RESTED, event.serial), None)

    def _noticed(self, notice: Notice) -> None:
        self._end(*(code for code, ends in TAKEN_BACK.items() if notice.code in ends))
        if notice.code in SHORT_LIVED:
            self._end(notice.code)
        if notice.code in STANDING:
            until_utc_s = notice.utc_s + FADES_S if notice.code in SHORT_LIVED else None
            self._put(Concern(replace(notice, serial=""), until_utc_s))

    # ------------------------------------------------------------------ readings

    def see(self, reading: Reading, wanted: Quantity) -> None:
        """Take the signs of one reading of the ohms meter."""
        there = {notice.code: notice for notice in signs(reading, wanted)}
        usable = UNREAD if reading.kind is not Kind.NO_READING and reading.quantity is wanted else ()
        self._end(*({Code.METER_LOST, Code.METER_FUNCTION, *usable, *SIGNS.values()} - there.keys()))
        for notice in there.values():
            self._put(Concern(notice))

    # ------------------------------------------------------------------ facts

    def know(self, facts: Facts) -> None:
        """Take the facts of this second."""
        self._pass(facts.utc_s)
        if Code.JOURNAL_HALTED not in {each.code for each in facts.due}:
            self._end(Code.JOURNAL_UNUSABLE)
        self._began_s = facts.utc_s if self._began_s is None else self._began_s
        young = facts.utc_s - self._began_s <= PATIENCE_S
        due = {
            (each.code, str(each.facts.get("outlet", ""))): each
            for each in facts.due
            if not (young and each.code in OF_THERMOMETER) and (SAID_BY.get(each.code), "") not in self._now
        }
        for key in [key for key in self._now if key[0] in DUE and key not in due]:
            del self._now[key]
        for (_, name), notice in due.items():
            self._put(Concern(notice), name)

    def _pass(self, now_s: float) -> None:
        """Time is up for some. A unit that has rested may come back; after a while nobody waits for it."""
        for (code, serial), warning in list(self._now.items()):
            until_s = warning.until_utc_s
            if until_s is None or now_s < until_s:
                continue
            del self._now[code, serial]
            if code is Code.PART_WARM:
                back = Notice(Severity.INFO, Code.PART_RESTED, until_s, serial)
                self._put(Concern(back, until_s + RESTED_S))

    # ------------------------------------------------------------------ the list

    def _put(self, concern: Concern, name: str = "") -> None:
        """Add a warning; one that is there keeps its time.

        Args:
            concern: the warning.
            name: what it is of where there may be several of its code; left out, its unit.
        """
        told = concern.told
        key = (told.code, name or told.serial)
        known = self._now.get(key)
        if known is not None:
            told = replace(told, utc_s=known.told.utc_s)
        self._now[key] = known if known is not None and known.told == told else replace(concern, told=told)

    def _end(self, *codes: Code) -> None:
        for code in codes:
            self._now.pop((code, ""), None)
