"""An example of every notice, refusal and prompt with all its facts: the catalogue's own table. Not a test.

Beside each stands what it says; elsewhere tests ask for codes and facts. Those of notices and refusals are
lines of data/told.tsv: code, facts as JSON, sentence.
"""

from __future__ import annotations

import json
from pathlib import Path

from acquire.records import Ask, Code, Notice, Pair, Prompt, Refusal, Refused, Severity, Why


def _of(code: str, facts: dict[str, object]) -> Notice | Refused:
    """A notice, or the refusal of that name."""
    facts = {name: tuple(fact) if isinstance(fact, list) else fact for name, fact in facts.items()}
    if code in set(Refusal):
        return Refused(Refusal(code), **facts)
    serial, step = str(facts.pop("serial", "")), str(facts.pop("step", ""))
    pair = Pair("1", "2") if facts.pop("pair", False) else None
    return Notice(Severity.WARNING, Code(code), 0.0, serial, pair, step, facts)


_LINES = (Path(__file__).parent / "data" / "told.tsv").read_text(encoding="utf-8").splitlines()
_ALL = [
    (_of(code, json.loads(facts)), json.loads(f'"{sentence}"'))
    for code, facts, sentence in (line.split("\t") for line in _LINES)
]
TOLD = [(told, sentence) for told, sentence in _ALL if isinstance(told, Notice)]
"""Each notice."""

REFUSED = {told: sentence for told, sentence in _ALL if isinstance(told, Refused)}
"""Each refusal."""

_PAIR = Pair("1", "2")
_STEP = (_PAIR, "slow charge", 1, 4)
_OPEN = {"open": True, "core": "core", "opened": "2", "last": "3"}

