"""Codes that records carry in place of sentences, and faults by name, place and size with how likely each is.

`acquire.words` says each of them. Not for finding faults.
"""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum

from acquire.choices import Pair

Fact = str | float | int | bool | None | tuple[str, ...]
"""One field of a notice or prompt: a name, a number in the unit of its key, or what a person typed."""


WARM_CHECK = "warm check"
"""Name of the step that repeats the first resistance at the end of a unit."""


class Order(StrEnum):
    """Whether the steps must come as the sheet lists them."""

    GUIDED = "guided"
    FREE = "free"


class Recheck(StrEnum):
    """When a lead zero is looked at again, so that what was measured since can be trusted or doubted.

    UNIT: after every unit. SHIFT: as soon as it is too old and no unit is on the bench. NEVER: only when the
    next unit needs a fresh one.
    """

    UNIT = "unit"
    SHIFT = "shift"
    NEVER = "never"


class Ending(StrEnum):
    """How a unit's visit on the bench ended.

    DONE: by its steps. WARM: held, it must cool first. EARLY: by the operator. NEXT_UNIT: the next unit
    was scanned. FILES_CHANGED: sheet, meter file or bench file are others than it began with.
    UNDONE: its scan was taken back.
    """

    DONE = "done"
    WARM = "warm"
    EARLY = "early"
    NEXT_UNIT = "next_unit"
    FILES_CHANGED = "files_changed"
    UNDONE = "undone"

    @property
    def judged(self) -> bool:
        """Whether a visit that ended so has an outcome."""
        return self is Ending.DONE


class Basis(StrEnum):
    """What a verdict rests on.

    MEASURED: a settled value. REPEATED: the first pair measured again at the end. OPEN_BY_KEY, OPEN_BY_CLIP:
    an open pair on the operator's word that probes, or clips, are on it. OPEN_BRACKETED: an open pair between
    touches of two known continuities. OPEN_PROVEN: an open pair whose pins a fixture has proven to have
    contact. PAPER: an imported paper record. TYPED: a value that somebody has read off a display and typed.
    """

    MEASURED = "measured"
    REPEATED = "repeated"
    OPEN_BY_KEY = "open_by_key"
    OPEN_BY_CLIP = "open_by_clip"
    OPEN_BRACKETED = "open_bracketed"
    OPEN_PROVEN = "open_proven"
    PAPER = "paper"
    TYPED = "typed"


class Scope(StrEnum):
    """What a verdict is about.

    TOLERANCE: the sheet's limits. CONTINUITY: at most so many ohms, as the step asks. CONTINUITY_ONLY: the
    same where the step asks for a tolerance that this meter cannot judge.
    """

    TOLERANCE = "tolerance"
    CONTINUITY = "continuity"
    CONTINUITY_ONLY = "continuity_only"


class Why(StrEnum):
    """Why a thing is asked for in the way it is.

    FAILED: the value did not pass. DISAGREE: no two failing values agree yet. PASSED_AFTER_FAIL: it failed
    first, and passes now. SET_UP: the meter is set for it now. INCONSISTENT: it does not go with the other
    values. LOOKS_LIKE: the last value reads like another pair. SILENT: no contact was seen for long. FREE:
    any pair still open will do. BLOCKED: the check standard stops the bench. DOUBT: the first unit of the
    batch is in doubt. COUNTED: so many units of the batch are done. DONE: the unit, or the study, is.
    REFERENCE: values are compared with it. FIXTURE: relays see to it. CLIP_FIRST: the fixture zeroes its
    leads only through a unit. SELF_CHECK: a meter is checked before its verdicts; SELF_CHECK_PASSED: it
    has passed. STUDY: somebody's turn in one.
    """

    NONE = "none"
    FAILED = "failed"
    DISAGREE = "disagree"
    PASSED_AFTER_FAIL = "passed_after_fail"
    SET_UP = "set_up"
    INCONSISTENT = "inconsistent"
    LOOKS_LIKE = "looks_like"
    SILENT = "silent"
    FREE = "free"
    BLOCKED = "blocked"
    DOUBT = "doubt"
    COUNTED = "counted"
    DONE = "done"
    REFERENCE = "reference"
    FIXTURE = "fixture"
    CLIP_FIRST = "clip_first"
    SELF_CHECK = "self_check"
    SELF_CHECK_PASSED = "self_check_passed"
    STUDY = "study"


