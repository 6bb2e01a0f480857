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
from acquire.quantity import show
from acquire.records import Batch, LeadZero, Notice, Outcome, Pair, TypedResult, UnitResult, Verdict
from acquire.words.beside import typed_answer, typed_reason
from acquire.words.faults import batch_doubt, sentence
from acquire.words.notices import said
from acquire.words.saying import capital, sureness
from acquire.words.units import findings_words, missing_words, pair_words, reason_of, why_not
from acquire.words.units import result_words as ended_words
from acquire.words.verdicts import NOT_YET, OUTCOME_WORDS, deed_words, hint, reason, verdict_word

Plain = dict[str, Any]


def picked(record: Any, *names: str) -> Plain:
    """Some fields of a record as plain values; a number that JSON has no spelling for is None."""
    plain = {name: msgspec.to_builtins(getattr(record, name)) for name in names}
    odd = (name for name, value in plain.items() if isinstance(value, float) and not math.isfinite(value))
    return plain | dict.fromkeys(list(odd))


def value_and_reach(ohm: float, expanded_ohm: float | None) -> tuple[str, str, str]:
    """Value, expanded uncertainty and their common unit, each with the digits that matter.

    JCGM 100:2008, 7.2.6: no more than two digits of an uncertainty; the value ends at the same place.
    """
    if not expanded_ohm or not math.isfinite(expanded_ohm):
        value, _, unit = show(ohm, "Ω").partition(" ")
        return value, "", unit
    value, _, unit = show(ohm, "Ω", expanded_ohm).partition(" ")
    size = {"MΩ": 1e6, "kΩ": 1e3, "mΩ": 1e-3, "µΩ": 1e-6}.get(unit, 1.0)
    places = len(value.partition(".")[2])
    return value, f"{expanded_ohm / size:.{places}f}", unit


def alone(text: str) -> str:
    """Words that stand alone on a screen: with a capital and a full stop."""
    return f"{capital(text)}{'' if text.endswith(('.', '!', '?', ':')) else '.'}" if text else ""


OF_VERDICT = (
    *("serial", "step", "outcome", "attempt", "revision", "counts", "utc_s"),
    *("expanded_ohm", "lower_ohm", "upper_ohm", "nominal_ohm", "reference_celsius"),
)


def verdict_words(verdict: Verdict) -> Plain:
    """Everything that the page shows of a verdict."""
    ohm = picked(verdict, "reference_ohm")["reference_ohm"]
    value, reach, unit = ("open", "", "") if ohm is None else value_and_reach(ohm, verdict.expanded_ohm)
    not_yet = verdict.outcome in FAILING and not verdict.counts
    return {
        **picked(verdict, *OF_VERDICT),
        "pair": [verdict.pin_a, verdict.pin_b],
        "word": NOT_YET if not_yet else verdict_word(verdict),
        "shape": "not_yet" if not_yet else verdict.outcome.value,
        "value": value,
        "uncertainty": reach,
        "unit": unit,
        "text": " ".join(part for part in (value, f"± {reach}" if reach else "", unit) if part),
        "value_ohm": ohm,
        "open": ohm is None,
        "reason": alone(reason(verdict)),
        "hint": hint(verdict),
    }


def result_words(result: UnitResult, core: str = "") -> Plain:
    """How a unit ended, why, and what to measure next."""
    return {
        **picked(result, "serial", "batch", "outcome", "ending", "revision", "utc_s"),
        "word": ended_words(result),
        "reason": alone(reason_of(result)),
        "found": " ".join(findings_words(result)),
        "held": alone(why_not(result)),
        "diagnosis": [
            {
                **picked(each, "probability"),
                "sentence": sentence(each),
                "sureness": sureness(each.probability),
            }
            for each in result.hypotheses
        ],
        "next": next_pair(result.next_pair, core),
        "not_tested": list(missing_words(result)),
    }


def next_pair(pair: Pair | None, core: str = "") -> Plain | None:
    """Which pair to measure next, to tell the likeliest explanations apart."""
    if pair is None:
        return None
    text = f"What would tell these explanations apart best: {pair_words(pair, core)}, measured again."
    return {"pair": list(pair), "text": text}


def typed_words(result: TypedResult) -> Plain:
    """A typed result as typed, and what a rule or the person says of it."""
    return {
        **picked(result, "name", "typed", "outcome", "utc_s"),
        "word": "on record" if result.outcome is None else OUTCOME_WORDS[result.outcome],
        "reason": typed_reason(result),
        "answer": typed_answer(result),
    }


def notice_words(notice: Notice) -> Plain:
    """One line of the page's log."""
    photo = f"{sha256}.jpg" if (sha256 := notice.facts.get("sha256")) else None
    return {**picked(notice, "utc_s", "severity", "code", "serial"), "text": said(notice), "photo": photo}


def zero_words(zero: LeadZero) -> Plain:
    """A lead zero with its uncertainty."""
    own = picked(zero, "utc_s", "doubtful_since_utc_s")
    reach = {"ohm": zero.value_ohm, "uncertainty_ohm": zero.standard_uncertainty_ohm}
    return {**own, **reach, "text": show(zero.value_ohm, "Ω"), "meter": zero.meter_id}


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
