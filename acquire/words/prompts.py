"""What the operator is asked to do, in one sentence. Not for the ear (page/spoken), nor for what is asked.

Facts of a prompt, beside its pair and step: an open step has `open`; where known continuities prove it also
`core` (the clip stays there), `opened` and `last` (pins to touch) and, before the first touch, `first`. A
pair that was measured again by touch stands in `after`. Any may have `turn_ohm`: the range that the dial
must be turned to first. A study names `operator`, `part` and `round`.
"""

from __future__ import annotations

from dataclasses import replace

from acquire.quantity import show
from acquire.records import Ask, Prompt, Why
from acquire.words.saying import Facts, Saying, pins, say

_OFTEN = ("once more", "a third time", "a fourth time")
"""How a step is asked for again; each time in other words, or nobody would see that it was."""

_AGAIN = {
    Why.SET_UP: "the meter is set for it now",
    Why.DISAGREE: "no two values agree yet",
    Why.PASSED_AFTER_FAIL: "it did not pass first, and passes now",
    Why.FAILED: "the value did not pass",
    Why.INCONSISTENT: "it is inconsistent with the other values",
}
"""Why a step is asked for again."""


def asked(prompt: Prompt) -> str:
    """The sentence of a prompt."""
    own = {"serial": prompt.serial, "pair": prompt.pair, "step": prompt.step, "times": prompt.times}
    facts = {**own, **prompt.facts}
    if isinstance(turn_ohm := prompt.facts.get("turn_ohm"), float):
        then = {name: fact for name, fact in prompt.facts.items() if name != "turn_ohm"}
        return f"Turn the dial to {show(turn_ohm, 'Ω', digits=1)}. {asked(replace(prompt, facts=then))}"
    saying = PROMPTS.get((prompt.ask, prompt.why))
    if saying is None:
        return say(lambda known: _touch(prompt, known), facts, prompt.ask.value)
    return say(saying, facts, prompt.ask.value)


def _touch(prompt: Prompt, facts: Facts) -> str:
    """The request for a step."""
    pair, reason = pins(facts["pair"]), _reason(prompt)
    if facts.get("open"):
        how = _open_step(f"{pair} ({prompt.step})", facts)
        return f"{pair}{reason}. {how}" if reason else how
    if prompt.why is Why.SILENT:
        return f"No contact was found on {pair}: hold both probes on it and press Enter or the pedal."
    who = f"{facts['operator']}: part {facts['part']}, touch" if prompt.why is Why.STUDY else "Touch"
    told = f"{who} {pair} ({prompt.step}){reason}."
    after = facts.get("after")
    return f"{pins(after)} was measured again. {told}" if after else told


def _reason(prompt: Prompt) -> str:
    """What is added to a request; empty for a plain one."""
    if prompt.why is Why.FREE:
        return ", or any pair still open"
    if prompt.why is Why.LOOKS_LIKE:
        return ": the last value reads like another pair"
    if prompt.why not in _AGAIN:
        return ""
    often = _OFTEN[min(max(prompt.times, 1), len(_OFTEN)) - 1]
    sure = ", to be sure" if prompt.why is Why.INCONSISTENT else ""
    return f" {often}{sure}: {_AGAIN[prompt.why]}"


def _open_step(what: str, facts: Facts) -> str:
    """How a pair is shown to be open: by key, or between touches of two known continuities."""
    if "core" not in facts:
        return f"Touch {what}, which must be open, and press Enter or the pedal."
    then = f"{facts['opened']} for two seconds, then {facts['last']}"
    if "first" not in facts:
        return f"Now touch {then}; the clip stays on {facts['core']}."
    return (
        f"Clip on {facts['core']}: touch {facts['first']}, then {then}; or press Enter while on "
        f"{facts['opened']}."
    )


def _by_relay(facts: Facts) -> str:
    again = " once more" if facts["times"] else ""
    return f"The fixture measures {pins(facts['pair'])} ({facts['step']}){again}."


_NEXT = "Scan or type the serial of the next unit"

PROMPTS: dict[tuple[Ask, Why], Saying] = {
    (Ask.START_UNIT, Why.NONE): f"{_NEXT}.",
    (Ask.START_UNIT, Why.COUNTED): f"{_NEXT}; {{batch}} has {{count}} of {{expected}}.",
    (Ask.START_UNIT, Why.DOUBT): "{first} is in doubt: type .accept and why, or .spool, or measure it again.",
    (Ask.START_UNIT, Why.DONE): "{serial} is done: take the next unit.",
    (Ask.START_UNIT, Why.CLIP_FIRST): f"{_NEXT}: the leads are zeroed once it is in the fixture.",
    (Ask.SHORT_PROBES, Why.NONE): "Hold the probes together, to zero the leads.",
    (Ask.SHORT_PROBES, Why.FIXTURE): "The fixture zeroes its leads.",
    (Ask.SHORT_PROBES, Why.STUDY): "{operator}: hold the probes together, to zero the leads.",
    (Ask.SHORT_PROBES, Why.SELF_CHECK): "Self-check: Hold the probes together.",
    (Ask.CHECK_RESISTOR, Why.NONE): "Hold the probes on the check standard {resistor}.",
    (Ask.CHECK_RESISTOR, Why.REFERENCE): "Hold the probes on the reference {resistor}.",
    (
        Ask.CHECK_RESISTOR,
        Why.BLOCKED,
    ): "The bench is stopped by its check standard. Clean the probes, zero the "
    "leads (.zero) and hold them on {resistor} again; or .override REASON.",
    (
        Ask.CHECK_RESISTOR,
        Why.SELF_CHECK,
    ): "Self-check: Hold the probes to the resistor of {resistor_ohm:g} Ω.",
    (Ask.LIFT, Why.SELF_CHECK): "Self-check: Hold the probes apart.",
    (Ask.LIFT, Why.SELF_CHECK_PASSED): "Self-check passed: take the probes off the resistor.",
    (Ask.CLIP_ON, Why.FIXTURE): "Clip {serial} into the fixture, then press Enter or the pedal.",
    (Ask.TOUCH, Why.FIXTURE): _by_relay,
    (Ask.TOUCH_AGAIN, Why.FIXTURE): _by_relay,
    (Ask.WAIT, Why.STUDY): "Round {round}: {operator} takes the probes and presses Enter.",
    (Ask.WAIT, Why.DONE): "The study is done.",
}
"""Whatever is no request for a step; those are made of parts."""
