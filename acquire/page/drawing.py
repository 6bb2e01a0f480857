"""A sheet and a unit as the page draws them: the face, the circuit, the steps with their limits and results.

Pure; plain JSON values come out. Not for the value that is being measured (view).
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

from acquire.page.telling import Plain, picked, typed_words, verdict_words
from acquire.quantity import show
from acquire.records import (
    BranchKind,
    Code,
    Limits,
    Notice,
    Prompt,
    Purpose,
    Sheet,
    Step,
    StepKind,
    TypedResult,
    UnitResult,
    UnitStarted,
    Verdict,
)
from acquire.records.codes import MEASURED_AGAIN
from acquire.steps.pairs import PairTable
from acquire.words.notices import said


def face(sheet: Sheet) -> Plain:
    """The connector's face, seen from the side that the sheet draws it from."""
    pins = [picked(pin, "name", "row", "column", "colour", "remark") for pin in sheet.pins]
    return {**picked(sheet, "view", "latch", "core"), "rows": list(map(list, sheet.rows)), "pins": pins}


def circuit(sheet: Sheet) -> Plain:
    """The branches of the circuit with their nominal values."""
    return {
        "branches": [
            {
                **picked(branch, "name", "a", "b", "kind"),
                "text": "" if branch.kind is BranchKind.DIODE else show(branch.reference_ohm, "Ω"),
            }
            for branch in sheet.branches
        ]
    }


def steps(table: PairTable, purpose: Purpose) -> list[Plain]:
    """Every step of a table's sheet, none of them done."""
    return [_step(step, table, purpose) for step in table.sheet.steps]


def _step(step: Step, table: PairTable, purpose: Purpose) -> Plain:
    limits = "" if step.kind is StepKind.TYPED else limits_words(table.limits_for(step, purpose))
    return {**undone(step.name, step.pair, step.kind.value), "limits": limits}


def undone(name: str, pair: Sequence[str], kind: str = "resistance") -> Plain:
    """A step that nothing is known of yet."""
    known = {"name": name, "pair": list(pair), "kind": kind}
    return {**known, "state": "waiting", "outcome": None, "word": "", "value": "", "reason": "", "limits": ""}


def limits_words(limits: Limits) -> str:
    """Limits as a person reads them: "190.4 … 214.7 Ω", "at most 50 mΩ"; empty where there are none."""
    lower, upper = limits.lower_ohm, limits.upper_ohm
    if lower is not None and upper is not None and math.isfinite(upper):
        low, high = show(lower, "Ω"), show(upper, "Ω")
        number, _, unit = low.partition(" ")
        return f"{number} … {high}" if high.endswith(f" {unit}") else f"{low} … {high}"
    if upper is not None and math.isfinite(upper):
        return f"at most {show(upper, 'Ω', digits=3)}"
    return "" if lower is None else f"at least {show(lower, 'Ω', digits=3)}"


@dataclass(slots=True)
class UnitView:
    """One unit.

    Attributes:
        started: its opening record.
        steps: as `drawing.steps` gives them; changed as the unit goes on.
        done, of: progress as the heart counts it.
        ended: it has its result.
    """

    started: UnitStarted
    steps: list[Plain]
    done: int = 0
    of: int = 0
    ended: bool = False

    def plain(self) -> Plain:
        """For the page."""
        own = picked(self.started, "serial", "batch", "operator", "utc_s")
        steps = [dict(step) for step in self.steps]
        return {**own, "done": self.done, "of": self.of, "steps": steps, "ended": self.ended}

    def asked(self, prompt: Prompt) -> None:
        """The heart asks for a step of this unit."""
        if prompt.steps_total:
            self.done, self.of = prompt.steps_done, prompt.steps_total
        for step in self.steps:
            if step["state"] in ("asked", "again") and step["name"] != prompt.step:
                step["state"] = "waiting" if step["outcome"] is None else "done"
        if prompt.step and prompt.pair is not None:
            step = self._step(prompt.step, prompt.pair)
            step["state"] = "again" if step["word"] else "asked"

    def judged(self, verdict: Verdict) -> None:
        """A verdict of one of its steps."""
        step = self._step(verdict.step, (verdict.pin_a, verdict.pin_b))
        words = verdict_words(verdict)
        step.update(value=words["text"], reason=words["reason"])
        if verdict.counts:
            step.update(state="done", outcome=verdict.outcome.value, word=words["word"])
        else:
            step.update(state="again", outcome=None, word="once more")

    def told(self, notice: Notice) -> None:
        """A notice that changes a step: left out, or asked for again."""
        if notice.pair is None:
            return
        for step in self.steps:
            if tuple(step["pair"]) != tuple(notice.pair):
                continue
            if notice.code is Code.STEP_SKIPPED:
                step.update(state="left_out", outcome=None, word="left out", reason=said(notice))
            elif notice.code is Code.STEP_UNDONE:
                step.update(state="waiting", outcome=None, word="", value="", reason="")
            elif notice.code in MEASURED_AGAIN and step["kind"] != "typed":
                step.update(state="again", outcome=None, word="once more")

    def take_typed(self, result: TypedResult) -> None:
        """A result that was typed in for it."""
        words = typed_words(result)
        for step in self.steps:
            if step["kind"] == "typed" and step["name"] == result.name:
                outcome = words["outcome"]
                step.update(state="done", outcome=outcome, word=words["word"], value=result.typed)

    def closed(self, result: UnitResult) -> None:
        """It has its result; steps that were never done stay as they are."""
        self.ended, self.of = True, result.steps_total
        for step in self.steps:
            if step["state"] in ("asked", "again"):
                step["state"] = "waiting" if step["outcome"] is None else "done"
        self.done = sum(
            step["state"] in ("done", "left_out") and step["kind"] != "typed" for step in self.steps
        )

    def _step(self, name: str, pair: Sequence[str]) -> Plain:
        """The step of this name; one that is not on the sheet (a repetition) is put at the end."""
        for step in self.steps:
            if step["name"] == name:
                return step
        self.steps.append(step := undone(name, pair))
        return step
