"""Words for the ear, and which sound goes with what: short, since they are heard while the hands work.

Pure. Not for sentences that are read (wording of the stages), nor for making sounds or speech (browser, say).
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from enum import StrEnum

from acquire.choices import FAILING
from acquire.quantity import show
from acquire.records import Ask, Outcome, Pair, Prompt, UnitResult, Verdict, Why
from acquire.words.outcomes import OUTCOME_WORDS, verdict_word
from acquire.words.plain import capital
from acquire.words.prompts import asked


class Sound(StrEnum):
    """What is told by a sound of its own rhythm and pitch."""

    SILENT = ""
    CONTACT = "contact"
    PASS = "pass"  # noqa: S105  (a verdict, not a password)
    CONDITIONAL = "conditional"
    FAIL = "fail"
    NOT_YET = "not_yet"
    NOTHING_FELT = "nothing_felt"
    WRONG_PAIR = "wrong_pair"
    TURN = "turn"
    ATTENTION = "attention"
    UNIT_PASS = "unit_pass"  # noqa: S105
    UNIT_FAIL = "unit_fail"
    DONE = "done"


OF_OUTCOME = {
    Outcome.PASS: Sound.PASS,
    Outcome.CONDITIONAL_PASS: Sound.CONDITIONAL,
    Outcome.CONDITIONAL_FAIL: Sound.CONDITIONAL,
    Outcome.FAIL: Sound.FAIL,
    Outcome.CANNOT_JUDGE: Sound.ATTENTION,
}
"""Sound of each verdict."""


@dataclass(frozen=True, slots=True)
class Cue:
    """Something for the ear.

    Attributes:
        sound: which; SILENT for none.
        say: a few words; empty for none.
        urgent: it ends whatever is being said.
    """

    sound: Sound = Sound.SILENT
    say: str = ""
    urgent: bool = False


def pair_aloud(pair: Pair | None, core: str = "") -> str:
    """Two pins as they are called out: "1 and 2", "6 and core"."""
    if pair is None:
        return ""
    a, b = ("core" if core and pin == core else pin for pin in pair)
    return f"{a} and {b}"


def request_aloud(prompt: Prompt, core: str = "") -> str:
    """What a prompt asks for, in a few words; empty where there is nothing to do."""
    if isinstance(turn_ohm := prompt.facts.get("turn_ohm"), float):
        without = {name: fact for name, fact in prompt.facts.items() if name != "turn_ohm"}
        then = request_aloud(replace(prompt, facts=without), core)
        return f"Dial to {show(turn_ohm, 'ohm', digits=1)}. {then}"
    pins = pair_aloud(prompt.pair, core)
    if prompt.why is Why.SILENT:
        return f"Nothing felt on {pins}. Hold both probes on it and press."
    return {
        Ask.START_UNIT: "Next unit.",
        Ask.SHORT_PROBES: "Hold the probes together.",
        Ask.CHECK_RESISTOR: "Check resistor.",
        **({Ask.TOUCH: f"{pins}.", Ask.TOUCH_AGAIN: f"{pins} again."} if pins else {}),
        Ask.LIFT: "Lift.",
        Ask.CLIP_ON: "Clip on the unit.",
    }.get(prompt.ask) or asked(prompt)


def verdict_aloud(verdict: Verdict) -> str:
    """A verdict in a word or two."""
    if verdict.outcome in FAILING and not verdict.counts:
        return "Not passed."
    return f"{capital(verdict_word(verdict))}."


def result_cue(result: UnitResult) -> Cue:
    """How a unit ended, for the ear."""
    if result.outcome is None:
        return Cue(Sound.ATTENTION, "Unit held." if result.wait_s else "Unit not judged.", urgent=True)
    if result.outcome is Outcome.PASS:
        return Cue(Sound.UNIT_PASS, "Unit passed.")
    if result.outcome in FAILING:
        return Cue(Sound.UNIT_FAIL, "Unit failed.")
    return Cue(Sound.CONDITIONAL, f"Unit: {OUTCOME_WORDS[result.outcome]}.")
