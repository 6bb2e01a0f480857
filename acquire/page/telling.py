"""Records as the page shows them: verdicts, results, typed results, notices; numbers beside ready words.

Pure; plain JSON values come out, all of them data (the page never runs a text). Not for what is going on now
(view) nor for the published payloads (outlets.payload).
"""

from __future__ import annotations

import math
from typing import Any

from acquire.page.facts import Facts
from acquire.page.spoken import result_cue, verdict_aloud
from acquire.quantity import show
from acquire.records import LeadZero, Notice, Pair, TypedResult, UnitResult, Verdict
from acquire.records.words import FAILING
from acquire.unit_result import ended_s
from acquire.words.beside import typed_answer, typed_reason
from acquire.words.faults import sentence
from acquire.words.notices import said
from acquire.words.outcomes import NOT_YET, OUTCOME_WORDS, verdict_word
from acquire.words.plain import sureness
from acquire.words.settling import learnt
from acquire.words.units import missing_words, pair_words, reason_of, why_not
from acquire.words.units import result_words as ended_words
from acquire.words.verdicts import hint, reason

Plain = dict[str, Any]


def number(value: float | None) -> float | None:
    """A number that JSON has a spelling for; None for all others."""
    return value if value is not None and math.isfinite(value) else None


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


def verdict_words(verdict: Verdict) -> Plain:
    """Everything that the page shows of a verdict."""
    ohm = number(verdict.reference_ohm)
    value, reach, unit = ("open", "", "") if ohm is None else value_and_reach(ohm, verdict.expanded_ohm)
    not_yet = verdict.outcome in FAILING and not verdict.counts
    text = " ".join(part for part in (value, f"± {reach}" if reach else "", unit) if part)
    return {
        "step": verdict.step,
        "pair": [verdict.pin_a, verdict.pin_b],
        "serial": verdict.serial,
        "outcome": verdict.outcome.value,
        "word": NOT_YET if not_yet else verdict_word(verdict),
        "shape": "not_yet" if not_yet else verdict.outcome.value,
        "spoken": verdict_aloud(verdict),
        "value": value,
        "uncertainty": reach,
        "unit": unit,
        "text": text,
        "value_ohm": ohm,
        "expanded_ohm": number(verdict.expanded_ohm),
        "lower_ohm": number(verdict.lower_ohm),
        "upper_ohm": number(verdict.upper_ohm),
        "nominal_ohm": number(verdict.nominal_ohm),
        "reference_celsius": verdict.reference_celsius,
        "raw_text": "open" if verdict.raw_ohm is None else show(verdict.raw_ohm, "Ω"),
        "conformity": number(verdict.conformity),
        "guard_band_ohm": number(verdict.guard_band_ohm),
        "reason": reason(verdict),
        "hint": hint(verdict),
        "attempt": verdict.attempt,
        "revision": verdict.revision,
        "counts": verdict.counts,
        "open": ohm is None,
        "utc_s": verdict.utc_s,
    }


def result_words(result: UnitResult, core: str = "") -> Plain:
    """How a unit ended, why, and what to measure next."""
    wait_until_s = None if result.wait_s is None else ended_s(result) + result.wait_s
    return {
        "serial": result.serial,
        "batch": result.batch,
        "outcome": None if result.outcome is None else result.outcome.value,
        "word": ended_words(result),
        "spoken": result_cue(result).say,
        "reason": reason_of(result),
        "ending": result.ending.value,
        "held": why_not(result),
        "revision": result.revision,
        "wait_until_utc_s": wait_until_s,
        "passed": result.steps_passed,
        "of": result.steps_total,
        "diagnosis": [
            {
                "fault": each.fault,
                "sentence": sentence(each),
                "probability": each.probability,
                "sureness": sureness(each.probability),
            }
            for each in result.hypotheses
        ],
        "next": next_pair(result.next_pair, core),
        "not_tested": list(missing_words(result)),
        "utc_s": result.utc_s,
    }


def next_pair(pair: Pair | None, core: str = "") -> Plain | None:
    """Which pair to measure next, to tell the likeliest explanations apart."""
    if pair is None:
        return None
    text = f"What would tell these explanations apart best: {pair_words(pair, core)}, measured again."
    return {"pair": list(pair), "text": text}


def typed_words(result: TypedResult) -> Plain:
    """A typed result as typed, and what a rule or the person says of it."""
    outcome = result.outcome
    return {
        "name": result.name,
        "typed": result.typed,
        "outcome": None if outcome is None else outcome.value,
        "word": "on record" if outcome is None else OUTCOME_WORDS[outcome],
        "reason": typed_reason(result),
        "answer": typed_answer(result),
        "utc_s": result.utc_s,
    }


def notice_words(notice: Notice) -> Plain:
    """One line of the page's log."""
    return {
        "utc_s": notice.utc_s,
        "weight": notice.weight.value,
        "code": notice.code,
        "text": said(notice),
        "serial": notice.serial,
        "photo": f"{sha256}.jpg" if (sha256 := notice.facts.get("sha256")) else None,
    }


def zero_words(zero: LeadZero) -> Plain:
    """A lead zero with its uncertainty."""
    return {
        "utc_s": zero.utc_s,
        "ohm": zero.value_ohm,
        "uncertainty_ohm": zero.standard_uncertainty_ohm,
        "text": show(zero.value_ohm, "Ω"),
        "meter": zero.meter_id,
        "doubtful_since_utc_s": zero.doubtful_since_utc_s,
    }


def conditions_words(facts: Facts, check: str) -> Plain:
    """Temperature, lead zero and check standard, as a status line shows them."""
    lead = facts.lead
    return {
        "celsius": None if facts.celsius is None else round(facts.celsius, 1),
        "celsius_text": "" if facts.celsius is None else f"{facts.celsius:.1f} °C",
        "celsius_source": facts.celsius_source,
        "lead_text": "" if lead is None else show(lead.value_ohm, "Ω"),
        "lead_utc_s": None if lead is None else lead.utc_s,
        "check_text": check,
        "check_utc_s": facts.check_utc_s,
        "contacts_text": learnt(facts.learned) if facts.learned else "",
    }


EMPTY: Plain = {
    "link": {"ok": None, "text": ""},
    "sheet": None,
    "face": None,
    "circuit": {"branches": [], "balances": []},
    "unit": None,
    "batch": None,
    "ask": None,
    "hint": "",
    "verdict": None,
    "result": None,
    "notes": [],
    "question": None,
    "undoable": False,
    "conditions": conditions_words(Facts(0.0), ""),
}
"""A bench of which nothing is known."""
