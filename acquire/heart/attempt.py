"""One attempt at a step of a unit, and how the record keeps it: their list is all that a unit's state needs.

What happens to a unit is a touch that was judged, one that was refused as another pair's, one that proved a
clip, a word to measure again, or a step left out. Live and after a power cut the same attempts go through the
same transitions (unit_state), so that a restart is a replay. Pure. Not for what follows from them.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass
from enum import StrEnum

from acquire.records import Basis, Fit, Match, Notice, Outcome, Pair, Recorded, Verdict
from acquire.records.codes import WARM_CHECK, Code, Fact, Scope


class Deed(StrEnum):
    """What an attempt was.

    JUDGED: a value, or an open pair, held against the step's limits. REFUSED: a value taken for another
    pair's. PROVED: a continuity that shows that the clip of an open step is sound. AGAIN: a step is to be
    measured again. SKIPPED: a step was left out. UNDONE: the attempt before is taken back.
    """

    JUDGED = "judged"
    REFUSED = "refused"
    PROVED = "proved"
    AGAIN = "again"
    SKIPPED = "skipped"
    UNDONE = "undone"


@dataclass(frozen=True, slots=True)
class Attempt:
    """What one touch, key or word came to.

    Attributes:
        step: name of the step that it belongs to.
        touch: number of the touch in its unit, from 1; 0 where nothing was touched.
        revision: of the settled value; above 0 it takes the place of what the same touch came to before.
        outcome: of a JUDGED one.
        ohm: at the reference temperature; infinite for an open pair, NaN where there is none.
        u_ohm, touch_u_ohm: its standard uncertainty, and the part of it that differs from touch to touch.
        expanded_ohm, settled_expanded_ohm: 95 % half-widths with and without meter, leads and temperature.
        fit: where the value was found to belong; None where there is none.
        looks_like: the pair that a REFUSED one reads like, None where several are as likely.
        bracketed: an open pair proven between touches of two known continuities.
        utc_s: when.
        shared, rate_per_s, u_rate_per_s: of the verdict.
        at_most_ohm: what it has at most, 95 %, where only its continuity could be judged; else None.
    """

    deed: Deed
    step: str
    touch: int = 0
    revision: int = 0
    outcome: Outcome | None = None
    ohm: float = math.nan
    u_ohm: float = 0.0
    touch_u_ohm: float = 0.0
    expanded_ohm: float = 0.0
    settled_expanded_ohm: float = 0.0
    fit: Fit | None = None
    looks_like: Pair | None = None
    bracketed: bool = False
    utc_s: float = 0.0
    shared: tuple[tuple[str, float], ...] = ()
    rate_per_s: float = 0.0
    u_rate_per_s: float = math.inf
    at_most_ohm: float | None = None

    @property
    def is_by_word(self) -> bool:
        """It came of a word or a key, not of a touch, so that it can be taken back."""
        return self.touch == 0 and self.deed is not Deed.UNDONE


def refused(match: Match, step: str, touch: int, revision: int) -> Attempt:
    """A value that is not the asked pair's."""
    corrected = match.corrected
    return Attempt(
        Deed.REFUSED,
        step,
        touch,
        revision,
        ohm=corrected.reference_ohm,
        expanded_ohm=corrected.expanded_ohm,
        settled_expanded_ohm=corrected.settled.expanded_si,
        fit=match.fit,
        looks_like=match.pair if match.fit is Fit.OTHER_PAIR else None,
        utc_s=corrected.settled.utc_s,
    )


def facts_of(attempt: Attempt) -> dict[str, Fact]:
    """What the notice of an attempt keeps of it beside code, step and time."""
    facts: dict[str, Fact] = {"touch": attempt.touch, "revision": attempt.revision}
    if attempt.deed is Deed.REFUSED:
        facts |= {
            "ohm": attempt.ohm,
            "expanded_ohm": attempt.expanded_ohm,
            "settled_expanded_ohm": attempt.settled_expanded_ohm,
            "looks_like": tuple(attempt.looks_like or ()),
        }
    return facts


def attempt_of(record: Recorded) -> Attempt | None:
    """The attempt that an entry of the journal is of; None where it is of none."""
    if isinstance(record, Verdict):
        return _of_verdict(record)
    if not isinstance(record, Notice) or not record.step:
        return None
    if record.code in (Code.PAIR_OTHER, Code.PAIR_UNCLEAR):
        return _of_refusal(record)
    deed = _DEEDS.get(record.code)
    touch, revision = _whole(record.facts, "touch"), _whole(record.facts, "revision")
    return None if deed is None else Attempt(deed, record.step, touch, revision, utc_s=record.utc_s)


_DEEDS = {
    Code.OPEN_ANCHORED: Deed.PROVED,
    Code.STEP_AGAIN: Deed.AGAIN,
    Code.STEP_MOVED: Deed.AGAIN,
    Code.STEP_SKIPPED: Deed.SKIPPED,
    Code.STEP_UNDONE: Deed.UNDONE,
}


def _of_verdict(verdict: Verdict) -> Attempt:
    u_ohm = verdict.standard_uncertainty_ohm or 0.0
    outcome = verdict.outcome
    if verdict.step == WARM_CHECK:  # its verdict tells of the unit; as a touch it is a value, or an open pair
        outcome = Outcome.FAIL if verdict.reference_ohm is None else Outcome.PASS
    return Attempt(
        Deed.JUDGED,
        verdict.step,
        verdict.touch,
        verdict.revision,
        outcome,
        math.inf if verdict.reference_ohm is None else verdict.reference_ohm,
        u_ohm,
        u_ohm if verdict.touch_u_ohm is None else verdict.touch_u_ohm,
        fit=verdict.fit,
        bracketed=verdict.basis is Basis.OPEN_BRACKETED,
        utc_s=verdict.utc_s,
        shared=verdict.shared,
        rate_per_s=verdict.rate_per_s or 0.0,
        u_rate_per_s=math.inf if verdict.u_rate_per_s is None else verdict.u_rate_per_s,
        at_most_ohm=verdict.at_most_ohm if verdict.scope is Scope.CONTINUITY_ONLY else None,
    )


def _of_refusal(notice: Notice) -> Attempt:
    facts = notice.facts
    pins = facts.get("looks_like") or ()
    return Attempt(
        Deed.REFUSED,
        notice.step,
        _whole(facts, "touch"),
        _whole(facts, "revision"),
        ohm=_number(facts, "ohm"),
        expanded_ohm=_number(facts, "expanded_ohm"),
        settled_expanded_ohm=_number(facts, "settled_expanded_ohm"),
        fit=Fit.OTHER_PAIR if notice.code is Code.PAIR_OTHER else Fit.AMBIGUOUS,
        looks_like=Pair(*pins) if isinstance(pins, tuple) and len(pins) == 2 else None,
        utc_s=notice.utc_s,
    )


def _number(facts: Mapping[str, Fact], name: str) -> float:
    value = facts.get(name)
    return float(value) if isinstance(value, int | float) else math.nan


def _whole(facts: Mapping[str, Fact], name: str) -> int:
    value = facts.get(name)
    return value if isinstance(value, int) else 0