class BalanceKind(StrEnum):
    """What a rule over windings that must be alike limits.

    FROM_MEAN: the largest deviation of one from the mean of all; APART: the difference of two.
    """

    FROM_MEAN = "from_mean"
    APART = "apart"


class Sign(StrEnum):
    """What speaks against a bench by its check standard: the rules of its chart (physics/check_standard)."""

    OFF_CERTIFICATE = "off_certificate"
    BEYOND_LIMITS = "beyond_limits"
    JUMP = "jump"
    RUN = "run"
    TREND = "trend"


RUN_LENGTH = 9
"""Readings in a row on one side of the centre that are no chance: 9 happen by chance in 1 of 256 runs
(ISO 7870-2:2013 counts 9 as well; from memory)."""


class FindingKind(StrEnum):
    """Which rule over a whole unit found something; FIRST_UNIT: the batch's, and it waits for a word."""

    UNEVEN = "uneven"
    CONTRADICTION = "contradiction"
    TYPED = "typed"
    CLOSURE = "closure"
    TEMPERATURE = "temperature"
    STEP = "step"
    FIRST_UNIT = "first_unit"


class ClosureKind(StrEnum):
    """What a closed relation of a circuit is about: a pin's joint, a winding that no pair shows alone."""

    JOINT = "joint"
    WINDING = "winding"


class UntestedKind(StrEnum):
    """What was not tested.

    ISOLATION: between groups. STEP: a typed one. TURNS: faults between turns. CIRCUIT: a part no step
    measures. TOLERANCE: of a step, or a rule over windings, that only continuity was shown of.
    """

    ISOLATION = "isolation"
    STEP = "step"
    TURNS = "turns"
    CIRCUIT = "circuit"
    TOLERANCE = "tolerance"