ASKED = [
    (Prompt(Ask.START_UNIT), "Scan or type the serial of the next unit."),
    (
        Prompt(Ask.START_UNIT, why=Why.COUNTED, facts={"batch": "lot 12", "count": 2, "expected": 3}),
        "Scan or type the serial of the next unit; lot 12 has 2 of 3.",
    ),
    (
        Prompt(Ask.START_UNIT, why=Why.DOUBT, facts={"first": "A1"}),
        "A1 is in doubt: type .accept and why, or .spool, or measure it again.",
    ),
    (Prompt(Ask.START_UNIT, "A1", why=Why.DONE), "A1 is done: take the next unit."),
    (
        Prompt(Ask.START_UNIT, why=Why.CLIP_FIRST),
        "Scan or type the serial of the next unit: the leads are zeroed once it is in the fixture.",
    ),
    (Prompt(Ask.SHORT_PROBES, "A1"), "Hold the probes together, to zero the leads."),
    (Prompt(Ask.SHORT_PROBES, "A1", why=Why.FIXTURE), "The fixture zeroes its leads."),
    (
        Prompt(Ask.SHORT_PROBES, why=Why.STUDY, facts={"operator": "ann"}),
        "ann: hold the probes together, to zero the leads.",
    ),
    (Prompt(Ask.SHORT_PROBES, why=Why.SELF_CHECK), "Self-check: Hold the probes together."),
    (Prompt(Ask.LIFT, why=Why.SELF_CHECK), "Self-check: Hold the probes apart."),
    (
        Prompt(Ask.CHECK_RESISTOR, why=Why.SELF_CHECK, facts={"resistor_ohm": 470.0}),
        "Self-check: Hold the probes to the resistor of 470 Ω.",
    ),
    (
        Prompt(Ask.LIFT, why=Why.SELF_CHECK_PASSED),
        "Self-check passed: take the probes off the resistor.",
    ),
    (
        Prompt(Ask.CHECK_RESISTOR, facts={"resistor": "R1"}),
        "Hold the probes on the check standard R1.",
    ),
    (
        Prompt(Ask.CHECK_RESISTOR, why=Why.REFERENCE, facts={"resistor": "R470"}),
        "Hold the probes on the reference R470.",
    ),
    (
        Prompt(Ask.CHECK_RESISTOR, why=Why.BLOCKED, facts={"resistor": "R1"}),
        (
            "The bench is stopped by its check standard. Clean the probes, zero the leads (.zero) and hold "
            "them on R1 again; or .override REASON."
        ),
    ),
    (
        Prompt(Ask.CLIP_ON, "A1", why=Why.FIXTURE),
        "Clip A1 into the fixture, then press Enter or the pedal.",
    ),
    (Prompt(Ask.TOUCH, "A1", *_STEP, Why.FIXTURE), "The fixture measures 1–2 (slow charge)."),
    (
        Prompt(Ask.TOUCH_AGAIN, "A1", *_STEP, Why.FIXTURE, 1),
        "The fixture measures 1–2 (slow charge) once more.",
    ),
    (
        Prompt(Ask.WAIT, why=Why.STUDY, facts={"round": 2, "operator": "ann"}),
        "Round 2: ann takes the probes and presses Enter.",
    ),
    (Prompt(Ask.WAIT, why=Why.DONE), "The study is done."),
    (
        Prompt(Ask.TOUCH, "K", *_STEP, Why.STUDY, facts={"operator": "ann", "part": "K"}),
        "ann: part K, touch 1–2 (slow charge).",
    ),
    (Prompt(Ask.TOUCH, "A1", *_STEP), "Touch 1–2 (slow charge)."),
    (Prompt(Ask.TOUCH, "A1", *_STEP, Why.FREE), "Touch 1–2 (slow charge), or any pair still open."),
    (
        Prompt(Ask.TOUCH, "A1", *_STEP, facts={"after": ("2", "3")}),
        "2–3 was measured again. Touch 1–2 (slow charge).",
    ),
    (
        Prompt(Ask.TOUCH, "A1", *_STEP, Why.SILENT),
        "No contact was found on 1–2: hold both probes on it and press Enter or the pedal.",
    ),
    (
        Prompt(Ask.TOUCH_AGAIN, "A1", *_STEP, Why.LOOKS_LIKE),
        "Touch 1–2 (slow charge): the last value reads like another pair.",
    ),
    (
        Prompt(Ask.TOUCH_AGAIN, "A1", *_STEP, Why.FAILED, 1),
        "Touch 1–2 (slow charge) once more: the value did not pass.",
    ),
    (
        Prompt(Ask.TOUCH_AGAIN, "A1", *_STEP, Why.DISAGREE, 2),
        "Touch 1–2 (slow charge) a third time: no two values agree yet.",
    ),
    (
        Prompt(Ask.TOUCH_AGAIN, "A1", *_STEP, Why.PASSED_AFTER_FAIL, 1),
        "Touch 1–2 (slow charge) once more: it did not pass first, and passes now.",
    ),
    (
        Prompt(Ask.TOUCH_AGAIN, "A1", *_STEP, Why.SET_UP, 1),
        "Touch 1–2 (slow charge) once more: the meter is set for it now.",
    ),
    (
        Prompt(Ask.TOUCH_AGAIN, "A1", *_STEP, Why.INCONSISTENT, 3),
        "Touch 1–2 (slow charge) a fourth time, to be sure: it is inconsistent with the other values.",
    ),
    (
        Prompt(Ask.TOUCH, "A1", *_STEP, facts={"open": True}),
        "Touch 1–2 (slow charge), which must be open, and press Enter or the pedal.",
    ),
    (
        Prompt(Ask.TOUCH, "A1", *_STEP, facts={"first": "6", **_OPEN}),
        "Clip on core: touch 6, then 2 for two seconds, then 3; or press Enter while on 2.",
    ),
    (
        Prompt(Ask.TOUCH_AGAIN, "A1", *_STEP, Why.FAILED, 1, _OPEN),
        "1–2 once more: the value did not pass. Now touch 2 for two seconds, then 3; the clip stays on core.",
    ),
]
"""Each prompt."""
