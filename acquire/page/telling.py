"""Records as the page shows them: their own fields, and beside them the words that are made of them, once.

Pure; plain JSON values come out, all of them data (the page never runs a text). Not for what is going on now
(view) nor for the published payloads (outlets.payload).
"""

from __future__ import annotations

import math
from collections.abc import Iterable
from typing import Any

import msgspec

from acquire.choices import FAILING
from acquire.quantity import with_uncertainty
from acquire.records import Batch, Notice, Outcome, TypedResult, UnitResult, Verdict
from acquire.words.beside import typed_reason
from acquire.words.faults import batch_doubt, sentence
from acquire.words.notices import said
from acquire.words.saying import capital, sureness
from acquire.words.units import findings_words, missing_words, reason_of
from acquire.words.units import result_words as ended_words
from acquire.words.verdicts import NOT_YET, OUTCOME_WORDS, deed_words, hint, reason, verdict_word

Plain = dict[str, Any]


def picked(record: Any, *names: str) -> Plain:
    """Some fields of a record as plain values; a number that JSON has no spelling for is None."""
    plain = {name: msgspec.to_builtins(getattr(record, name)) for name in names}
    odd = (name for name, value in plain.items() if isinstance(value, float) and not math.isfinite(value))
    return plain | dict.fromkeys(list(odd))


def alone(text: str) -> str:
    """Words that stand alone on a screen: with a capital and a full stop."""
    return f"{capital(text)}{'' if text.endswith(('.', '!', '?', ':')) else '.'}" if text else ""


OF_VERDICT = (
    *("serial", "step", "outcome", "attempt", "revision", "counts", "utc_s"),
    *("reference_ohm", "expanded_ohm", "lower_ohm", "upper_ohm", "nominal_ohm", "reference_celsius"),
)


def verdict_words(verdict: Verdict) -> Plain:
    """Everything that the page shows of a verdict; without a value the pair was open."""
    ohm, not_yet = verdict.reference_ohm, verdict.outcome in FAILING and not verdict.counts
    return {
        **picked(verdict, *OF_VERDICT),
        "pair": [verdict.pin_a, verdict.pin_b],
        "word": NOT_YET if not_yet else verdict_word(verdict),
        "shape": "not_yet" if not_yet else verdict.outcome.value,
        "text": "open" if ohm is None else with_uncertainty(ohm, verdict.expanded_ohm),
        "reason": alone(reason(verdict)),
        "hint": hint(verdict),
    }


def result_words(result: UnitResult) -> Plain:
    """How a unit ended, why, and which pair measured next would tell the explanations apart best."""
    return {
        **picked(result, "serial", "batch", "outcome", "ending", "next_pair", "utc_s"),
        "word": ended_words(result),
        "reason": alone(reason_of(result)),
        "found": " ".join(findings_words(result)),
        "diagnosis": [
            {
                **picked(each, "probability"),
                "sentence": sentence(each),
                "sureness": sureness(each.probability),
            }
            for each in result.hypotheses
        ],
        "not_tested": list(missing_words(result)),
    }


def typed_words(result: TypedResult) -> Plain:
    """A typed result as typed, and what a rule or the person says of it."""
    return {
        **picked(result, "name", "typed", "outcome", "utc_s"),
        "word": "on record" if result.outcome is None else OUTCOME_WORDS[result.outcome],
        "reason": typed_reason(result),
    }


def notice_words(notice: Notice) -> Plain:
    """One line of the page's log."""
    photo = notice.facts.get("sha256")
    return {**picked(notice, "utc_s", "severity", "code", "serial"), "text": said(notice), "photo": photo}


def batch_words(name: str, batch: Batch | None, results: Iterable[UnitResult]) -> Plain:
    """How far a batch has come; of a unit's several results the latest judged one counts.

    Args:
        name: of the batch.
        batch: its latest record; None where it was never opened.
        results: of its units, oldest first.
    """
    outcomes: dict[str, Outcome | None] = {}
    for result in results:
        if result.outcome is not None or outcomes.get(result.serial) is None:
            outcomes[result.serial] = result.outcome
    ends = list(outcomes.values())
    known = picked(batch, "expected", "state") if batch else {"expected": None, "state": ""}
    return {
        **known,
        "name": name,
        "remark": deed_words(batch) if batch else "",
        "doubt": batch_doubt(batch) if batch else "",
        "measured": len(ends),
        "passed": sum(each in (Outcome.PASS, Outcome.CONDITIONAL_PASS) for each in ends),
        "failed": sum(each in FAILING for each in ends),
        "held": sum(each is None for each in ends),
    }