class Code(StrEnum):
    """What a notice, or a warning of the page, is of; `acquire.words` says each."""

    BATCH_COMPLETE = "batch.complete"
    BATCH_FIRST_UNIT = "batch.first_unit"
    BATCH_PAUSED = "batch.paused"
    BATCH_SPOOL = "batch.spool"
    BATCH_STANDING = "batch.standing"
    BENCH_LEARNT = "bench.learnt"
    CALIBRATION_DUE = "calibration.due"
    CHECK_ASKED = "check.asked"
    CHECK_DUE = "check.due"
    CHECK_OTHER = "check.other"
    CHECK_OUT = "check.out"
    CHECK_OUT_OF_CONTROL = "check.out_of_control"
    CHECK_OVERRIDDEN = "check.overridden"
    CLOCK_BEHIND = "clock.behind"
    CLOCK_SET_BACK = "clock.set_back"
    CLOCK_SET_FORWARD = "clock.set_forward"
    COMMAND_HELP = "command.help"
    COMMAND_REFUSED = "command.refused"
    COMMAND_UNKNOWN = "command.unknown"
    CSV_ROWS_GONE = "csv.rows_gone"
    FILES_AWAY = "files.away"
    FILES_NOT_FETCHED = "files.not_fetched"
    FILES_OLD = "files.old"
    FILES_REFUSED = "files.refused"
    FILES_SAME = "files.same"
    FILES_TAKEN = "files.taken"
    FILES_WAITING = "files.waiting"
    FIXTURE_UNPROVEN = "fixture.unproven"
    JOURNAL_GONE = "journal.gone"
    JOURNAL_HALTED = "journal.halted"
    JOURNAL_OLDER = "journal.older"
    JOURNAL_QUARANTINED = "journal.quarantined"
    JOURNAL_UNUSABLE = "journal.unusable"
    JOURNAL_USABLE = "journal.usable"
    LEADS_ASKED = "leads.asked"
    LEADS_DOUBTED = "leads.doubted"
    LEADS_IMPLAUSIBLE = "leads.implausible"
    LEADS_MOVED = "leads.moved"
    LEADS_NONE = "leads.none"
    LEADS_OLD = "leads.old"
    METER_BACK = "meter.back"
    METER_BATTERY = "meter.battery"
    METER_DIAL = "meter.dial"
    METER_FROZEN = "meter.frozen"
    METER_FUNCTION = "meter.function"
    METER_HOLD = "meter.hold"
    METER_LOSSY = "meter.lossy"
    METER_LOST = "meter.lost"
    METER_MAXIMUM = "meter.maximum"
    METER_MINIMUM = "meter.minimum"
    METER_RANGE = "meter.range"
    METER_RANGE_LOW = "meter.range_low"
    METER_REFUSED = "meter.refused"
    METER_RELATIVE = "meter.relative"
    METER_SILENT = "meter.silent"
    METER_TURN = "meter.turn"
    METER_UNREAD = "meter.unread"
    METER_UNSETTLED = "meter.unsettled"
    METER_UNSTATED = "meter.unstated"
    METER_UNUSABLE = "meter.unusable"
    NOTE = "note"
    OPEN_ANCHORED = "open.anchored"
    ORDER_TAKEN = "order.taken"
    OUTLET_BACK = "outlet.back"
    OUTLET_FAILING = "outlet.failing"
    PAGE_MUTE = "page.mute"
    PHOTO_KEPT = "photo.kept"
    PAIR_OTHER = "pair.other"
    PAIR_UNCLEAR = "pair.unclear"
    PART_RESTED = "part.rested"
    PART_WARM = "part.warm"
    PROBES_NOT_LIFTED = "probes.not_lifted"
    RESULT_HELP = "result.help"
    SCAN_TAKEN_BACK = "scan.taken_back"
    SCANNER_BACK = "scanner.back"
    SCANNER_LOST = "scanner.lost"
    SCANNER_REFUSED = "scanner.refused"
    SELF_CHECK_DUE = "self_check.due"
    SELF_CHECK_FAILED = "self_check.failed"
    SELF_CHECK_PASSED = "self_check.passed"
    SERIAL_DOUBTFUL = "serial.doubtful"
    READING_TYPED = "reading.typed"
    SHEET_LEARNT = "sheet.learnt"
    STEP_AGAIN = "step.again"
    STEP_MOVED = "step.moved"
    STEP_SKIPPED = "step.skipped"
    STEP_TOUCHED_AGAIN = "step.touched_again"
    STEP_UNDONE = "step.undone"
    STUDY_HELP = "study.help"
    STUDY_TOO_SOON = "study.too_soon"
    STUDY_TURN = "study.turn"
    TEMPERATURE_APART = "temperature.apart"
    TEMPERATURE_IMPOSSIBLE = "temperature.impossible"
    TEMPERATURE_JUMPED = "temperature.jumped"
    TEMPERATURE_MISSING = "temperature.missing"
    TEMPERATURE_OLD = "temperature.old"
    TEMPERATURE_TYPED = "temperature.typed"
    THERMOMETER_BACK = "thermometer.back"
    THERMOMETER_LOST = "thermometer.lost"
    THERMOMETER_REFUSED = "thermometer.refused"
    THERMOMETER_TURN = "thermometer.turn"
    UNIT_AGAIN = "unit.again"
    UNIT_DROPPED = "unit.dropped"
    UNIT_GOOD = "unit.good"
    UNIT_REOPENED = "unit.reopened"
    UNIT_RESUMED = "unit.resumed"
    UNIT_UNFINISHED = "unit.unfinished"
    VALUE_UNTAKEN = "value.untaken"


ANOTHER_PAIR = frozenset({Code.PAIR_OTHER, Code.PAIR_UNCLEAR})
"""A value that is another pair's, or may be."""

SCAN_ASKED = frozenset({Code.SERIAL_DOUBTFUL, Code.UNIT_UNFINISHED})
"""A scan waits for a yes: nothing was done yet."""

MEASURED_AGAIN = frozenset({Code.STEP_AGAIN, Code.STEP_MOVED, Code.STEP_TOUCHED_AGAIN})
"""What was told of the step of this pair before counts no more: by order, by a touch, or taken back."""

KEPT_ONLY = frozenset({Code.BENCH_LEARNT})
"""On the record for the next start, and shown as a state; never told as news."""

ASKED_FOR = frozenset({Code.COMMAND_HELP, Code.RESULT_HELP})
"""Answers to a question that somebody has just typed; several lines each."""


