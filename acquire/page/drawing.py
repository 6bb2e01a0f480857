"""A sheet and a unit as the page draws them: the face, the circuit, the steps with their limits and results.

Pure; plain JSON values come out. Not for the value that is being measured (view).
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from acquire.choices import FAILING
from acquire.page.telling import Plain, picked, typed_words, verdict_words
from acquire.records import (
    Code,
    Ending,
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
    """The branches of the circuit."""
    return {"branches": [picked(branch, "name", "a", "b", "kind") for branch in sheet.branches]}


UNDONE: Plain = {"state": "waiting", "outcome": None, "word": "", "value": "", "reason": ""}
"""Of a step that nothing is known of yet."""

AGAIN: Plain = {"state": "again", "outcome": None, "word": "once more"}
"""Of a step whose value so far does not count."""


def steps(table: PairTable, purpose: Purpose) -> list[Plain]:
    """Every step of a table's sheet, none of them done."""
    return [
        _undone(step.name, step.pair, step.kind)
        | (limits(table.limits_for(step, purpose)) if step.kind is not StepKind.TYPED else {})
        for step in table.sheet.steps
    ]


def _undone(name: str, pair: Sequence[str], kind: StepKind) -> Plain:
    return {"name": name, "pair": list(pair), "kind": kind.value, **UNDONE}


def limits(of: Limits | Step) -> Plain:
    """Limits in ohms, None where one side is open."""
    return picked(of, "lower_ohm", "upper_ohm")


@dataclass(slots=True)
class UnitView:
    """One unit.

    Attributes:
        started: its opening record.
        steps: as `drawing.steps` gives them; changed as the unit goes on.
        ended: it has its result.
    """

    started: UnitStarted
    steps: list[Plain]
    ended: bool = False

    def plain(self) -> Plain:
        """For the page."""
        touched = [step["state"] for step in self.steps if step["kind"] != StepKind.TYPED]
        done = sum(state in ("done", "left_out", "held") for state in touched)
        own = picked(self.started, "serial", "batch", "operator", "utc_s")
        steps = [dict(step) for step in self.steps]
        return {**own, "done": done, "of": len(touched), "steps": steps, "ended": self.ended}

    def asked(self, prompt: Prompt) -> None:
        """The heart asks for a step of this unit."""
        self._unasked(but=prompt.step)
        if prompt.step and prompt.pair is not None:
            step = self._step(prompt.step, prompt.pair)
            step["state"] = "again" if step["word"] else "asked"

    def _unasked(self, but: str = "") -> None:
        for step in self.steps:
            if step["state"] in ("asked", "again") and step["name"] != but:
                step["state"] = "waiting" if step["outcome"] is None else "done"

    def judged(self, verdict: Verdict) -> None:
        """A verdict of one of its steps."""
        step, words = self._step(verdict.step, (verdict.pin_a, verdict.pin_b)), verdict_words(verdict)
        counts = {"state": "done", "outcome": words["outcome"], "word": words["word"]}
        step.update(counts if verdict.counts else AGAIN, value=words["text"], reason=words["reason"])

    def told(self, notice: Notice) -> None:
        """A notice that changes a step: left out, or asked for again."""
        for step in self.steps:
            if tuple(step["pair"]) != notice.pair:
                continue
            if notice.code is Code.STEP_SKIPPED:
                step.update(state="left_out", outcome=None, word="left out", reason=said(notice))
            elif notice.code is Code.STEP_UNDONE:
                step.update(UNDONE)
            elif notice.code in MEASURED_AGAIN and step["kind"] != StepKind.TYPED:
                step.update(AGAIN)

    def take_typed(self, result: TypedResult) -> None:
        """A result that was typed in for it."""
        words = typed_words(result)
        for step in self.steps:
            if step["kind"] == StepKind.TYPED and step["name"] == result.name:
                step.update(state="done", outcome=words["outcome"], word=words["word"], value=result.typed)

    def closed(self, result: UnitResult) -> None:
        """It has its result; steps that were never done stay as they are, a warm unit has failed none."""
        self.ended = True
        self._unasked()
        for step in self.steps if result.ending is Ending.WARM else ():
            if step["outcome"] in FAILING:
                step.update(state="held", outcome=None, word="held")

    def _step(self, name: str, pair: Sequence[str]) -> Plain:
        """The step of this name; one that is not on the sheet (a repetition) is put at the end."""
        for step in self.steps:
            if step["name"] == name:
                return step
        self.steps.append(step := _undone(name, pair, StepKind.RESISTANCE))
        return step
