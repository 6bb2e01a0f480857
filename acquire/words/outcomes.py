"""How a verdict, a unit's stay and a deed on a batch are called."""

from __future__ import annotations

from acquire.choices import Outcome
from acquire.records import Batch, BatchDeed, Scope, Verdict
from acquire.words.faults import batch_doubt, compared

OUTCOME_WORDS = {
    Outcome.PASS: "pass",
    Outcome.CONDITIONAL_PASS: "pass, near a limit",
    Outcome.CONDITIONAL_FAIL: "fail, near a limit",
    Outcome.FAIL: "FAIL",
    Outcome.CANNOT_JUDGE: "cannot judge",
}
"""Outcomes as people read them, the same on the display and from the record."""


def verdict_word(verdict: Verdict) -> str:
    """The word of a verdict; of a continuity it says that it is no more."""
    if verdict.outcome is not Outcome.PASS or verdict.scope is Scope.TOLERANCE:
        return OUTCOME_WORDS[verdict.outcome]
    only = verdict.scope is Scope.CONTINUITY_ONLY
    return "continuous; tolerance not judged" if only else "continuous"


NOT_YET = "not passed yet"
"""A value that did not pass, and counts only if it comes again."""


def deed_words(batch: Batch) -> str:
    """What there is to say of a deed on a batch: the operator's words, or what the record shows of it."""
    if batch.remark:
        return batch.remark
    match batch.deed:
        case BatchDeed.SPOOL_CHANGED:
            spools = dict.fromkeys(each.spool for each in batch.changed)
            return f"{', '.join(spools)} for {', '.join(each.winding for each in batch.changed)}"
        case BatchDeed.FIRST_UNIT:
            calm = f"{batch.first_serial} is as predicted. {compared(batch.compared)}"
            return batch_doubt(batch) or calm
        case BatchDeed.MADE_WAY:
            return "another batch took its place"
        case BatchDeed.PAUSED if batch.first_doubt:
            return f"the first unit, {batch.first_serial}, was not accepted"
        case _:
            return ""