class Refusal(StrEnum):
    """Why a command is not carried out now."""

    BATCH_FINISHED = "batch_finished"
    BATCH_NAMELESS = "batch_nameless"
    BATCH_NOT_RUNNING = "batch_not_running"
    BATCH_OF_OTHERS = "batch_of_others"
    BATCH_OTHER_SHEET = "batch_other_sheet"
    BATCH_RUNNING = "batch_running"
    BATCH_STOPPED = "batch_stopped"
    BATCH_TAKEN = "batch_taken"
    BATCH_UNKNOWN = "batch_unknown"
    CALIBRATION_DUE = "calibration_due"
    CHECK_ABSENT = "check_absent"
    CHECK_CALM = "check_calm"
    CHECK_NO_REASON = "check_no_reason"
    DONE = "done"
    JOURNAL = "journal"
    KEY_SEES_VALUE = "key_sees_value"
    KEY_TOO_SOON = "key_too_soon"
    KEY_UNWITNESSED = "key_unwitnessed"
    NO_BATCH_PAUSED = "no_batch_paused"
    NO_BATCH_RUNNING = "no_batch_running"
    NO_DOUBT = "no_doubt"
    NO_PAIR_ASKED = "no_pair_asked"
    NO_UNIT = "no_unit"
    NO_UNIT_YET = "no_unit_yet"
    NOTHING_MEASURED = "nothing_measured"
    NOTHING_TO_LEARN = "nothing_to_learn"
    NOTHING_TO_UNDO = "nothing_to_undo"
    RANGE_ABSENT = "range_absent"
    RANGE_LOW = "range_low"
    RANGE_UNTOLD = "range_untold"
    READING_BY_METER = "reading_by_meter"
    READING_MILLI_OR_MEGA = "reading_milli_or_mega"
    READING_NONE = "reading_none"
    READING_ONE_OR_OVER = "reading_one_or_over"
    READING_NOT_SHOWN = "reading_not_shown"
    READING_POINT_OR_THOUSAND = "reading_point_or_thousand"
    RESULT_DOUBTED = "result_doubted"
    RESULT_IMPOSSIBLE = "result_impossible"
    SKIP_NO_REASON = "skip_no_reason"
    SPOOL_NAMELESS = "spool_nameless"
    SPOOL_NO_CARD = "spool_no_card"
    SPOOL_UNLIKE = "spool_unlike"
    STEP_UNKNOWN = "step_unknown"
    STUDY_DONE = "study_done"
    STUDY_NO_PLACE = "study_no_place"
    STUDY_NOT_WAITING = "study_not_waiting"
    STUDY_NOTHING_TAKEN = "study_nothing_taken"
    STUDY_OTHER_PART = "study_other_part"
    TEMPERATURE_IMPOSSIBLE = "temperature_impossible"
    TEMPERATURE_JUMPED = "temperature_jumped"
    TEMPERATURE_UNSURE = "temperature_unsure"
    UNIT_HERE = "unit_here"
    WINDING_UNKNOWN = "winding_unknown"


@dataclass(frozen=True, slots=True)
class FaultPlace:
    """One fault, where it sits and how large it is; all that a sentence about it needs.

    Attributes:
        fault: short name from the fault dictionary, e.g. "shorted_turns".
        where: windings, pins or words, as the fault has it.
        sizes: a fraction of a winding, ohms or kelvin, as the fault counts them.
        turns: of the first winding, None when not known; strands: wires in hand of it.
        ends: the pin (or the core) at which each winding of `where` begins; empty where none can be touched.
        core: name of the core, empty when the unit has none.
        spool: of another spool, one that the bench has a card of and that reads like it; empty otherwise.
    """

    fault: str
    where: tuple[str, ...] = ()
    sizes: tuple[float, ...] = ()
    turns: int | None = None
    strands: int = 1
    ends: tuple[str, ...] = ()
    core: str = ""
    spool: str = ""


@dataclass(frozen=True, slots=True)
class Hypothesis:
    """One explanation of all readings of a unit.

    Attributes:
        fault: short name from the fault dictionary, e.g. "shorted_turns".
        probability: given the readings, 0 to 1.
        places: the faults that make it up, one or two.
        slip: (pair asked for, pair really probed) where the explanation needs one unnoticed wrong probe.
        said: the sentence of an old record, which has nothing else of it; empty of any other.
    """

    fault: str
    probability: float
    places: tuple[FaultPlace, ...] = ()
    slip: tuple[Pair, Pair] | None = None
    said: str = ""
