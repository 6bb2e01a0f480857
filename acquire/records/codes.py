"""Codes that records carry in place of sentences; `acquire.words` says each of them. Not for numbers."""

from __future__ import annotations

from enum import StrEnum

Fact = str | float | int | bool | None | tuple[str, ...]
"""One field of a notice or prompt: a name, a number in the unit of its key, or what a person typed."""


class Ending(StrEnum):
    """How a unit's stay on the bench ended.

    DONE: by its steps. WARM: held, it must cool first. GIVEN_UP: by the operator. NEXT_UNIT: the next unit
    was scanned. FILES_CHANGED: sheet, meter file or bench file are others than it began with.
    """

    DONE = "done"
    WARM = "warm"
    GIVEN_UP = "given_up"
    NEXT_UNIT = "next_unit"
    FILES_CHANGED = "files_changed"


class Basis(StrEnum):
    """What a verdict rests on.

    MEASURED: a settled value. REPEATED: the first pair measured again at the end. OPEN_BY_KEY, OPEN_BY_CLIP:
    an open pair on the operator's word that probes, or clips, are on it. OPEN_BRACKETED: an open pair between
    touches of two known continuities. OPEN_PROVEN: an open pair whose pins a fixture has proven to have
    contact. PAPER: an imported paper record.
    """

    MEASURED = "measured"
    REPEATED = "repeated"
    OPEN_BY_KEY = "open_by_key"
    OPEN_BY_CLIP = "open_by_clip"
    OPEN_BRACKETED = "open_bracketed"
    OPEN_PROVEN = "open_proven"
    PAPER = "paper"


class Why(StrEnum):
    """Why a step is asked for in the way it is.

    FAILED: the value did not pass. DISAGREE: no two failing values agree yet. PASSED_AFTER_FAIL: it failed
    first, and passes now. SET_UP: the meter is set for it now. INCONSISTENT: it does not go with the other
    values. LOOKS_LIKE: the last value reads like another pair. SILENT: no contact was seen for long. FREE:
    any pair still open will do. MEASURED_AGAIN: after the pair before was measured again. ANCHOR,
    ANCHOR_AGAIN, CLOSER: the touches around an open step. KEY: an open step by key alone. BLOCKED: the check
    standard stops the bench. DOUBT: the first unit of the batch is in doubt. COUNTED: so many units of the
    batch are done.
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
    MEASURED_AGAIN = "measured_again"
    ANCHOR = "anchor"
    ANCHOR_AGAIN = "anchor_again"
    CLOSER = "closer"
    KEY = "key"
    BLOCKED = "blocked"
    DOUBT = "doubt"
    COUNTED = "counted"


class FindingKind(StrEnum):
    """Which rule over a whole unit found something."""

    UNEVEN = "uneven"
    CONTRADICTION = "contradiction"
    TYPED = "typed"


class UntestedKind(StrEnum):
    """What was not tested: isolation between groups, a typed step, turn faults, a part no step measures."""

    ISOLATION = "isolation"
    STEP = "step"
    TURNS = "turns"
    CIRCUIT = "circuit"
